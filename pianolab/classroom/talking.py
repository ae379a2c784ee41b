"""Talking afterwards: each task of a lesson once more, with what the class answered and nobody's name."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from pianolab.classroom.answer_ids import place_of
from pianolab.classroom.drills import Drill
from pianolab.classroom.feedback import NOTHING_ASKED, EncodedSound, Feedback, asked_of, encoded, told_of
from pianolab.classroom.lessons import graded_examples, label_of, lesson_drills, lesson_examples
from pianolab.errors import BadInput
from pianolab.model import Answer
from pianolab.report.class_page import PlainTable, Section

if TYPE_CHECKING:
    from pianolab.classroom.exhibits import Exhibit
    from pianolab.classroom.folder import SchoolClass


LAST = "That was the last one."


class Talk:
    """The tasks of a lesson, one after another, told at once: how many chose what, the truth, sounds and chart.

    Show it with the drill player; it keeps nothing and asks nothing.
    """

    def __init__(self, title: str, drills: Sequence[Drill], answers: Sequence[Answer]) -> None:
        self._title, self._drills, self._number = title, tuple(drills), 0
        self._given = [given_of(d, answers) for d in self._drills]

    @property
    def finished(self) -> bool:
        """Whether all tasks were talked about."""
        return self._number >= len(self._drills)

    @property
    def drill(self) -> Drill:
        """The present task."""
        return self._drills[self._number]

    def view(self) -> dict[str, Any]:
        """The present task, as when it was asked."""
        base = {
            "lesson": self._title,
            "number": min(self._number + 1, len(self._drills)),
            "count": len(self._drills),
            "finished": self.finished,
        }
        if self.finished:
            return {**base, **NOTHING_ASKED, "closing": LAST}
        return {**base, **asked_of(self.drill)}

    def sounds(self) -> list[EncodedSound]:
        """The sounds of the present task."""
        return [] if self.finished else [encoded(c) for c in self.drill.clips]

    def told(self) -> Feedback:
        """What is so, and how many chose what."""
        drill, given = self.drill, self._given[self._number]
        without = drill.truth.without_fault
        told = told_of(drill, drill.truth.answer, sound=encoded(without) if without else None)
        counts = tuple(given[c] for c in drill.choices)
        if not any(counts):
            return replace(told, right=None, headline=f"{drill.truth.answer}.")
        headline = f"{drill.truth.answer}: {given[drill.truth.answer]} of {sum(counts)} heard it so."
        return replace(told, right=None, headline=headline, counts=counts)

    def take(self, _choice: str) -> Feedback:
        """As `told`: nothing is kept here."""
        return self.told()

    def next(self) -> None:
        """Go on to the next task."""
        self._number += 1


class GradedTalk:
    """Exhibits one after another, each with the teacher's grade told at once; keeps nothing and asks nothing."""

    def __init__(self, title: str, exhibits: Sequence[Exhibit]) -> None:
        self._title, self._exhibits, self._number = title, tuple(exhibits), 0

    @property
    def finished(self) -> bool:
        """Whether all were shown."""
        return self._number >= len(self._exhibits)

    def view(self) -> dict[str, Any]:
        """The present exhibit, as when it is to be graded."""
        count = len(self._exhibits)
        base = {"lesson": self._title, "number": min(self._number + 1, count), "count": count}
        if self.finished:
            return {**base, "finished": True, **NOTHING_ASKED, "closing": LAST}
        return {**base, "finished": False, **self._exhibits[self._number].as_task()}

    def sounds(self) -> list[EncodedSound]:
        """The sound of the present exhibit, if it has one."""
        clip = None if self.finished else self._exhibits[self._number].clip
        return [encoded(clip)] if clip else []

    def told(self) -> Feedback:
        """The teacher's grade and its sentence."""
        shown = self._exhibits[self._number]
        sentence = shown.point.anchors[5 - shown.reference]
        return Feedback(
            right=None,
            headline=f"The teacher's grade: {shown.reference}.",
            answer=sentence,
            explanation="Put what you see and hear beside each sentence before you choose one.",
        )

    def take(self, _choice: str) -> Feedback:
        """As `told`: nothing is kept here."""
        return self.told()

    def next(self) -> None:
        """Go on to the next exhibit."""
        self._number += 1


def given_of(drill: Drill, answers: Sequence[Answer]) -> Counter[str]:
    """How many gave which answer to a task."""
    return Counter(
        a.given for a in answers if place_of(a.task) == place_of(drill.task) and a.kind == drill.kind
    )


def talk(school: SchoolClass, name: str, *, turn: int = 1) -> Talk:
    """A lesson's tasks to talk about, with the answers that were gathered.

    Parameters
    ----------
    school : the class
    name : of the lesson
    turn : as in `lesson_drills`

    Returns
    -------
    Talk

    Raises
    ------
    BadInput : a class in which each pupil has an own set, or nobody has answered yet
    """
    label = label_of(name, turn)
    own = [a for a in school.answers() if a.lesson == label and a.correct is not None]
    if not own:
        raise BadInput(label, "no answers", "answers of one pupil at least", "Gather them first?")
    return Talk(label, lesson_drills(school, name, turn=turn), own)


def examples(name: str) -> Talk | GradedTalk:
    """What a lesson lets one hear, named, before anything is tested; show it with the drill player.

    Parameters
    ----------
    name : of the lesson

    Returns
    -------
    Talk, or GradedTalk for a lesson of grading

    Examples
    --------
    >>> examples("dampers").view()["count"]
    1
    """
    if graded := graded_examples(name):
        return GradedTalk(f"{label_of(name)}: to see first", graded)
    return Talk(f"{label_of(name)}: to hear first", lesson_examples(name), ())


def talk_sections(answers: Sequence[Answer]) -> list[Section]:
    """Task by task, how many heard it so, and what is taken for what; as parts of a page, without any name.

    Only tasks that two or more have answered: where each has an own set there are none.
    """
    told: dict[tuple[str, str], list[Answer]] = {}
    for answer in answers:
        if answer.correct is not None:
            told.setdefault((answer.lesson, place_of(answer.task)), []).append(answer)
    rows = tuple(_of_task(lesson, task, given) for (lesson, task), given in told.items() if len(given) > 1)
    if not rows:
        return confusions(answers)
    table = PlainTable(
        caption="Task by task",
        header=("lesson", "task", "what is so", "heard it so", "other answers"),
        rows=rows,
        folded=True,
    )
    said = "Nobody's name stands here. To hear a task again together: DrillPlayer(talk(school, lesson)) in the notebook."
    return [Section(heading="To talk about", paragraphs=(said,), tables=(table,)), *confusions(answers)]


def _of_task(lesson: str, task: str, given: Sequence[Answer]) -> tuple[str, ...]:
    truth, counts = given[0].truth, Counter(a.given for a in given)
    others = ", ".join(f"{choice} {n}" for choice, n in counts.most_common() if choice != truth)
    return lesson, task, truth, f"{counts[truth]} of {len(given)}", others or "none"


def confusions(answers: Sequence[Answer], *, least: int = 2) -> list[Section]:
    """What is taken for what, for each kind of task with more than two answers."""
    tables = []
    for kind in dict.fromkeys(a.kind for a in answers if a.correct is not None):
        pairs = Counter((a.truth, a.given) for a in answers if a.kind == kind and a.correct is False)
        asked = Counter(a.truth for a in answers if a.kind == kind)
        rows = tuple(
            (truth, given, f"{n} of {asked[truth]}")
            for (truth, given), n in pairs.most_common()
            if n >= least
        )
        if rows and len({a.given for a in answers if a.kind == kind}) > 2:
            tables.append(
                PlainTable(caption=kind, header=("what is so", "taken for", "how often"), rows=rows)
            )
    if not tables:
        return []
    return [
        Section(
            heading="What is taken for what",
            paragraphs=("Mistakes that were made twice or more.",),
            tables=tuple(tables),
        )
    ]
