"""The lessons: complete, answers only with the teacher, the same in notebook, sitting and on paper."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from pianolab.classroom import (
    DRILL_KINDS,
    GRADED_POINTS,
    enter_paper,
    examples,
    lesson_drills,
    lesson_exhibits,
    lessons,
    load_lessons,
    make_class,
    make_drill,
    sitting,
    talk,
    write_answers,
    write_lesson_sheets,
)
from pianolab.classroom.drills import Drill
from pianolab.classroom.exhibits import NOT_JUDGEABLE
from pianolab.classroom.faults import FAULT_WORDS
from pianolab.classroom.folder import SchoolClass
from pianolab.errors import BadInput
from pianolab.keyboard import key_of
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
    assert 25 <= lesson.minutes <= 90
    assert sum(minutes for minutes, _ in lesson.plan) == lesson.minutes
    assert lesson.homework
    assert lesson.goal.words
    assert lesson.goal.kind in (*lesson.kinds, "grade")
    assert lesson.example, "something is heard or seen, named, before anything is asked"
    for asked, said in lesson.example:
        if lesson.points:
            assert asked in lesson.points
            assert said in "12345"
        else:
            assert asked in DRILL_KINDS
            assert said in ("", *FAULT_WORDS)
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
    cells = json.loads(text)["cells"]
    code = "\n".join("".join(c["source"]) for c in cells if c["cell_type"] == "code")
    assert f'sitting(desk, "{lesson.id}")' in code
    for secret in (*lesson.teacher, "write_answers", "lesson_drills", ".truth", ".reference"):
        assert secret not in text
    shown = f"{lesson!r} {lesson._repr_html_()}"
    assert lesson.aim in shown
    assert not [t for t in lesson.teacher if t in shown]


@pytest.mark.slow
@pytest.mark.parametrize("lesson", LESSONS.values(), ids=list(LESSONS))
def test_an_example_is_told_before_anything_is_asked(lesson) -> None:
    shown, seen = examples(lesson.id), []
    while not shown.finished:
        view, told = shown.view(), shown.told()
        assert told.answer in view["choices"]
        assert len(shown.sounds()) == len(view["clips"])
        assert view["clips"] or view["picture"]
        seen.append(view["question"])
        shown.next()
    assert len(seen) == len(lesson.example)
    assert shown.view()["closing"]


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
    assert graded.view()["choices"] == [*first.point.anchors, NOT_JUDGEABLE]


@pytest.mark.slow
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


@pytest.mark.slow
def test_what_was_ticked_on_paper_comes_into_the_class_by_letters(school: SchoolClass) -> None:
    drills = lesson_drills(school, "dampers")
    letters = "".join("abcdefghijklm"[d.choices.index(d.truth.answer)] for d in drills)
    desk = school.desk("paper 3")
    for bad in (letters[:-1], letters + "a", "z" + letters[1:]):
        with pytest.raises(BadInput, match="letter"):
            enter_paper(desk, "dampers", bad)
    assert desk.answers() == (), "nothing is half entered"
    assert enter_paper(desk, "dampers", f"{letters[0]} -{letters[2:]}") == len(drills) - 1
    assert [a.correct for a in desk.answers()] == [True] * (len(drills) - 1)


def test_an_example_names_what_it_lets_hear_and_is_never_asked(school: SchoolClass) -> None:
    heard = examples("dampers")
    told = heard.told()
    assert told.headline in [f"{c}." for c in heard.view()["choices"]]
    assert told.counts is None
    assert told.sound is not None
    asked = {d.task for d in lesson_drills(school, "dampers")}
    assert heard.drill.task not in asked


@pytest.mark.slow
def test_talking_afterwards_shows_counts_and_no_name(school: SchoolClass) -> None:
    with pytest.raises(BadInput, match="no answers"):
        talk(school, "room and left pedal")
    for pupil, right in (("Ida", True), ("Tom", False)):
        sat = sitting(school.desk(pupil), "room and left pedal")
        truth = sat.drill.truth.answer
        sat.take(truth if right else next(c for c in sat.drill.choices if c != truth))
    school.gather()
    spoken = talk(school, "room and left pedal")
    told = spoken.told()
    assert told.counts == (1, 1)
    assert told.headline.endswith("1 of 2 heard it so.")
    shown = f"{told} {spoken.view()}"
    assert "Ida" not in shown
    assert "Tom" not in shown


def test_before_and_after_the_course_nothing_is_altered_and_what_is_so_was_measured() -> None:
    made = [
        make_drill("which of two real notes dies sooner", seed=3, number=n, place=(n, 16)) for n in range(16)
    ]
    higher = 0
    for drill in made:
        names = re.findall(r"[AB] is ([A-G]#?\d)", drill.question)
        sooner = "AB".index(drill.truth.answer)
        higher += key_of(names[sooner]) > key_of(names[1 - sooner])
        assert drill.made_from == "recorded notes, unaltered but for level and end"
        # Another measure than the listening's: how far the level in the first 0.8 s falls, by a line.
        falls = []
        for clip in drill.clips:
            level = 10 * np.log10(
                np.convolve(clip.samples[3200:] ** 2, np.ones(1600) / 1600, "valid")[::320] + 1e-12
            )
            top = int(np.argmax(level[:30]))
            falls.append(level[top] - level[top : top + 90].min())
        assert falls[sooner] > falls[1 - sooner]
    assert higher == 8


def test_what_is_no_lesson(school: SchoolClass, tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="lesson: got 'scales'"):
        sitting(school.desk("7"), "scales")
    own = make_class(tmp_path / "own", name="Own", seed=4, same_set=False)
    with pytest.raises(BadInput, match="each pupil has an own set"):
        lesson_drills(own, "dampers")
