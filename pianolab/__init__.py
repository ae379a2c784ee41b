"""pianolab: judge used pianos by eye, hand and ear, and compare the shortlist."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

_LAZY = {
    "listen": "pianolab.acoustics",
    "Survey": "pianolab.acoustics",
    "read_sound": "pianolab.io",
    "load_checklist": "pianolab.checklist",
    "open_casebook": "pianolab.casebook",
    "create_casebook": "pianolab.casebook",
    "gather": "pianolab.casebook",
    "assess_piano": "pianolab.assess",
    "load_prices": "pianolab.assess",
    "compare_pianos": "pianolab.compare",
    "FindingsForm": "pianolab.widgets",
    "KeyboardPicker": "pianolab.widgets",
    "PianoForm": "pianolab.widgets",
    "ProfileForm": "pianolab.widgets",
    "TouchForm": "pianolab.widgets",
    "plan_visits": "pianolab.workflow",
    "demo": "pianolab.workflow",
    "demo_casebook": "pianolab.workflow",
    "listen_file": "pianolab.workflow",
    "survey_many": "pianolab.workflow",
    "recording_form": "pianolab.workflow",
    "decide": "pianolab.workflow",
    "export": "pianolab.workflow",
    "Settings": "pianolab.workflow",
    "export_button": "pianolab.workflow",
}

__all__ = ["__version__"]
__all__ += list(_LAZY)


def __getattr__(name: str) -> Any:
    if name in _LAZY:
        return getattr(import_module(_LAZY[name]), name)
    raise AttributeError(f"module 'pianolab' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)


if TYPE_CHECKING:
    from pianolab.acoustics import Survey as Survey
    from pianolab.acoustics import listen as listen
    from pianolab.assess import assess_piano as assess_piano
    from pianolab.assess import load_prices as load_prices
    from pianolab.casebook import create_casebook as create_casebook
    from pianolab.casebook import gather as gather
    from pianolab.casebook import open_casebook as open_casebook
    from pianolab.checklist import load_checklist as load_checklist
    from pianolab.compare import compare_pianos as compare_pianos
    from pianolab.io import read_sound as read_sound
    from pianolab.widgets import FindingsForm as FindingsForm
    from pianolab.widgets import KeyboardPicker as KeyboardPicker
    from pianolab.widgets import PianoForm as PianoForm
    from pianolab.widgets import ProfileForm as ProfileForm
    from pianolab.widgets import TouchForm as TouchForm
    from pianolab.workflow import Settings as Settings
    from pianolab.workflow import decide as decide
    from pianolab.workflow import demo as demo
    from pianolab.workflow import demo_casebook as demo_casebook
    from pianolab.workflow import export as export
    from pianolab.workflow import export_button as export_button
    from pianolab.workflow import listen_file as listen_file
    from pianolab.workflow import plan_visits as plan_visits
    from pianolab.workflow import recording_form as recording_form
    from pianolab.workflow import survey_many as survey_many
