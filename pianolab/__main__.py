"""``python -m pianolab``."""

import sys

from pianolab.cli import main

if __name__ == "__main__":
    sys.exit(main())
