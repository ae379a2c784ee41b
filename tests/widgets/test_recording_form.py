"""The form that hears a recording and keeps it: once, at its visit, and in words where it can't."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

import pianolab
from pianolab.casebook import Casebook
from pianolab.io import write_sound
from pianolab.model import Piano, Visit
from pianolab.sound_model import PianoModel, render_scale


@pytest.fixture(scope="module")
def scale(tmp_path_factory: pytest.TempPathFactory) -> Path:
    sound = render_scale(PianoModel(seed=5, first_key=40, last_key=43), rate_hz=22050, hold_s=0.8, gap_s=0.3)
    folder = tmp_path_factory.mktemp("sound")
    return write_sound(folder / "scale.flac", sound.samples, rate_hz=sound.rate_hz)


@pytest.fixture
def piano(visit_and_book: tuple[Casebook, Visit]) -> Piano:
    return visit_and_book[0].pianos()[0]


def test_a_recording_is_heard_and_kept_once(
    visit_and_book, piano: Piano, tmp_path: Path, scale: Path
) -> None:
    casebook, visit = visit_and_book
    here = tmp_path / "sounds"
    here.mkdir()
    form = pianolab.forms.recording_form(casebook, piano, visit, folder=here, examiner="Ana")
    assert form.listen.disabled
    assert "No sound file is here yet" in form.said.value
    (here / "scale.flac").write_bytes(scale.read_bytes())
    form.look.click()
    assert [label for label, _ in form.choice.options] == ["scale.flac"]
    form.listen.click()
    assert form.said.value.startswith("Kept: scale.flac: 4 of")
    (recording,) = casebook.recordings(visit.id)
    assert len(casebook.surveys(piano.id)) == 1
    assert casebook.log()[-1].by == "Ana"
    form.listen.click()
    assert "in the casebook already" in form.said.value
    assert casebook.recordings() == (recording,)


def test_what_is_no_recording_is_refused_in_words(visit_and_book, piano: Piano, tmp_path: Path) -> None:
    casebook, visit = visit_and_book
    here = tmp_path / "sounds"
    here.mkdir()
    (here / "<b>.wav").write_bytes(b"no sound")
    form = pianolab.forms.recording_form(casebook, piano, visit, folder=here)
    form.listen.click()
    assert form.said.value.startswith("Not kept. ")
    assert "<b>" not in form.said.value
    assert casebook.recordings() == ()
    assert not form.listen.disabled


def test_stopping_keeps_nothing(visit_and_book, piano: Piano, scale: Path) -> None:
    casebook, visit = visit_and_book
    form = pianolab.forms.recording_form(casebook, piano, visit, folder=scale.parent)

    def stop(*_: object) -> None:
        raise KeyboardInterrupt

    form._tell = stop  # type: ignore[method-assign]
    form.listen.click()
    assert form.said.value == "Stopped; nothing was kept."
    assert casebook.recordings() == ()


def test_the_newest_file_comes_first(visit_and_book, piano: Piano, tmp_path: Path) -> None:
    casebook, visit = visit_and_book
    here = tmp_path / "sounds"
    here.mkdir()
    for age, name in enumerate(("today.m4a", "yesterday.wav", "notes.txt")):
        (here / name).write_bytes(b"x")
        os.utime(here / name, (1_000_000 - age, 1_000_000 - age))
    form = pianolab.forms.recording_form(casebook, piano, visit, folder=here)
    assert [label for label, _ in form.choice.options] == ["today.m4a", "yesterday.wav"]


def test_it_goes_to_the_forms_own_visit_though_another_examined_that_day(
    visit_and_book, piano: Piano, scale: Path
) -> None:
    casebook, visit = visit_and_book
    with casebook.editing(by="Ben") as edit:
        edit.add(Visit(piano_id=piano.id, day=visit.day, examiner="Ben"))
    form = pianolab.forms.recording_form(casebook, piano, visit, folder=scale.parent, examiner="Ana")
    form.listen.click()
    assert [r.visit_id for r in casebook.recordings()] == [visit.id]
