"""All forms for a notebook in one place: entering, walking and its order, marking, listening, exporting, exercises."""

from pianolab.checklist.hour import order_walk
from pianolab.widgets import (
    ComparablesForm,
    FindingsForm,
    KeyboardPicker,
    PianoForm,
    ProfileForm,
    RoomForm,
    TouchForm,
)
from pianolab.widgets.drill_player import DrillPlayer
from pianolab.workflow.fault_clips import hear_claims
from pianolab.workflow.notebook_forms import export_button, recorder_form, visit_desk
from pianolab.workflow.second_visit import hear_then_and_now

__all__ = [
    "ComparablesForm",
    "DrillPlayer",
    "FindingsForm",
    "KeyboardPicker",
    "PianoForm",
    "ProfileForm",
    "RoomForm",
    "TouchForm",
    "export_button",
    "hear_claims",
    "hear_then_and_now",
    "order_walk",
    "recorder_form",
    "visit_desk",
]
