"""A pupil's sitting: nothing is told before the answer, everything is kept, and one goes on where one stopped."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from threading import Event

import numpy as np
import pytest

from pianolab.classroom import make_drill, sittings, threshold_of
from pianolab.classroom.exhibits import make_exhibits
from pianolab.classroom.folder import SchoolClass, make_class
from pianolab.classroom.sittings import DrillSitting, GradingSitting
from pianolab.classroom.staircase import share_right
from pianolab.errors import BadInput
from pianolab.io.real_notes import ATTRIBUTION

KINDS = ("which dies sooner", "which is further out")


@pytest.fixture
def school(tmp_path: Path) -> SchoolClass:
    return make_class(tmp_path / "class", name="Tuesday", seed=4)


def sit(school: SchoolClass, pupil: str = "Mia", *, count: int = 2) -> DrillSitting:
    return DrillSitting(school.desk(pupil), lesson="first", kinds=KINDS, count=count)


def test_a_view_is_the_same_whatever_is_true(school: SchoolClass) -> None:
    sitting = sit(school)
    view = sitting.view()
    assert set(view) == {
        "lesson",
        "number",
        "count",
        "finished",
        "question",
        "choices",
        "clips",
        "made_from",
        "picture",
        "closing",
    }
    truth = sitting.drill.truth
    shown = repr(view)
    for secret in (truth.explanation, truth.confirmed, truth.fault):
        assert secret not in shown
    labels = [label for label, _, _ in sitting.sounds()]
    assert labels == ["A", "B"]


def test_sounds_carry_no_words_and_are_coded_alike(school: SchoolClass) -> None:
    for _, data, mime in sit(school).sounds():
        assert mime == "audio/mpeg"
        for word in (b"short", b"unison", b"fault", b"title", b"TIT2"):
            assert word not in data


@pytest.mark.slow
def test_an_answer_is_kept_before_the_truth_is_told(school: SchoolClass) -> None:
    sitting = sit(school)
    truth = sitting.drill.truth
    wrong = next(c for c in sitting.drill.choices if c != truth.answer)
    told = sitting.take(wrong)
    (kept,) = school.desk("Mia").answers()
    assert (kept.given, kept.correct, kept.truth, kept.level, kept.confirmed) == (
        wrong,
        False,
        truth.answer,
        truth.level,
        truth.confirmed,
    )
    assert told.right is False
    assert truth.answer in told.headline
    assert truth.explanation in told.explanation
    assert len(told.curves) == 2
    assert told.sound is not None


def test_what_was_altered_is_said_to_be_so_with_the_answer(school: SchoolClass) -> None:
    sitting = sit(school)
    assert "recorded note" in sitting.view()["made_from"]
    told = sitting.take("A")
    assert "Made from a recorded note;" in told.explanation
    assert told.credit == f"Sound: {ATTRIBUTION}; altered as said."


def test_who_was_wrong_is_told_what_that_would_have_sounded_like(school: SchoolClass) -> None:
    sitting = DrillSitting(school.desk("Mia"), lesson="first", kinds=["name the fault"], count=7)
    while sitting.drill.truth.fault == "buzz":
        sitting.next()
    told = sitting.take("it buzzes")
    assert told.headline.startswith("Not so")
    assert "You said “it buzzes”. With that: Something rattles along" in told.explanation


@pytest.mark.slow
def test_the_next_task_is_made_while_the_pupil_listens(school: SchoolClass) -> None:
    """What it needs is on its way before the answer; with an own set it waits for the answer, which aims it."""
    sitting = sit(school)
    sitting.sounds()
    assert 1 in sitting._ahead
    own = make_class(school.folder.parent / "own", name="Own", seed=4, same_set=False)
    mine = sit(own)
    mine.sounds()
    assert 1 not in mine._ahead
    mine.take("A")
    assert 1 in mine._ahead


@pytest.mark.usefixtures("unplayed")
def test_every_task_is_made_once_and_none_after_the_last(
    school: SchoolClass, monkeypatch: pytest.MonkeyPatch
) -> None:
    """However often its sounds are asked for, as a page does that is opened again."""
    asked = []

    def noted(*args: object, **more: object) -> object:
        asked.append(more["number"])
        return make_drill(*args, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(sittings, "make_drill", noted)
    sitting = sit(school, count=3)
    while not sitting.finished:
        assert [len(sitting.sounds()) for _ in range(2)] == [2, 2]
        sitting.take(sitting.drill.truth.answer)
        sitting.next()
    assert sorted(asked) == [0, 1, 2]


def test_only_the_answer_waits_for_what_only_the_answer_needs(
    school: SchoolClass, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The listening and the note without its fault come after the sounds are there to play, and before anything is told."""
    gate, order = Event(), []

    def for_answer(drill: object) -> None:
        gate.wait(120.0)
        order.append(drill)

    monkeypatch.setattr(sittings, "WORKERS", ThreadPoolExecutor(max_workers=1))
    monkeypatch.setattr(sittings, "for_answer", for_answer)
    sitting = sit(school, count=1)
    assert len(sitting.sounds()) == 2
    assert order == []
    asked = sitting.drill
    gate.set()
    sitting.take("A")
    assert any(drill is asked for drill in order)


def test_a_sitting_ends_with_what_it_told(school: SchoolClass) -> None:
    sitting = sit(school)
    sitting.take(sitting.drill.truth.answer)
    sitting.next()
    sitting.take(next(c for c in sitting.drill.choices if c != sitting.drill.truth.answer))
    sitting.next()
    closing = sitting.view()["closing"]
    assert closing.startswith("All tasks are answered: 1 of 2 right. Missed most: its strings are apart (1).")


def test_the_next_sitting_goes_on_where_the_last_one_stopped(school: SchoolClass) -> None:
    sitting = sit(school)
    sitting.take(sitting.drill.truth.answer)
    again = sit(school)
    assert again.view()["number"] == 2
    again.take(again.drill.truth.answer)
    again.next()
    assert again.finished
    assert again.view()["choices"] == []
    assert again.sounds() == []
    assert sit(school).finished
    assert len(school.desk("Mia").answers()) == 2
    with pytest.raises(BadInput, match="all tasks are answered"):
        _ = again.drill


@pytest.mark.slow
def test_the_same_set_is_the_same_for_two_pupils_and_own_sets_differ(
    school: SchoolClass, tmp_path: Path
) -> None:
    assert sit(school, "Mia").drill.task == sit(school, "Leo").drill.task
    own = make_class(tmp_path / "own", name="Own", seed=4, same_set=False)
    assert sit(own, "Mia").drill.task != sit(own, "Leo").drill.task


@pytest.mark.usefixtures("unplayed")
def test_own_sets_get_finer_as_the_answers_are_right(tmp_path: Path) -> None:
    own = make_class(tmp_path / "own", name="Own", seed=4, same_set=False)
    sitting = DrillSitting(own.desk("Mia"), lesson="first", kinds=["which is further out"], count=4)
    levels = []
    for _ in range(4):
        levels.append(sitting.drill.truth.level)
        sitting.take(sitting.drill.truth.answer)
        sitting.next()
    assert levels[0] > levels[1] > levels[3], "the third is an easy one"
    assert levels[2] > levels[1]


def test_a_second_answer_is_told_that_the_first_one_stands(school: SchoolClass) -> None:
    """Two windows on one task."""
    one, other = sit(school), sit(school)
    truth = one.drill.truth.answer
    wrong = next(c for c in one.drill.choices if c != truth)
    assert one.take(wrong).headline.startswith("Not so")
    assert other.take(truth).headline.startswith("You answered this before, and that answer stands.")
    assert [a.correct for a in school.desk("Mia").answers()] == [False]
    exhibits = make_exhibits(seed=1, instruments=2, points=["keys-level"])
    first, second = (GradingSitting(school.desk("Leo"), lesson="d", exhibits=exhibits) for _ in range(2))
    assert first.take(first.view()["choices"][0]).headline == "Noted: 5."
    assert (
        second.take(second.view()["choices"][4]).headline
        == "You answered this before, and that answer stands."
    )
    assert [a.grade for a in school.desk("Leo").answers()] == [5]


@pytest.mark.usefixtures("unplayed")
def test_the_same_set_goes_from_plain_to_fine(school: SchoolClass) -> None:
    sitting = DrillSitting(school.desk("Mia"), lesson="first", kinds=["which is further out"], count=5)
    levels = []
    while not sitting.finished:
        levels.append(sitting.drill.truth.level)
        sitting.take(sitting.drill.truth.answer)
        sitting.next()
    assert len(set(levels)) == 5
    assert max(levels) > 4 * min(levels)
    other = DrillSitting(school.desk("Leo"), lesson="first", kinds=["which is further out"], count=5)
    assert other.drill.truth.level == levels[0]


@pytest.mark.slow
@pytest.mark.usefixtures("unplayed")
@pytest.mark.parametrize(("kind", "threshold"), [("which is further out", 2.0), ("which dies sooner", 9.0)])
def test_a_pupil_of_known_hearing_is_found_through_the_whole_way(
    kind: str, threshold: float, tmp_path: Path
) -> None:
    """Forty tasks as they are given, answered and kept, over four turns; the level is that of the drill's own truth."""
    own = make_class(tmp_path / "own", name="Own", seed=4, same_set=False)
    rng = np.random.default_rng(1)
    for turn in range(4):
        sitting = DrillSitting(own.desk("Mia"), lesson=f"turn {turn}", kinds=[kind], count=10)  # type: ignore[list-item]
        while not sitting.finished:
            truth = sitting.drill.truth
            right = rng.random() < share_right(truth.level, threshold)
            sitting.take(
                truth.answer if right else next(c for c in sitting.drill.choices if c != truth.answer)
            )
            sitting.next()
    found = threshold_of(own.desk("Mia").answers(), kind=kind)
    assert found.answers == 40
    assert found.low is not None
    assert found.low <= threshold <= found.high
    assert found.value == pytest.approx(threshold, rel=0.35)


def test_no_choice_changes_nothing(school: SchoolClass) -> None:
    with pytest.raises(BadInput, match="answer: got 'C'"):
        sit(school).take("C")
    assert school.desk("Mia").answers() == ()


@pytest.mark.slow
def test_grading_alone(school: SchoolClass) -> None:
    exhibits = make_exhibits(seed=1, instruments=2, points=["keys-level", "tuning-unisons"])
    sitting = GradingSitting(school.desk("Mia"), lesson="deciding", exhibits=exhibits)
    heard = 0
    while not sitting.finished:
        view = sitting.view()
        assert len(view["choices"]) == 6
        assert view["keys"] == ["5", "4", "3", "2", "1", "0"]
        assert bool(view["picture"]) != bool(sitting.sounds())
        heard += len(sitting.sounds())
        told = sitting.take(view["choices"][1])
        assert (told.right, told.headline) == (None, "Noted: 4.")
        sitting.next()
    assert heard == 2
    assert [a.grade for a in school.desk("Mia").answers()] == [4] * 4
    last = GradingSitting(school.desk("Tom"), lesson="deciding", exhibits=exhibits)
    assert last.take("not judgeable in this state").headline == "Noted: not judgeable in this state."
    assert [a.grade for a in school.desk("Tom").answers()] == [None]
    with pytest.raises(BadInput, match="answer: got 'splendid'"):
        GradingSitting(school.desk("Leo"), lesson="deciding", exhibits=exhibits).take("splendid")


@pytest.mark.parametrize("bad", [{"kinds": [], "count": 2}, {"kinds": KINDS, "count": 0}])
def test_a_sitting_without_tasks(school: SchoolClass, bad: dict[str, object]) -> None:
    with pytest.raises(BadInput, match="need one"):
        DrillSitting(school.desk("Mia"), lesson="first", **bad)  # type: ignore[arg-type]


def test_tasks_have_names_that_tell_nothing(school: SchoolClass) -> None:
    drill = sit(school).drill
    assert drill.task.startswith(drill.kind)
    again = make_drill(drill.kind, seed=school.desk("Mia").seed("first"), hardness=0.2)
    assert again.task == drill.task
