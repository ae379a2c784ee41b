"""What people say and answer: players of a touch, pupils of a class.

Of a touch taste and fault are kept apart: light or substantial is taste and has no good end; uneven or sticking is a
fault and is graded like any finding (5 sound to 1 failed). A pupil is a first name or a number, nothing more. A task
that wasn't answered has no record; an answer to a question without right and wrong (a grade) has no ``correct``.
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass, field

from pianolab.errors import BadInput
from pianolab.model.door import Checked
from pianolab.model.quantities import TASTE_HIGH as TASTE_HIGH
from pianolab.model.quantities import TASTE_LOW as TASTE_LOW
from pianolab.model.quantities import Asked, Day, Grade, Id, Level, Line, Moment, Name, Taste, Text
from pianolab.model.records import new_id

LONGEST_PUPIL = 40
FORBIDDEN, JOINERS = '@/\\<>:"|?*', "\u200c\u200d"
"""What makes an address of a name, or can't stand in a file's name; what is unseen but belongs to names in some scripts."""


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


def check_pupil(name: str) -> str:
    """A first name or a number as it was given, without blanks around it; one spelling for letters with accents.

    Parameters
    ----------
    name : as it was typed

    Returns
    -------
    str

    Raises
    ------
    BadInput : empty, an address, unseen characters, or longer than a first name

    Examples
    --------
    >>> check_pupil(" Mia ")
    'Mia'
    """
    text = unicodedata.normalize("NFC", name.strip())
    unfit = any(c in FORBIDDEN or not (c.isprintable() or c in JOINERS) for c in text)
    if not text or len(text) > LONGEST_PUPIL or unfit:
        raise BadInput(
            "pupil", repr(name)[:60], "a first name or a number", "Nothing else is kept of a pupil."
        )
    return text


@dataclass(frozen=True, kw_only=True)
class Answer(Checked):
    """One answer of one pupil to one task of a class.

    ``kind`` names the kind of task, ``task`` the very task (the same for every pupil who got it), ``item`` its
    part (a checklist point where instruments are graded). ``given`` is what the pupil said, ``truth`` what is
    so, both in plain words; ``level`` how hard the task was, in ``unit``; ``grade`` 5 sound … 1 failed.
    ``confirmed`` says how the truth was checked: "measured" or why not.
    """

    known_by = "pupil"

    id: Id = field(default_factory=new_id)
    pupil: Text
    lesson: Text = ""
    kind: Asked
    task: Asked
    item: Text = ""
    given: Text = ""
    truth: Text = ""
    correct: bool | None = None
    grade: Grade | None = None
    level: Level | None = None
    unit: Text = ""
    confirmed: Text = ""
    seconds: Level | None = None
    at: Moment | None = None

    def _together(self) -> None:
        check_pupil(self.pupil)
