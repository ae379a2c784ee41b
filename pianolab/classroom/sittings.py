"""One sitting of a pupil: tasks one after another, each answer kept at once, nothing told before it is given."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from time import monotonic
from typing import Any

from pianolab.classroom.answer_ids import GRADE
from pianolab.classroom.blows import Blows, SourceName
from pianolab.classroom.desk import Desk
from pianolab.classroom.drills import Drill, DrillKind
from pianolab.classroom.exhibits import NOT_JUDGEABLE, Exhibit
from pianolab.classroom.faults import HeardFault
from pianolab.classroom.feedback import (
    NOTHING_ASKED,
    EncodedSound,
    Feedback,
    asked_of,
    closing_words,
    encoded,
    told_of,
)
from pianolab.classroom.kinds import LEVELS
from pianolab.classroom.making import PLAIN, hardness_for_all, in_turn, make_drill
from pianolab.classroom.psychometrics import ladder_of
from pianolab.classroom.staircase import UpDown
from pianolab.errors import BadInput
from pianolab.model import Answer

WORKERS = ThreadPoolExecutor(max_workers=1, thread_name_prefix="drills")
"""Drills are made one after another, beside what the pupil does."""


class Sitting:
    """Tasks of one pupil in one lesson; goes on at the first that isn't answered yet.

    The player shows `view` and `sounds`; `take` keeps the answer and only then says what is true.
    """

    def __init__(self, desk: Desk, *, lesson: str, count: int) -> None:
        if count < 1:
            raise BadInput("count", count, "one task at least")
        self.desk, self.lesson, self.count = desk, lesson, count
        self._number = 0
        self._since = monotonic()
        self._answered = {a.id for a in desk.answers()}

    def _start(self) -> None:
        while self._number < self.count and self._id() in self._answered:
            self._number += 1

    def _id(self) -> str:
        raise NotImplementedError

    @property
    def finished(self) -> bool:
        """Whether all tasks are answered."""
        return self._number >= self.count

    def next(self) -> None:
        """Go on to the next task."""
        self._number += 1
        self._start()
        self._since = monotonic()

    def _base(self) -> dict[str, Any]:
        return {
            "lesson": self.lesson,
            "number": min(self._number + 1, self.count),
            "count": self.count,
            "finished": self.finished,
        }

    def _keep(self, answer: Answer) -> str:
        """Keep an answer; returns what to say before anything else where the task was answered before."""
        dated = replace(answer, seconds=round(monotonic() - self._since, 1), at=datetime.now(UTC))
        kept = self.desk.record(dated)
        self._answered.add(dated.id)
        return "" if kept else "You answered this before, and that answer stands. "


@dataclass(frozen=True, kw_only=True)
class Ready:
    """A drill with its sounds as they go to the page; ``answered`` is what only the answer needs."""

    drill: Drill
    sounds: list[EncodedSound]
    answered: Future[EncodedSound | None]


def made_ready(make: Callable[[], Drill]) -> Ready:
    """Make a drill and code its sounds; what only the answer needs is made afterwards, while the pupil listens."""
    drill = make()
    return Ready(
        drill=drill, sounds=[encoded(c) for c in drill.clips], answered=WORKERS.submit(for_answer, drill)
    )


def for_answer(drill: Drill) -> EncodedSound | None:
    """Let pianolab listen to a drill, and code the note without its fault."""
    without = drill.truth.without_fault
    _ = drill.truth.confirmed
    return encoded(without) if without else None


def what_the_answer_needs(ready: Ready) -> EncodedSound | None:
    """What was made while the pupil listened; made anew where that went wrong."""
    if ready.answered.exception() is not None:
        return for_answer(ready.drill)
    return ready.answered.result()


class DrillSitting(Sitting):
    """Listening drills, the kinds in turn; the next one is made while the pupil listens.

    Parameters
    ----------
    desk : whose
    lesson : its name; goes into the seed of the drills
    kinds : kinds of drill, in turn
    count : how many
    hardness : 0 plain to 1 fine; None: as the pupil's own answers ask for, or where all get the same set plain,
        and from plain to fine where the difference has a size
    about : faults that the drills are about; empty for all
    source : what the sounds are made from: "recorded", "modelled", or blows of one's own

    Raises
    ------
    BadInput : no kind, or no task
    """

    def __init__(
        self,
        desk: Desk,
        *,
        lesson: str,
        kinds: Sequence[DrillKind],
        count: int = 10,
        hardness: float | None = None,
        about: Sequence[HeardFault] = (),
        source: SourceName | Blows = "recorded",
    ) -> None:
        super().__init__(desk, lesson=lesson, count=count)
        if not kinds:
            raise BadInput("kinds", "none", "one kind of drill at least")
        self._kinds, self._about, self._source = tuple(kinds), tuple(about), source
        self._places = in_turn(kinds, count)
        self._hardness = hardness
        self._ahead: dict[int, Future[Ready]] = {}
        self._start()
        self._prepare(self._number)

    def _id(self) -> str:
        return self.desk.answer_id(self.lesson, f"{self._kind} {self._number + 1}")

    @property
    def _kind(self) -> DrillKind:
        return self._places[self._number][0]

    @property
    def drill(self) -> Drill:
        """The present drill, made when it is first asked for.

        Raises
        ------
        BadInput : all tasks are answered
        """
        return self._ready().drill

    def _ready(self) -> Ready:
        if self.finished:
            raise BadInput("drill", "all tasks are answered", "a task that isn't answered yet")
        if self._number not in self._ahead:
            self._prepare(self._number)
        try:
            return self._ahead[self._number].result()
        except Exception:
            # What went wrong may be over when it is asked for again.
            del self._ahead[self._number]
            raise

    def _prepare(self, number: int) -> None:
        """Begin to make a drill; what it is aimed at is decided now."""
        if number in self._ahead or number >= self.count:
            return
        kind, turn, of = self._places[number]
        hardness, level = self._aim(kind, number)
        seed = self.desk.seed(self.lesson)
        self._ahead[number] = WORKERS.submit(
            made_ready,
            lambda: make_drill(
                kind,
                seed=seed,
                number=number,
                hardness=hardness,
                level=level,
                about=self._about,
                place=(turn, of),
                source=self._source,
            ),
        )

    def _aim(self, kind: DrillKind, number: int) -> tuple[float, float | None]:
        if self._hardness is not None:
            return self._hardness, None
        if self.desk.school.same_set:
            return hardness_for_all(self._kinds, number), None
        own = [a for a in self.desk.answers() if a.kind == kind]
        if kind in LEVELS:
            low, high = LEVELS[kind]
            return PLAIN, min(high, max(low, float(ladder_of(own, kind=kind).next_level())))
        rule = UpDown(hardness=PLAIN)
        for answer in own:
            rule = rule.answered(bool(answer.correct))
        return rule.hardness, None

    def view(self) -> dict[str, Any]:
        """What is shown before the answer: question, choices, names of the sounds."""
        base = self._base()
        if self.finished:
            return {**base, **NOTHING_ASKED, "closing": self.closing()}
        return {**base, **asked_of(self.drill)}

    def closing(self) -> str:
        """What this sitting's answers tell, in two or three sentences; for the pupil alone."""
        return closing_words([a for a in self.desk.answers() if a.lesson == self.lesson])

    def sounds(self) -> list[EncodedSound]:
        """The sounds of the present drill: label, bytes, media type; the next drill is begun."""
        if self.finished:
            return []
        sounds = self._ready().sounds
        if self.desk.school.same_set or self._hardness is not None:
            self._prepare(self._number + 1)
        return sounds

    def take(self, choice: str) -> Feedback:
        """Keep the pupil's answer, then say what is true.

        Raises
        ------
        BadInput : no choice of this drill
        """
        ready = self._ready()
        drill, truth = ready.drill, ready.drill.truth
        right = drill.is_right(choice)
        without = what_the_answer_needs(ready)
        before = self._keep(
            Answer(
                id=self._id(),
                pupil=self.desk.pupil,
                lesson=self.lesson,
                kind=drill.kind,
                task=drill.task,
                item=truth.fault,
                given=choice,
                truth=truth.answer,
                correct=right,
                level=truth.level,
                unit=truth.unit,
                confirmed=truth.confirmed,
            )
        )
        # The answer may have moved the aim: now it is known.
        self._prepare(self._number + 1)
        return told_of(drill, choice, before=before, sound=without)

    def next(self) -> None:
        """Go on to the next drill."""
        self._ahead.pop(self._number, None)
        super().next()


ALL_GRADED = "All exhibits are graded. How the others see them you will talk about together."


class GradingSitting(Sitting):
    """Exhibits to grade, each pupil alone; nothing is right or wrong, the class talks about it afterwards."""

    def __init__(self, desk: Desk, *, lesson: str, exhibits: Sequence[Exhibit]) -> None:
        super().__init__(desk, lesson=lesson, count=len(exhibits))
        self._exhibits = tuple(exhibits)
        self._start()

    def _id(self) -> str:
        shown = self._exhibits[self._number]
        return self.desk.answer_id(self.lesson, shown.instrument, shown.point.id)

    def view(self) -> dict[str, Any]:
        """What is shown: where it is, the drawing, the reading, the scale in sentences."""
        base = self._base()
        if self.finished:
            return {**base, **NOTHING_ASKED, "closing": ALL_GRADED}
        return {**base, **self._exhibits[self._number].as_task()}

    def sounds(self) -> list[tuple[str, bytes, str]]:
        """The exhibit's sound, if it has one."""
        clip = None if self.finished else self._exhibits[self._number].clip
        return [encoded(clip)] if clip else []

    def take(self, choice: str) -> Feedback:
        """Keep the grade whose sentence was chosen."""
        shown = self._exhibits[self._number]
        if choice not in shown.choices:
            raise BadInput("answer", repr(choice), "one of " + "; ".join(shown.choices))
        grade = None if choice == NOT_JUDGEABLE else 5 - shown.point.anchors.index(choice)
        before = self._keep(
            Answer(
                id=self._id(),
                pupil=self.desk.pupil,
                lesson=self.lesson,
                kind=GRADE,
                task=shown.instrument,
                item=shown.point.id,
                given=choice,
                grade=grade,
            )
        )
        return Feedback(
            right=None,
            headline=before.strip() or f"Noted: {NOT_JUDGEABLE if grade is None else grade}.",
            explanation="How the others see it you will talk about together.",
        )
