"""What a recording was made for is a field of its own: a note says nothing about it, but in records older than the field."""

import json
from datetime import date

import numpy as np
import pytest

from pianolab.casebook import create_casebook
from pianolab.casebook.codec import from_json, to_json
from pianolab.errors import BadInput
from pianolab.io import write_sound
from pianolab.model import Piano, Recording, RecordingPurpose
from pianolab.workflow import keep_survey
from pianolab.workflow.hearing import all_heard
from pianolab.workflow.progress import quiet
from tests.figures.make import make_survey

FIELDS = {"visit_id": "v", "media": "a.wav", "rate_hz": 44100, "channels": 1, "seconds": 60.0}


def older(note: str) -> Recording:
    """A recording as it was kept before recordings had a purpose."""
    body = json.loads(to_json(Recording(id="r", **FIELDS, note=note)))
    del body["purpose"]
    return from_json("Recording", json.dumps(body))


@pytest.mark.parametrize("note", ["left pedal", " Left pedal held. ", "with the left pedal"])
def test_an_older_note_that_says_nothing_else_marks_the_pedal(note: str) -> None:
    assert older(note).purpose == "left pedal"


@pytest.mark.parametrize("note", ["", "left pedal squeaks", "Left pedal held up by a wedge", "no left pedal"])
def test_an_older_note_that_tells_of_the_pedal_marks_a_take(note: str) -> None:
    assert older(note).purpose == "take"


def test_a_purpose_is_kept_and_the_note_has_no_say_in_it() -> None:
    kept = from_json("Recording", to_json(Recording(**FIELDS, purpose="take", note="left pedal")))
    assert kept.purpose == "take"
    with pytest.raises(BadInput, match="purpose"):
        Recording(**FIELDS, purpose="rehearsal")


@pytest.mark.parametrize(("purpose", "counts"), [("take", True), ("left pedal", False)])
def test_only_a_take_counts(tmp_path, purpose: RecordingPurpose, counts: bool) -> None:
    """The note "left pedal squeaks" once dropped the recording of a piano."""
    hum = np.sin(2.0 * np.pi * 440.0 * np.arange(16000) / 16000.0)
    sound = write_sound(tmp_path / "scale.wav", 0.2 * hum, rate_hz=16000, subtype="PCM_16")
    with create_casebook(tmp_path / "book") as book:
        with book.editing(by="Ana") as edit:
            piano = edit.add(Piano(name="by the window"))
        kept = keep_survey(
            book,
            sound,
            make_survey(),
            piano=piano.id,
            visit=date(2026, 5, 2),
            by="Ana",
            purpose=purpose,
            note="left pedal squeaks",
        )
        assert kept.recording.purpose == purpose
        problems: dict[str, str] = {}
        heard = all_heard(book, (piano,), problems, until=None, progress=quiet)
        assert not problems
        assert (piano.id in heard) == counts
