"""Widgets for the notebook; each has a still twin (`to_html`) for export."""

from pianolab.errors import MissingExtra

try:
    import anywidget as _anywidget  # noqa: F401
except ImportError as error:
    raise MissingExtra(
        "the widgets need ipywidgets and anywidget: pip install 'pianolab[notebook]'"
    ) from error

from pianolab.widgets.comparables_form import ComparablesForm
from pianolab.widgets.findings_form import FindingsForm
from pianolab.widgets.keyboard_picker import KeyboardPicker, key_marks
from pianolab.widgets.piano_form import PianoForm
from pianolab.widgets.profile_form import ProfileForm
from pianolab.widgets.room_form import RoomForm
from pianolab.widgets.touch_form import TouchForm

__all__ = [
    "ComparablesForm",
    "FindingsForm",
    "KeyboardPicker",
    "PianoForm",
    "ProfileForm",
    "RoomForm",
    "TouchForm",
    "key_marks",
]
