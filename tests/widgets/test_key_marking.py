"""Marks on keys are findings at once; measured lines and sound come from the visit's recording."""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
import soundfile

from pianolab.acoustics import Survey, listen
from pianolab.casebook import Casebook, create_casebook
from pianolab.errors import BadInput
from pianolab.model import Finding, Piano, SurveyRecord, Visit
from pianolab.sound_model import PianoModel, render_scale
from pianolab.widgets import KeyboardPicker
from pianolab.widgets.one_key import key_clip, measured_lines

FIRST, LAST = 40, 43


@dataclass
class Book:
    """A visit with a recording of four keys."""

    casebook: Casebook
    piano: Piano
    visit: Visit
    survey: Survey
    sound: Path


@pytest.fixture(scope="module")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Survey]:
    scale = render_scale(
        PianoModel(seed=5, first_key=FIRST, last_key=LAST), rate_hz=22050, hold_s=0.8, gap_s=0.3
    )
    path = tmp_path_factory.mktemp("scale") / "scale.wav"
    soundfile.write(path, scale.samples, scale.rate_hz, subtype="PCM_16")
    survey = listen(scale.samples, rate_hz=scale.rate_hz, first_key=FIRST, last_key=LAST, name="scale.wav")
    return path, survey


@pytest.fixture
def book(tmp_path: Path, recorded: tuple[Path, Survey]) -> Iterator[Book]:
    path, survey = recorded
    with create_casebook(tmp_path / "book") as casebook:
        with casebook.editing(by="Ana") as edit:
            piano = edit.add(Piano(name="the <b>small</b> one"))
            visit = edit.add(Visit(piano_id=piano.id, day=pd.Timestamp("2026-05-14").date(), examiner="Ana"))
            recording = edit.add_sound(visit.id, path, first_key=FIRST, last_key=LAST)
            edit.add(
                SurveyRecord(
                    recording_id=recording.id, visit_id=visit.id, version="1", survey_json=survey.to_json()
                )
            )
        yield Book(casebook, piano, visit, survey, path)


def picker_of(book: Book, *, examiner: str = "") -> KeyboardPicker:
    return KeyboardPicker(book.piano, casebook=book.casebook, visit_id=book.visit.id, examiner=examiner)


def mark(picker: KeyboardPicker, point: str, *keys: int, on: bool = True) -> str:
    picker.receive({"do": "mark", "point": point, "keys": list(keys), "on": on})
    return str(picker.line)


def test_a_mark_is_a_finding_in_the_casebook(book: Book) -> None:
    picker = picker_of(book)
    assert {"chip", "sharp chip", "sticking", "buzz", "silent"} <= {k["text"] for k in picker.kinds}
    assert mark(picker, "keys-chips", 41, 43) == "Saved"
    mark(picker, "keys-chips", 40)
    (finding,) = book.casebook.findings(book.visit.id)
    assert (finding.point, finding.keys, finding.count, finding.examiner) == (
        "keys-chips",
        (40, 41, 43),
        3,
        "Ana",
    )
    assert picker.marked == {"keys-chips": [40, 41, 43]}
    assert [m["shape"] for m in picker.marks["41"]] == ["triangle"]


def test_the_last_mark_taken_off_leaves_no_none_found(book: Book) -> None:
    picker = picker_of(book)
    mark(picker, "each-buzz", 41)
    mark(picker, "each-buzz", 41, on=False)
    assert book.casebook.findings(book.visit.id) == ()
    assert picker.marked == {}


def test_a_larger_count_entered_by_hand_stays(book: Book) -> None:
    with book.casebook.editing(by="Ana") as edit:
        edit.add(Finding(visit_id=book.visit.id, point="keys-chips", count=7, examiner="Ana"))
    picker = picker_of(book)
    mark(picker, "keys-chips", 40, 41)
    (finding,) = book.casebook.findings(book.visit.id)
    assert (finding.count, finding.keys) == (7, (40, 41))
    mark(picker, "keys-chips", 40, 41, on=False)
    (finding,) = book.casebook.findings(book.visit.id)
    assert (finding.count, finding.keys) == (7, ())


def test_two_people_mark_side_by_side(book: Book) -> None:
    ana, ben = picker_of(book), picker_of(book, examiner="Ben")
    mark(ana, "each-silent", 40)
    mark(ben, "each-silent", 42)
    assert {(f.examiner, f.keys) for f in book.casebook.findings(book.visit.id)} == {
        ("Ana", (40,)),
        ("Ben", (42,)),
    }
    assert sorted(ben.marks) == ["40", "42"]
    assert ben.marked == {"each-silent": [42]}


@pytest.mark.parametrize(
    "event",
    [
        {"do": "mark", "point": "keys-chips", "keys": [], "on": True},
        {"do": "mark", "point": "pins-look", "keys": [40], "on": True},
        {"do": "mark", "point": "keys-chips", "keys": [4000], "on": True},
        {"do": "mark", "point": "keys-chips", "keys": ["<script>"], "on": True},
        {"do": "play", "key": 88},
        {"do": "play"},
        {"do": "paint"},
        None,
    ],
)
def test_what_makes_no_sense_gives_one_line_and_changes_nothing(book: Book, event: Any) -> None:
    picker = picker_of(book)
    picker.receive(event)
    assert picker.line.startswith("Not done. ")
    assert "\n" not in picker.line
    assert book.casebook.findings(book.visit.id) == ()


def test_what_was_measured_is_said_for_each_key(book: Book) -> None:
    facts = picker_of(book).facts
    assert sorted(facts) == ["40", "41", "42", "43"]
    assert any("cents" in line for line in facts["41"])
    assert any(line.startswith(("heard: ", "no fault heard")) for line in facts["41"])


def test_what_could_not_be_judged_is_never_called_fine() -> None:
    class Heard:
        table = pd.DataFrame(
            [
                {"key": 1, "status": "silent", "faults": "silent", "not_judged": ""},
                {
                    "key": 2,
                    "status": "measured",
                    "faults": "",
                    "not_judged": "damper=no release",
                    "cents": np.nan,
                },
            ]
        )

    lines = measured_lines(Heard())  # type: ignore[arg-type]
    assert lines[1] == ["recording: silent"]
    assert lines[2] == ["no fault heard; 1 could not be judged", "not judged: damper: no release"]


def test_times_that_are_bounds_are_said_to_be_and_not_rounded_the_wrong_way() -> None:
    cells = {"status": "measured", "faults": "", "not_judged": ""}
    times = (("=", 0.44), (">", 0.46), ("<", 0.44))

    class Heard:
        table = pd.DataFrame(
            [{"key": k, "decay_20_s": s, "decay_20_bound": b, **cells} for k, (b, s) in enumerate(times)]
        )

    lines = [own[0] for own in measured_lines(Heard()).values()]  # type: ignore[arg-type]
    assert lines == [
        "falls 20 dB in 0.4 s",
        "falls 20 dB in at least 0.4 s",
        "falls 20 dB in at most 0.5 s: the room rings on",
    ]


def test_a_keys_sound_is_sent_only_when_asked_for(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    picker = picker_of(book)
    sent: list[tuple[dict[str, Any], list[bytes]]] = []
    monkeypatch.setattr(picker, "send", lambda content, buffers=None: sent.append((content, buffers or [])))
    assert picker.playable == [40, 41, 42, 43]
    assert not any(isinstance(v, bytes) for v in picker.get_state().values())
    picker.receive({"do": "play", "key": 42})
    ((content, (data,)),) = sent
    assert (content["kind"], content["key"]) == ("sound", 42)
    assert 1_000 < len(data) < 60_000
    assert picker.line == ""


def test_the_clip_is_that_key_and_no_other(book: Book) -> None:
    """The clip's own strongest pitch is held against equal temperament, and fails for a neighbour's clip."""
    for key in (40, 42):
        data = key_clip(book.sound, book.survey, key=key).data
        samples, rate_hz = soundfile.read(io.BytesIO(data), always_2d=True)
        spectrum = np.abs(np.fft.rfft(samples[:, 0] * np.hanning(len(samples)), 8 * len(samples)))
        f_hz = np.fft.rfftfreq(8 * len(samples), 1 / rate_hz)
        own, other = (spectrum[np.abs(f_hz / _tempered_hz(k) - 1) < 0.01].max() for k in (key, key + 1))
        assert own > 5 * other
        assert 0.6 < len(samples) / rate_hz < 1.3


def _tempered_hz(key: int) -> float:
    return float(440.0 * 2 ** ((key - 49) / 12))


def test_no_recording_no_sound(book: Book) -> None:
    with book.casebook.editing(by="Ana") as edit:
        later = edit.add(Visit(piano_id=book.piano.id, day=book.visit.day, examiner="Ana"))
    picker = KeyboardPicker(book.piano, casebook=book.casebook, visit_id=later.id)
    assert picker.playable == []
    picker.receive({"do": "play", "key": 40})
    assert "a visit without a recording" in picker.line


def test_a_visit_to_another_piano_is_refused(book: Book) -> None:
    with pytest.raises(BadInput, match="a visit to another piano"):
        KeyboardPicker(Piano(name="other"), casebook=book.casebook, visit_id=book.visit.id)


def test_the_twin_escapes_the_name_and_lists_the_marks(book: Book) -> None:
    picker = picker_of(book)
    mark(picker, "keys-sticking", 41)
    html = picker.to_html()
    assert "<b>" not in html
    assert "Keys that stick" in html
    assert "What the recording says of each key" in html
    assert html.count("cents") >= 4


@pytest.mark.parametrize(
    ("rate_hz", "coded_hz"), [(16000, 16000), (22050, 22050), (22000, 22050), (96000, 48000)]
)
def test_a_clip_is_small_whatever_the_recordings_rate(
    recorded: tuple[Path, Survey], tmp_path: Path, rate_hz: int, coded_hz: int
) -> None:
    """Rates of MPEG-1 and MPEG-2 layer III, from memory: 16, 22.05 and 24 kHz, 32, 44.1 and 48 kHz."""
    sound, survey = recorded
    samples, _ = soundfile.read(sound)
    path = tmp_path / "same.wav"
    soundfile.write(path, samples, rate_hz, subtype="PCM_16")
    kept = io.BytesIO(key_clip(path, survey, key=40).data)
    form = soundfile.info(kept)
    assert (form.format, form.samplerate) == ("MP3", coded_hz)
