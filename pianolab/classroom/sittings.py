"""One sitting of a pupil: tasks one after another, each answer kept at once, nothing told before it is given."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from time import monotonic
from typing import Any

from pianolab.classroom.answer_ids import GRADE
from pianolab.classroom.desk import Desk
from pianolab.classroom.drills import Drill, DrillKind
from pianolab.classroom.exhibits import Exhibit
from pianolab.classroom.faults import HeardFault
from pianolab.classroom.kinds import LEVELS
from pianolab.classroom.making import make_drill
from pianolab.classroom.measures import ladder_of
from pianolab.classroom.sounds import DrillClip
from pianolab.classroom.staircase import UpDown
from pianolab.errors import BadInput
from pianolab.io import clip_bytes
from pianolab.model import Answer

PLAIN = 0.2
SPREAD = (0.2, 0.5, 0.35, 0.65, 0.75)
"""How hard the tasks with a level are, in turn, where all get the same: from plain to fine, so that a threshold can be told."""


def hardness_for_all(kinds: Sequence[DrillKind], number: int) -> float:
    """How hard a task is in a set that is the same for all.

    Examples
    --------
    >>> [hardness_for_all(["which dies sooner", "name the fault"], n) for n in range(4)]
    [0.2, 0.2, 0.5, 0.2]
    """
    turn, place = divmod(number, len(kinds))
    return SPREAD[turn % len(SPREAD)] if kinds[place] in LEVELS else PLAIN


def encoded(clip: DrillClip) -> tuple[str, bytes, str]:
    """A clip for the page: label, bytes and media type; all are coded alike, in as many bytes, without words."""
    data, mime = clip_bytes(clip.samples, rate_hz=clip.rate_hz, format="mp3", constant=True)
    return clip.label, data, mime


@dataclass(frozen=True, kw_only=True)
class Told:
    """What is said after an answer: right (None: nothing is right or wrong), the truth in words, chart, sound."""

    right: bool | None
    headline: str
    explanation: str
    curves: tuple[dict[str, Any], ...] = ()
    chart_words: str = ""
    sound: tuple[str, bytes, str] | None = None


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


class DrillSitting(Sitting):
    """Listening drills, the kinds in turn.

    Parameters
    ----------
    desk : whose
    lesson : its name; goes into the seed of the drills
    kinds : kinds of drill, in turn
    count : how many
    hardness : 0 plain to 1 fine; None: as the pupil's own answers ask for, or where all get the same set plain,
        and from plain to fine where the difference has a size
    about : faults that the drills are about; empty for all

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
    ) -> None:
        super().__init__(desk, lesson=lesson, count=count)
        if not kinds:
            raise BadInput("kinds", "none", "one kind of drill at least")
        self._kinds, self._about = tuple(kinds), tuple(about)
        self._hardness = hardness
        self._drill: Drill | None = None
        self._start()

    def _id(self) -> str:
        return self.desk.answer_id(self.lesson, f"{self._kind} {self._number + 1}")

    @property
    def _kind(self) -> DrillKind:
        return self._kinds[self._number % len(self._kinds)]

    @property
    def drill(self) -> Drill:
        """The present drill, made when it is first asked for.

        Raises
        ------
        BadInput : all tasks are answered
        """
        if self.finished:
            raise BadInput("drill", "all tasks are answered", "a task that isn't answered yet")
        if self._drill is None:
            hardness, level = self._aim()
            seed = self.desk.seed(self.lesson)
            self._drill = make_drill(
                self._kind, seed=seed, number=self._number, hardness=hardness, level=level, about=self._about
            )
        return self._drill

    def _aim(self) -> tuple[float, float | None]:
        if self._hardness is not None:
            return self._hardness, None
        if self.desk.school.same_set:
            return hardness_for_all(self._kinds, self._number), None
        own = [a for a in self.desk.answers() if a.kind == self._kind]
        if self._kind in LEVELS:
            low, high = LEVELS[self._kind]
            return PLAIN, min(high, max(low, float(ladder_of(own, kind=self._kind).next_level())))
        rule = UpDown(hardness=PLAIN)
        for answer in own:
            rule = rule.answered(bool(answer.correct))
        return rule.hardness, None

    def view(self) -> dict[str, Any]:
        """What is shown before the answer: question, choices, names of the sounds."""
        base = self._base()
        if self.finished:
            return {**base, "question": "", "choices": [], "clips": [], "made_from": "", "picture": ""}
        drill = self.drill
        return {
            **base, "question": drill.question, "choices": list(drill.choices), "clips": [c.label for c in drill.clips],
            "made_from": drill.made_from, "picture": "",
        }  # fmt: skip

    def sounds(self) -> list[tuple[str, bytes, str]]:
        """The sounds of the present drill: label, bytes, media type."""
        return [] if self.finished else [encoded(c) for c in self.drill.clips]

    def take(self, choice: str) -> Told:
        """Keep the pupil's answer, then say what is true.

        Raises
        ------
        BadInput : no choice of this drill
        """
        drill, truth = self.drill, self.drill.truth
        right = drill.is_right(choice)
        before = self._keep(
            Answer(
                id=self._id(), pupil=self.desk.pupil, lesson=self.lesson, kind=drill.kind, task=drill.task, item=truth.fault, given=choice,
                truth=truth.answer, correct=right, level=truth.level, unit=truth.unit, confirmed=truth.confirmed,
            )
        )  # fmt: skip
        how = "pianolab's own listening hears it too" if truth.is_confirmed else truth.confirmed
        return Told(
            right=right, headline=f"{before}{'Right' if right else 'Not so'}: {truth.answer}.",
            explanation=f"{truth.explanation} Made from {truth.made_from}; {how}.",
            curves=tuple({"label": c.label, "x": c.x, "level_db": c.level_db, "x_unit": c.x_unit} for c in truth.curves),
            chart_words="Level over " + ("time" if truth.curves and truth.curves[0].x_unit == "s" else "pitch") + ": " + " beside ".join(c.label for c in truth.curves),
            sound=encoded(truth.without_fault) if truth.without_fault else None,
        )  # fmt: skip

    def next(self) -> None:
        """Go on to the next drill."""
        self._drill = None
        super().next()


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
            return {**base, "question": "", "choices": [], "clips": [], "made_from": "", "picture": ""}
        shown = self._exhibits[self._number]
        question = " ".join(part for part in (f"{shown.headline()}.", shown.point.how, shown.reading) if part)
        return {
            **base, "question": question, "choices": list(shown.point.anchors), "clips": [shown.clip.label] if shown.clip else [],
            "made_from": "an invented instrument", "picture": shown.drawing,
        }  # fmt: skip

    def sounds(self) -> list[tuple[str, bytes, str]]:
        """The exhibit's sound, if it has one."""
        clip = None if self.finished else self._exhibits[self._number].clip
        return [encoded(clip)] if clip else []

    def take(self, choice: str) -> Told:
        """Keep the grade whose sentence was chosen."""
        shown = self._exhibits[self._number]
        if choice not in shown.point.anchors:
            raise BadInput("answer", repr(choice), "one of " + "; ".join(shown.point.anchors))
        grade = 5 - shown.point.anchors.index(choice)
        before = self._keep(
            Answer(
                id=self._id(), pupil=self.desk.pupil, lesson=self.lesson, kind=GRADE, task=shown.instrument, item=shown.point.id,
                given=choice, grade=grade,
            )
        )  # fmt: skip
        return Told(
            right=None,
            headline=before.strip() or f"Noted: {grade}.",
            explanation="How the others see it you will talk about together.",
        )
