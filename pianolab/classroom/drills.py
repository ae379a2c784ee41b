"""Listening drills: a question, sounds to play, choices, and a truth that stays in the kernel until answered.

A drill shows nothing of its truth (`repr`, table and view hold question and choices only); `Drill.truth` is
for the teacher and for the feedback after an answer.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from hashlib import sha256
from typing import Literal, get_args

import numpy as np

from pianolab.classroom.blows import Blows
from pianolab.classroom.faults import HeardFault
from pianolab.classroom.sounds import BEFORE_S, Curve, DrillClip
from pianolab.errors import BadInput
from pianolab.show import Row, Showable

DrillKind = Literal[
    "name the fault",
    "which is better",
    "order by sustain",
    "same or different",
    "find the bad key",
    "can you judge the sustain",
    "which is further out",
    "which dies sooner",
    "which room rings longer",
    "which has the left pedal down",
    "which of two real notes dies sooner",
]
DRILL_KINDS: tuple[DrillKind, ...] = get_args(DrillKind)
CONFIRMED = "measured"
BLOCK = 4
"""Where nobody knows how many tasks a set has, every answer comes so often in each run of tasks that has it four times."""


@dataclass(frozen=True, kw_only=True)
class Truth:
    """What is so, and how pianolab knows: `confirmed` is "measured" or says why the measures can't confirm it.

    ``level`` says how large the difference is, in ``unit``; ``fault`` is the seeded fault, empty for none. ``tells``
    says of an answer what one would have heard if it were true. ``check`` does the listening, once it is asked for. ``begins_s``: where the drawn note begins in the clips, and in
    the one without its fault.
    """

    answer: str
    explanation: str
    level: float | None
    unit: str
    fault: str
    made_from: str
    check: Callable[[], str] = field(compare=False, repr=False)
    credit: str = ""
    curves: tuple[Curve, ...] = ()
    tells: Mapping[str, str] = field(default_factory=dict)
    without_fault: DrillClip | None = None
    begins_s: tuple[float, float] = (BEFORE_S, BEFORE_S)

    @cached_property
    def confirmed(self) -> str:
        return self.check()

    @property
    def is_confirmed(self) -> bool:
        return self.confirmed == CONFIRMED


@dataclass(frozen=True, kw_only=True, repr=False, eq=False)
class Drill(Showable):
    """One task: a question about ``clips`` with ``choices``. What is true stays in ``truth``."""

    header = ("question", "sounds", "choices", "made from")

    task: str
    kind: DrillKind
    question: str
    clips: tuple[DrillClip, ...]
    choices: tuple[str, ...]
    truth: Truth

    def headline(self) -> str:
        return f"{self.kind}: {self.question}"

    def rows(self) -> list[Row]:
        return [
            (
                self.question,
                ", ".join(c.label for c in self.clips),
                "; ".join(self.choices),
                self.made_from,
            )
        ]

    @property
    def made_from(self) -> str:
        """What the sounds are made from, in words that go with every answer."""
        return self.truth.made_from

    def is_right(self, choice: str) -> bool:
        """Whether this choice is the true one.

        Raises
        ------
        BadInput : no choice of this drill
        """
        if choice not in self.choices:
            raise BadInput("answer", repr(choice), "one of " + "; ".join(self.choices))
        return choice == self.truth.answer


@dataclass(frozen=True, kw_only=True)
class Recipe:
    """What a drill is made from: its own random numbers, the blows, how hard, what it is about, and its place.

    ``turn`` counts the tasks of its kind in the set from 0, ``of`` says how many there are (None: nobody knows).
    """

    rng: np.random.Generator
    seed: int
    task: str
    hardness: float
    level: float | None
    blows: Blows
    kind: DrillKind
    turn: int
    of: int | None = None
    about: tuple[HeardFault, ...] = ()

    def among(self, faults: Sequence[HeardFault]) -> tuple[HeardFault, ...]:
        """Those of the faults that the drill is about; all where it is about none of them."""
        return tuple(f for f in faults if f in self.about) or tuple(faults)

    def answer(self, choices: int, *, purpose: int = 0) -> int:
        """Which of so many answers is true: over the set each as often as any other, give or take one, in random order.

        Examples
        --------
        >>> [[balanced(seed=1, choices=2, turn=n, of=6, purpose=0) for n in range(6)].count(k) for k in (0, 1)]
        [3, 3]
        """
        purpose = 10 * DRILL_KINDS.index(self.kind) + purpose
        return balanced(seed=self.seed, choices=choices, turn=self.turn, of=self.of, purpose=purpose)


def balanced(*, seed: int, choices: int, turn: int, of: int | None, purpose: int) -> int:
    """One of ``choices``, from 0: every one comes its share of ``of`` times, none more, and the order is random."""
    block, place = divmod(turn, of or BLOCK * choices)
    rng = np.random.default_rng([seed, purpose, block, choices])
    return int(rng.permutation(np.resize(rng.permutation(choices), of or BLOCK * choices))[place])


def task_name(
    kind: DrillKind,
    *,
    seed: int,
    number: int,
    hardness: float,
    level: float | None,
    about: Sequence[str] = (),
) -> str:
    """A name of a task that is the same on every machine and gives nothing away."""
    text = f"{kind}/{seed}/{number}/{hardness:.4f}/{level}/{','.join(about)}"
    return f"{kind} {number + 1} ({sha256(text.encode()).hexdigest()[:8]})"


def set_seed(seed: int, *, pupil: str = "", lesson: str = "") -> int:
    """The seed of a set of drills: one for the whole class, or with ``pupil`` one for each.

    Parameters
    ----------
    seed : the class's
    pupil : name, for a set of their own; empty for one that all share
    lesson : its name; empty for none

    Returns
    -------
    int

    Examples
    --------
    >>> set_seed(4) == set_seed(4, pupil=""), set_seed(4, pupil="Mia") == set_seed(4, pupil="Leo")
    (True, False)
    """
    return int.from_bytes(sha256(f"{seed}/{lesson}/{pupil}".encode()).digest()[:6], "big")
