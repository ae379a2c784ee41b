"""The hand-made surveys of tests/assess serve here too."""

import importlib.util
from pathlib import Path

_PATH = Path(__file__).resolve().parent.parent / "assess" / "conftest.py"
_SPEC = importlib.util.spec_from_file_location("handmade_surveys", _PATH)
assert _SPEC is not None
assert _SPEC.loader is not None
_surveys = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(_surveys)
make_survey, sound_of = _surveys.make_survey, _surveys.sound_of
