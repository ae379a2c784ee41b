"""The lessons that come with pianolab: what for, how long, what to prepare and to mind; the teacher's answers apart."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from pianolab.classroom.drills import DRILL_KINDS, Drill, DrillKind, set_seed
from pianolab.classroom.exhibits import Exhibit, example_exhibit, make_exhibits
from pianolab.classroom.making import hardness_for_all, in_turn, make_drill
from pianolab.classroom.sheets import Sheets, answers_section, write_sheets
from pianolab.classroom.sittings import DrillSitting, GradingSitting
from pianolab.errors import BadInput
from pianolab.files import check_outputs
from pianolab.report import write_page
from pianolab.report.class_page import PlainTable, Section, class_page
from pianolab.show import Row, Showable

if TYPE_CHECKING:
    from pianolab.classroom.desk import Desk, School
    from pianolab.classroom.faults import HeardFault
    from pianolab.classroom.folder import SchoolClass


@dataclass(frozen=True, kw_only=True)
class Goal:
    """What one can check after a lesson: a ``figure`` of a ``kind`` of task on the pupil's own page, and its ``value``.

    ``figure`` is "share" (of right answers, at least), "d'" (at least) or "threshold" (at most).
    """

    kind: str
    figure: Literal["share", "d'", "threshold"]
    value: float
    words: str


@dataclass(frozen=True, kw_only=True, repr=False)
class Lesson(Showable):
    """One lesson; a pupil sees aim, time, preparation and cautions, the ``teacher`` notes stay with the teacher."""

    header = ("", "what")

    id: str
    aim: str
    minutes: int
    preparation: tuple[str, ...]
    cautions: tuple[str, ...]
    teacher: tuple[str, ...]
    kinds: tuple[DrillKind, ...] = ()
    about: tuple[HeardFault, ...] = ()
    count: int = 0
    points: tuple[str, ...] = ()
    instruments: int = 0
    plan: tuple[tuple[int, str], ...] = ()
    example: tuple[tuple[str, str], ...] = ()
    goal: Goal
    homework: str = ""

    def headline(self) -> str:
        return f"{self.id}: {self.minutes} minutes"

    def rows(self) -> list[Row]:
        said: list[Row] = [("aim", self.aim), ("goal", self.goal.words), ("time", f"{self.minutes} minutes")]
        said += [(f"{minutes} min", text) for minutes, text in self.plan]
        said += [("prepare", text) for text in self.preparation]
        said += [("mind", text) for text in self.cautions]
        return [*said, ("homework", self.homework)]


@cache
def _read() -> tuple[Lesson, ...]:
    text = (files("pianolab.classroom") / "data" / "lessons.toml").read_text(encoding="utf-8")
    return tuple(_lesson(entry) for entry in tomllib.loads(text)["lesson"])


def _lesson(entry: dict[str, Any]) -> Lesson:
    if unknown := sorted(set(entry.get("kinds", ())) - set(DRILL_KINDS)):
        raise BadInput(f"lesson {entry['id']!r}", ", ".join(unknown), "kinds of drill")
    values: dict[str, Any] = {k: tuple(v) if isinstance(v, list) else v for k, v in entry.items()}
    for name in ("plan", "example"):
        values[name] = tuple(tuple(pair) for pair in values[name])
    return Lesson(**{**values, "goal": Goal(**values["goal"])})


def load_lessons() -> dict[str, Lesson]:
    """The lessons by name, in the order in which they are best held.

    Examples
    --------
    >>> list(load_lessons())
    ['real notes unaltered', 'hearing past the tuning', 'dampers', 'the treble that sings', 'what ails a note', 'room and left pedal', 'the walk with a torch', 'deciding together']
    """
    return {lesson.id: lesson for lesson in _read()}


def lesson_of(name: str) -> Lesson:
    """One lesson by its name."""
    lessons = load_lessons()
    if name not in lessons:
        raise BadInput("lesson", repr(name), "one of " + ", ".join(lessons))
    return lessons[name]


TURN = ", turn "
EXAMPLES = 4_294_967_311
"""Seed of the examples: no class draws it."""


def _label(lesson: Lesson, turn: int) -> str:
    """Name of a lesson in the answers: with its turn from the second on."""
    if turn < 1:
        raise BadInput("turn", turn, "1 for the first time, 2 for the second, and so on")
    return lesson.id if turn == 1 else f"{lesson.id}{TURN}{turn}"


def label_of(name: str, turn: int = 1) -> str:
    """Name of a lesson in the answers.

    Examples
    --------
    >>> label_of("dampers"), label_of("dampers", 2)
    ('dampers', 'dampers, turn 2')
    """
    return _label(lesson_of(name), turn)


def lesson_exhibits(school: School, name: str, *, turn: int = 1) -> tuple[Exhibit, ...]:
    """The instruments to grade in a lesson of this class; empty for a lesson of listening.

    Parameters
    ----------
    school : the class
    name : of the lesson
    turn : as in `lesson_drills`

    Returns
    -------
    tuple of `Exhibit`
    """
    lesson = lesson_of(name)
    label = _label(lesson, turn)
    if not lesson.points:
        return ()
    seed = set_seed(school.seed, lesson=label)
    shown = make_exhibits(seed=seed, instruments=lesson.instruments, points=lesson.points)
    return tuple(replace(e, lesson=label) for e in shown)


def exhibits_of(school: SchoolClass, labels: Iterable[str]) -> tuple[Exhibit, ...]:
    """What was graded in the lessons of these names in the answers; other names are passed over."""
    found: list[Exhibit] = []
    for label in dict.fromkeys(labels):
        name, _, turn = label.partition(TURN)
        if name in load_lessons() and (not turn or turn.isdecimal()):
            found += lesson_exhibits(school, name, turn=int(turn or 1))
    return tuple(found)


def sitting(desk: Desk, name: str, *, turn: int = 1) -> DrillSitting | GradingSitting:
    """A pupil's sitting in a lesson; it goes on where the last one stopped.

    Parameters
    ----------
    desk : the pupil's desk
    name : a name of `load_lessons`
    turn : 2, 3, … for the same lesson again on another day, with other tasks
    """
    lesson = lesson_of(name)
    label = _label(lesson, turn)
    if lesson.points:
        return GradingSitting(desk, lesson=label, exhibits=lesson_exhibits(desk.school, name, turn=turn))
    return DrillSitting(desk, lesson=label, kinds=lesson.kinds, count=lesson.count, about=lesson.about)


def lesson_examples(name: str) -> tuple[Drill, ...]:
    """What is heard before anything is tested: plain tasks with their answers, to play and talk about together.

    They are the same in every class and are never asked.

    Parameters
    ----------
    name : of the lesson

    Returns
    -------
    tuple of `Drill`
    """
    lesson = lesson_of(name)
    if lesson.points:
        return ()
    return tuple(
        make_drill(kind, seed=EXAMPLES, number=n, hardness=0.0, about=(fault,) if fault else ())  # type: ignore[arg-type]
        for n, (kind, fault) in enumerate(lesson.example)
    )


def graded_examples(name: str) -> tuple[Exhibit, ...]:
    """What is seen and heard with the teacher's grade before anything is graded; empty for a lesson of listening."""
    lesson = lesson_of(name)
    return tuple(
        example_exhibit(point, int(grade), seed=EXAMPLES) for point, grade in lesson.example if lesson.points
    )


def lesson_drills(school: SchoolClass, name: str, *, turn: int = 1) -> tuple[Drill, ...]:
    """The drills of a lesson as every pupil of this class gets them.

    Parameters
    ----------
    school : the class
    name : of the lesson
    turn : 1 for the first time this class has the lesson, 2 for the second

    Returns
    -------
    tuple of `Drill`

    Raises
    ------
    BadInput : a class in which each pupil has drills of their own
    """
    lesson = lesson_of(name)
    if not school.same_set and lesson.kinds:
        raise BadInput(
            school.name,
            "a class in which each pupil has an own set",
            "one with the same set for all",
            "Their answers tell the truth of each task.",
        )
    seed, kinds = school.desk("0").seed(_label(lesson, turn)), lesson.kinds
    return tuple(
        make_drill(
            kind,
            seed=seed,
            number=n,
            hardness=hardness_for_all(kinds, n),
            about=lesson.about,
            place=(turn_of_kind, of),
        )
        for n, (kind, turn_of_kind, of) in enumerate(in_turn(kinds, lesson.count))
    )


def _apart(school: SchoolClass, path: str | Path) -> Path:
    """A place for answers, which isn't where pupils find it."""
    if Path(path).resolve().is_relative_to(school.folder.resolve()):
        got, hint = "a place in the class's folder", "Pupils would find it there."
        raise BadInput(str(path), got, "a folder of the teacher's own", hint)
    return Path(path)


def write_answers(
    school: SchoolClass, name: str, path: str | Path, *, turn: int = 1, replace: bool = False
) -> Path:
    """The teacher's page of a lesson: notes, and the answer of every task. Keep it apart from the class's folder.

    Parameters
    ----------
    school : the class
    name : of the lesson
    path : the HTML file
    turn : as in `lesson_drills`
    replace : whether a file that is there may be replaced

    Returns
    -------
    Path, that of the file

    Raises
    ------
    BadInput : a path inside the class's folder, where pupils would find it; a file there and not ``replace``
    """
    path = _apart(school, path)
    check_outputs(path, inputs=school.own_files(), replace=replace)
    lesson = lesson_of(name)
    known = lesson.kinds and school.same_set
    drills: Sequence[Drill] = lesson_drills(school, name, turn=turn) if known else ()
    sections = [
        Section(heading="What it is for", paragraphs=(lesson.aim, f"Time: {lesson.minutes} minutes.")),
        Section(
            heading="How the time goes",
            tables=(PlainTable(caption="Plan", header=("minutes", "what"), rows=lesson.plan),),
            paragraphs=(f"Goal: {lesson.goal.words}", f"Homework: {lesson.homework}"),
        ),
        Section(
            heading="For you",
            tables=(PlainTable(caption="Notes", header=("note",), rows=tuple((t,) for t in lesson.teacher)),),
        ),
        answers_section(drills, lesson_exhibits(school, name, turn=turn)),
    ]
    path.parent.mkdir(parents=True, exist_ok=True)
    html = class_page(f"{_label(lesson, turn)}: for the teacher", sections, contents=False)
    return write_page(path, html, replace=replace, inputs=school.own_files())


def write_lesson_sheets(school: SchoolClass, name: str, folder: str | Path, *, turn: int = 1) -> Sheets:
    """A lesson on paper, for a class without computers; see `write_sheets`.

    What was ticked comes into the class with ``take`` and ``next`` of each pupil's `sitting`, in the order of the tasks.

    Parameters
    ----------
    school : the class
    name : of the lesson
    folder : a new or empty folder
    turn : as in `lesson_drills`

    Returns
    -------
    Sheets, which name the files

    Raises
    ------
    BadInput : a folder inside the class's folder, where pupils would find the answers
    """
    folder = _apart(school, folder)
    drills, exhibits = lesson_drills(school, name, turn=turn), lesson_exhibits(school, name, turn=turn)
    title = f"{school.name}: {_label(lesson_of(name), turn)}"
    return write_sheets(folder, title=title, drills=drills, exhibits=exhibits)
