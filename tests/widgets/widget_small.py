"""A small invented visit for the widgets' tests; also imported by the notebooks that the browser runs."""

from __future__ import annotations

import base64
from datetime import date
from pathlib import Path

from pianolab.casebook import Casebook, create_casebook
from pianolab.checklist.points import Checklist, Point
from pianolab.model import Piano, Visit

GROOVES = (
    "Felt full at the shoulders; shallow marks at most.",
    "Grooves under 1 mm, the shape still round.",
    "Grooves of 1 to 2 mm; reshaping brings the tone back.",
    "Deep grooves, flat striking faces; little felt left in the treble.",
    "Felt worn to the wood somewhere, or coming off.",
)
CHIPS = ("No chip.", "A mark no finger feels.", "A chip or two, not sharp.", "A sharp chip.", "Tops missing.")

POINTS = (
    Point(
        id="serial",
        area="papers",
        title="Serial number",
        why="It gives the age.",
        how="Read it on the plate.",
        record="yes_no",
        good_answer=True,
        short_walk=True,
        cautions=("Check the lid prop first.",),
        may_lack=("any",),
    ),
    Point(
        id="grooves",
        area="hammers",
        title="Depth of the grooves",
        why="Deep grooves sound hard.",
        how="Shine a torch along them.",
        anchors=GROOVES,
        tool="torch",
        access="ask first",
        short_walk=True,
    ),
    Point(
        id="patched",
        area="hammers",
        title="Hammers replaced singly",
        why="They stand out.",
        how="Count odd ones.",
        record="count",
        unit="hammers",
    ),
    Point(
        id="dip",
        area="touch",
        title="Key dip",
        why="Too shallow tires the hand.",
        how="Set a ruler beside a key.",
        record="reading",
        unit="mm",
        usual=(9.5, 10.5),
        helper=True,
    ),
    Point(
        id="chips",
        area="keys",
        title="Chipped key tops",
        why="A sharp chip cuts.",
        how="Run a finger along.",
        anchors=CHIPS,
        per_key=True,
        nature="cosmetic",
    ),
    Point(
        id="strings",
        area="grand only",
        title="Duplex",
        why="w",
        how="h",
        applies_to=("grand",),
        anchors=GROOVES,
    ),
)
CHECKLIST = Checklist(POINTS)
HEIC = base64.b64decode(
    "AAAAHGZ0eXBoZWljAAAAAG1pZjFoZWljbWlhZgAAAchtZXRhAAAAAAAAACFoZGxyAAAAAAAAAABwaWN0AAAAAAAAAAAAAAAAAAAAADRpbG9jAAAAAERAAAIAAQAAAAAB7AABAAAAAAAAAMYAAgAAAAACsgABAAAAAAAAADgAAAA4aWluZgAAAAAAAgAAABVpbmZlAgAAAAABAABodmMxAAAAABVpbmZlAgAAAQACAABFeGlmAAAAAA5waXRtAAAAAAABAAABB2lwcnAAAADmaXBjbwAAAHZodmNDAQNwAAAAkAAAAAAAHvAA/P34+AAADwNgAAEAGEABDAH//wNwAAADAJAAAAMAAAMAHroCQGEAAQAqQgEBA3AAAAMAkAAAAwAAAwAeoCCBBZbq5Ka5uAhoMCAAAAMDIAAAAwAhYgABAAZEAcFzwIkAAAATY29scm5jbHgAAQANAAaAAAAAFGlzcGUAAAAAAAAAQAAAAEAAAAAoY2xhcAAAAEAAAAABAAAAMAAAAAEAAAAAAAAAAv////AAAAACAAAAEHBpeGkAAAAAAwgICAAAAAlpcm90AwAAABlpcG1hAAAAAAAAAAEAAQaBAgMFhIYAAAAaaXJlZgAAAAAAAAAOY2RzYwACAAEAAQAAAQZtZGF0AAAAwigBrwngITip//It3/8THZe5lyeVp79Y//0Qb70Nb/4im3R+ja83/wcjvzB+/42uxMLJ8XaY7tmHrWnwCKa/vLpY1g6JICDs/JgehH+8Ey371dgBZfLPLFmjmKUAHjy8fkR5E+AzVfrov6E+SA6PdQc78wBijwQ2MrLkxal5k6EbMSLeQToLwtgzN7RzUKpkZv24/sDoGgXEt+0l7wg/2oPnf8PwdBROuzfTvQDgedZFDpZHsjYyppXE3TWWUN247ekkAAAABkV4aWYAAE1NACoAAAAIAAIBDwACAAAACAAAACYBEgADAAAAAQAGAAAAAAAAbm8gbWFrZQA="
)
"""Four fields, red, green, blue and white row by row, to be turned to the right; made with another encoder (x265)."""


def small_casebook(folder: Path | str, *, name: str = "the one in the hallway") -> tuple[Casebook, Visit]:
    """A casebook with one upright and one visit by Ana."""
    casebook = create_casebook(folder)
    with casebook.editing(by="Ana") as edit:
        piano = edit.add(Piano(name=name))
        visit = edit.add(Visit(piano_id=piano.id, day=date(2026, 5, 14), examiner="Ana", place="hallway"))
    return casebook, visit


def recorded_casebook(folder: Path | str, *, name: str = "the one in the hallway") -> Casebook:
    """The same with a modelled recording of four keys and what was heard in it."""
    from pianolab.acoustics import listen
    from pianolab.io import Sound
    from pianolab.model import SurveyRecord
    from pianolab.sound_model import PianoModel, render_scale

    first, last = 40, 43
    model = PianoModel(seed=5, first_key=first, last_key=last)
    scale = render_scale(model, rate_hz=22050, hold_s=0.8, gap_s=0.3)
    survey = listen(scale.samples, rate_hz=scale.rate_hz, first_key=first, last_key=last, name="scale.flac")
    casebook, visit = small_casebook(folder, name=name)
    with casebook.editing(by="Ana") as edit:
        sound = Sound(
            samples=scale.samples.reshape(len(scale.samples), -1), rate_hz=scale.rate_hz, name="scale.flac"
        )
        recording = edit.add_sound(visit.id, sound, first_key=first, last_key=last)
        edit.add(
            SurveyRecord(
                recording_id=recording.id, visit_id=visit.id, version="1", survey_json=survey.to_json()
            )
        )
    return casebook
