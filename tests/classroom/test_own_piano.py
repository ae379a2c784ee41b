"""A teacher's own piano: cut, measured, asked about; and "measured" only where it was."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from pianolab.classroom import (
    DrillSitting,
    Exhibit,
    GradingSitting,
    OwnPiano,
    class_view,
    make_class,
    make_drill,
    make_exhibits,
    open_own_piano,
    own_faults,
    own_piano,
    photo_exhibit,
    write_class_page,
)
from pianolab.classroom.altering import RATE_HZ
from pianolab.classroom.blows import NOTE_S
from pianolab.classroom.confirm import NOT
from pianolab.errors import BadInput
from pianolab.io import write_sound
from pianolab.sound_model import KeyFault, PianoModel, render_scale

FIRST, LAST, SOUR = 40, 52, 46


@pytest.fixture(scope="module")
def recording(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Thirteen keys of a modelled piano, two seconds each, one with its strings apart."""
    model = PianoModel(
        seed=9,
        kind="grand",
        unison_spread_cents=0.3,
        faults=(KeyFault(key=SOUR, kind="unison", amount=12.0),),
    )
    scale = render_scale(model, first_key=FIRST, last_key=LAST, hold_s=2.0, gap_s=0.6, rate_hz=44100, seed=1)
    return write_sound(tmp_path_factory.mktemp("own") / "scale.flac", 0.5 * scale.samples, rate_hz=44100)


@pytest.fixture(scope="module")
def piano(recording: Path) -> OwnPiano:
    return own_piano(recording, name="the school's grand", first_key=FIRST, last_key=LAST)


@pytest.mark.slow
def test_notes_are_cut_where_they_begin_and_what_is_measured_is_kept(piano: OwnPiano) -> None:
    assert len(piano.notes) >= 11
    assert "unison" in piano.faults[SOUR]
    assert SOUR not in piano.keys
    for key, note in piano.notes.items():
        assert note.shape == (round(NOTE_S * RATE_HZ),)
        blow = np.abs(note[: RATE_HZ // 10]).max()
        assert blow > 0.5 * np.abs(note).max(), key
    assert set(piano.notes) | set(piano.left_out) == set(range(FIRST, LAST + 1))


def test_drills_are_proposed_from_sound_keys_and_say_whose_they_are(piano: OwnPiano) -> None:
    assert "which dies sooner" in piano.kinds
    assert "same or different" not in piano.kinds, "one blow of a key is not two"
    drill = make_drill("which dies sooner", seed=1, level=20.0, source=piano)
    assert drill.made_from == "a note of the school's grand, recorded by the teacher"
    assert drill.truth.is_confirmed
    few = replace(piano, notes=dict(list(piano.notes.items())[:3]))
    assert few.kinds == ()


def test_a_fault_that_was_measured_is_asked_unaltered(piano: OwnPiano) -> None:
    drills = [d for d in own_faults(piano) if d.truth.answer == "F#4"]
    assert len(drills) == 1
    assert drills[0].truth.is_confirmed
    assert drills[0].made_from.endswith("unaltered")
    assert len(drills[0].choices) == 7
    # The twin: of a piano in which nothing was found nothing is asked.
    assert own_faults(replace(piano, faults=dict.fromkeys(piano.notes, ()))) == ()


def test_it_is_kept_whole_and_never_written_over(piano: OwnPiano, tmp_path: Path) -> None:
    place = piano.save(tmp_path / "grand")
    again = open_own_piano(place)
    assert (again.name, again.keys, again.faults, again.left_out) == (
        piano.name,
        piano.keys,
        piano.faults,
        piano.left_out,
    )
    note, kept = piano.notes[41], again.notes[41]
    assert np.corrcoef(note[:RATE_HZ], kept[:RATE_HZ])[0, 1] > 0.9999
    with pytest.raises(BadInput, match="a folder that is there"):
        piano.save(tmp_path / "grand")
    with pytest.raises(BadInput, match="no piano that was kept"):
        open_own_piano(tmp_path)
    (tmp_path / "piano.toml").write_text("name = " + "[" * 100_000, encoding="utf-8")
    with pytest.raises(BadInput, match="no piano that was kept"):
        open_own_piano(tmp_path)


def test_a_recording_of_short_notes_is_refused_in_one_line(tmp_path: Path) -> None:
    model = PianoModel(seed=9, kind="grand")
    scale = render_scale(model, first_key=40, last_key=43, hold_s=0.4, gap_s=0.5, rate_hz=44100, seed=1)
    path = write_sound(tmp_path / "short.flac", 0.5 * scale.samples, rate_hz=44100)
    with pytest.raises(BadInput, match="no note that is long enough"):
        own_piano(path, name="short", first_key=40, last_key=43)


def test_a_photograph_is_graded_against_the_teachers_word(tmp_path: Path) -> None:
    path = tmp_path / "board.jpg"
    Image.new("RGB", (1600, 900), (200, 170, 120)).save(path)
    shown = photo_exhibit(path, point="board-cracks", grade=3, instrument="the one at school")
    assert shown.confirmed == "the teacher's grade, not measured"
    assert "data:image/jpeg;base64," in shown.to_html()
    assert "3" not in shown.reading
    for bad, message in (
        ({"grade": 6}, "grade: got 6"),
        ({"point": "wings"}, "point: got 'wings'"),
        ({"photo": tmp_path / "none.jpg"}, "need a photo"),
    ):
        with pytest.raises(BadInput, match=message):
            photo_exhibit(**{"photo": path, "point": "board-cracks", "grade": 3, "instrument": "x", **bad})


def test_an_exhibit_made_by_hand_is_never_said_to_be_measured() -> None:
    made = next(e for e in make_exhibits(seed=1, instruments=2, points=["tuning-unisons"]))
    by_hand = Exhibit(
        instrument="mine", kind="grand", point=made.point, drawing="", where="", reading="", clip=made.clip
    )
    assert by_hand.confirmed.startswith(NOT)


@pytest.mark.slow
def test_a_whole_lesson_from_the_teachers_piano_to_the_class_page(piano: OwnPiano, tmp_path: Path) -> None:
    school = make_class(tmp_path / "class", name="Tuesday", seed=4)
    kept = open_own_piano(piano.save(school.folder / "my-piano"))
    desk = school.desk("Mia")
    drills = DrillSitting(desk, lesson="my piano", kinds=kept.kinds, count=2, source=kept)
    while not drills.finished:
        assert drills.view()["made_from"] == kept.words
        assert drills.sounds()
        drills.take(drills.view()["choices"][0])
        drills.next()
    photo = tmp_path / "hammers.png"
    Image.new("RGB", (900, 640), (200, 170, 120)).save(photo)
    shown = [
        photo_exhibit(photo, point=point, grade=2, instrument="the one at school")
        for point in ("hammers-grooves", "board-cracks")
    ]
    for pupil, choice in (("Mia", 0), ("Leo", 1)):
        grading = GradingSitting(school.desk(pupil), lesson="photographs", exhibits=shown)
        for exhibit in shown:
            view = grading.view()
            assert "the teacher's grade" not in str(view), "the reference stays the teacher's"
            assert view["made_from"] == "a photograph by the teacher"
            assert f"Noted: {5 - choice}." in grading.take(exhibit.point.anchors[choice]).headline
            grading.next()
    school.gather()
    assert (
        sorted(a.lesson for a in school.answers() if a.pupil == "Mia")
        == ["my piano"] * 2 + ["photographs"] * 2
    )
    assert class_view(school.answers(), shown).against_teacher == 2.5, "5 and 4 where the teacher says 2"
    assert write_class_page(school, tmp_path / "class.html", exhibits=shown).stat().st_size > 1000
