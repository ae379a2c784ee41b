"""The lessons: complete, answers only with the teacher, the same in notebook, sitting and on paper."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import nbformat
import pytest

from pianolab.classroom import (
    DRILL_KINDS,
    GRADED_POINTS,
    lesson_drills,
    lesson_exhibits,
    lessons,
    load_lessons,
    make_class,
    sitting,
    write_answers,
    write_lesson_sheets,
)
from pianolab.classroom.drills import Drill
from pianolab.classroom.faults import FAULT_WORDS
from pianolab.classroom.folder import SchoolClass
from pianolab.errors import BadInput
from pianolab.shipped import shipped

LESSONS = load_lessons()


@pytest.fixture(scope="module")
def school(tmp_path_factory: pytest.TempPathFactory) -> SchoolClass:
    return make_class(tmp_path_factory.mktemp("lessons") / "class", name="Tuesday", seed=4)


@pytest.fixture(scope="module", autouse=True)
def short_lesson() -> Iterator[None]:
    """The lesson about dampers with one drill of each kind; everything else about it as it is."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(
            lessons, "_read", lambda: tuple(replace(x, count=min(x.count, 3)) for x in LESSONS.values())
        )
        yield


@pytest.fixture(scope="module")
def drills(school: SchoolClass) -> tuple[Drill, ...]:
    return lesson_drills(school, "dampers")


@pytest.mark.parametrize("lesson", LESSONS.values(), ids=list(LESSONS))
def test_each_says_what_for_how_long_what_to_prepare_and_to_mind(lesson) -> None:
    assert lesson.aim
    assert 30 <= lesson.minutes <= 90
    assert lesson.preparation
    assert lesson.cautions
    assert len(lesson.teacher) >= 2
    assert bool(lesson.kinds) != bool(lesson.points)
    assert set(lesson.kinds) <= set(DRILL_KINDS)
    assert set(lesson.points) <= set(GRADED_POINTS)
    assert set(lesson.about) <= set(FAULT_WORDS)


@pytest.mark.parametrize("lesson", LESSONS.values(), ids=list(LESSONS))
def test_the_pupils_notebook_holds_nothing_of_the_teachers(lesson) -> None:
    name = "lesson_" + lesson.id.replace(" ", "_") + ".ipynb"
    text = shipped(f"notebooks/{name}").read_text(encoding="utf-8")
    code = "\n".join(c.source for c in nbformat.reads(text, as_version=4).cells if c.cell_type == "code")
    assert f'sitting(desk, "{lesson.id}")' in code
    for secret in (*lesson.teacher, "write_answers", "lesson_drills", ".truth", ".reference"):
        assert secret not in text
    shown = f"{lesson!r} {lesson._repr_html_()}"
    assert lesson.aim in shown
    assert not [t for t in lesson.teacher if t in shown]


def test_the_teachers_page_has_every_answer_and_lies_apart(
    school: SchoolClass, drills: tuple[Drill, ...], tmp_path: Path
) -> None:
    text = write_answers(school, "dampers", tmp_path / "teacher" / "dampers.html").read_text(encoding="utf-8")
    for drill in drills:
        assert drill.truth.answer in text
    for note in LESSONS["dampers"].teacher:
        assert note in text
    with pytest.raises(BadInput, match="a place in the class's folder"):
        write_answers(school, "dampers", school.folder / "answers.html")
    assert not (school.folder / "answers.html").exists()
    with pytest.raises(BadInput, match="a place in the class's folder"):
        write_lesson_sheets(school, "dampers", school.folder / "sheets")
    assert not (school.folder / "sheets").exists()


def test_a_lesson_about_one_fault_is_about_it(drills: tuple[Drill, ...]) -> None:
    assert {d.truth.fault for d in drills} <= {"damper", ""}
    assert sum(d.truth.fault == "damper" for d in drills) >= 2
    assert all(len(d.choices) > 2 for d in drills), "the choices don't give the fault away"
    assert sum(d.truth.is_confirmed for d in drills) >= len(drills) - 1


def test_the_sitting_asks_what_the_teachers_page_answers(
    school: SchoolClass, drills: tuple[Drill, ...]
) -> None:
    sat = sitting(school.desk("7"), "dampers")
    assert sat.view()["question"] == drills[0].question
    assert sat.view()["choices"] == list(drills[0].choices)
    graded = sitting(school.desk("7"), "the walk with a torch")
    first = lesson_exhibits(school, "the walk with a torch")[0]
    assert graded.view()["choices"] == list(first.point.anchors)


def test_a_lesson_again_has_other_tasks(school: SchoolClass) -> None:
    once, again = (sitting(school.desk("7"), "the treble that sings", turn=n) for n in (1, 2))
    assert once.lesson == "the treble that sings"
    assert again.lesson == "the treble that sings, turn 2"
    assert once.drill.task != again.drill.task
    choice = once.drill.truth.answer
    once.take(choice)
    assert sitting(school.desk("7"), "the treble that sings").view()["number"] == 2
    assert sitting(school.desk("7"), "the treble that sings", turn=2).view()["number"] == 1
    with pytest.raises(BadInput, match="turn: got 0, need 1 for the first time"):
        sitting(school.desk("7"), "the treble that sings", turn=0)


def test_what_was_ticked_on_paper_comes_into_the_class(school: SchoolClass) -> None:
    """As `write_lesson_sheets` says: the sitting takes the ticks in order."""
    drills = lesson_drills(school, "dampers")
    sat = sitting(school.desk("paper 3"), "dampers")
    for drill in drills:
        sat.take(drill.truth.answer)
        sat.next()
    assert sat.finished
    assert [a.correct for a in school.desk("paper 3").answers()] == [True] * len(drills)


def test_what_is_no_lesson(school: SchoolClass, tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="lesson: got 'scales'"):
        sitting(school.desk("7"), "scales")
    own = make_class(tmp_path / "own", name="Own", seed=4, same_set=False)
    with pytest.raises(BadInput, match="each pupil has an own set"):
        lesson_drills(own, "dampers")
