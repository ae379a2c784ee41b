"""The benchmarks stand beside the library and aren't installed with it."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
