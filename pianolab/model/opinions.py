"""What players say of a touch: opinions on described scales, and which of two pianos they would rather play.

Taste and fault are kept apart: light or substantial is taste and has no good end; uneven or sticking is a
fault and is graded like any finding (5 sound to 1 failed).
"""

from __future__ import annotations

from dataclasses import dataclass, field

from pianolab.model.door import Checked
from pianolab.model.quantities import TASTE_HIGH as TASTE_HIGH
from pianolab.model.quantities import TASTE_LOW as TASTE_LOW
from pianolab.model.quantities import Day, Grade, Id, Line, Moment, Name, Taste, Text
from pianolab.model.records import new_id


@dataclass(frozen=True, kw_only=True)
class TouchOpinion(Checked):
    """One player's opinion of one piano's touch on one visit.

    ``taste`` holds places on scales without a good end (1 to 5), ``faults`` grades of what is right or wrong
    for anybody (5 sound … 1 failed), ``liking`` how gladly this player would play it daily (1 to 5). A scale
    that was not answered is left out, never filled in.
    """

    known_by = "player"

    id: Id = field(default_factory=new_id)
    visit_id: Id
    player: Name
    taste: dict[Line, Taste] = field(default_factory=dict)
    faults: dict[Line, Grade] = field(default_factory=dict)
    liking: Taste | None = None
    note: Text = ""
    at: Moment | None = None


@dataclass(frozen=True, kw_only=True)
class TouchTrial(Checked):
    """One player tried two pianos one after the other and would rather play ``piano_id``."""

    known_by = "player"

    id: Id = field(default_factory=new_id)
    player: Name
    piano_id: Id
    other_piano_id: Id
    day: Day | None = None
    note: Text = ""

    def _together(self) -> None:
        if self.piano_id == self.other_piano_id:
            raise self._refuse("other_piano_id", "one piano against itself", "two different pianos")
