"""What players say of a touch: opinions on described scales, and which of two pianos they would rather play.

Taste and fault are kept apart: light or substantial is taste and has no good end; uneven or sticking is a
fault and is graded like any finding (5 sound to 1 failed).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime

from pianolab.errors import BadInput
from pianolab.model.records import GRADE_BEST, GRADE_WORST, new_id
from pianolab.show import Fields

TASTE_LOW, TASTE_HIGH = 1, 5


def _check_scale(name: str, values: dict[str, int], low: int, high: int) -> None:
    for scale, value in values.items():
        if not low <= value <= high:
            raise BadInput(f"{name} {scale}", value, f"{low} to {high}")


@dataclass(frozen=True, kw_only=True)
class TouchOpinion(Fields):
    """One player's opinion of one piano's touch on one visit.

    ``taste`` holds places on scales without a good end (1 to 5), ``faults`` grades of what is right or wrong
    for anybody (5 sound … 1 failed), ``liking`` how gladly this player would play it daily (1 to 5). A scale
    that was not answered is left out, never filled in.
    """

    id: str = field(default_factory=new_id)
    visit_id: str
    player: str
    taste: dict[str, int] = field(default_factory=dict)
    faults: dict[str, int] = field(default_factory=dict)
    liking: int | None = None
    note: str = ""
    at: datetime | None = None

    def __post_init__(self) -> None:
        if not self.player.strip():
            raise BadInput("player", "an empty name", "a first name or a number")
        _check_scale("taste", self.taste, TASTE_LOW, TASTE_HIGH)
        _check_scale("grade of", self.faults, GRADE_WORST, GRADE_BEST)
        if self.liking is not None:
            _check_scale("liking", {"": self.liking}, TASTE_LOW, TASTE_HIGH)


@dataclass(frozen=True, kw_only=True)
class TouchTrial(Fields):
    """One player tried two pianos one after the other and would rather play ``piano_id``."""

    id: str = field(default_factory=new_id)
    player: str
    piano_id: str
    other_piano_id: str
    day: date | None = None
    note: str = ""

    def __post_init__(self) -> None:
        if not self.player.strip():
            raise BadInput("player", "an empty name", "a first name or a number")
        if self.piano_id == self.other_piano_id:
            raise BadInput("trial", "one piano against itself", "two different pianos")
