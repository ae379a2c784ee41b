"""What pupils of a class answered: listening tasks with a known truth, and grades of instruments.

A pupil is a first name or a number, nothing more. A task that wasn't answered has no record; an answer to a
question without right and wrong (a grade) has no ``correct``.
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass, field
from datetime import datetime
from math import isfinite

from pianolab.errors import BadInput
from pianolab.model.records import GRADE_BEST, GRADE_WORST, new_id

LONGEST_PUPIL = 40
FORBIDDEN, JOINERS = '@/\\<>:"|?*', "\u200c\u200d"
"""What makes an address of a name, or can't stand in a file's name; what is unseen but belongs to names in some scripts."""


def check_pupil(name: str) -> str:
    """A first name or a number as it was given, without blanks around it; one spelling for letters with accents.

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
class Answer:
    """One answer of one pupil to one task of a class.

    ``kind`` names the kind of task, ``task`` the very task (the same for every pupil who got it), ``item`` its
    part (a checklist point where instruments are graded). ``given`` is what the pupil said, ``truth`` what is
    so, both in plain words; ``level`` how hard the task was, in ``unit``; ``grade`` 5 sound … 1 failed.
    ``confirmed`` says how the truth was checked: "measured" or why not.
    """

    id: str = field(default_factory=new_id)
    pupil: str
    lesson: str = ""
    kind: str
    task: str
    item: str = ""
    given: str = ""
    truth: str = ""
    correct: bool | None = None
    grade: int | None = None
    level: float | None = None
    unit: str = ""
    confirmed: str = ""
    seconds: float | None = None
    at: datetime | None = None

    def __post_init__(self) -> None:
        check_pupil(self.pupil)
        for name in ("kind", "task"):
            if not getattr(self, name).strip():
                raise BadInput(name, "nothing", "what was asked")
        if self.grade is not None and not GRADE_WORST <= self.grade <= GRADE_BEST:
            raise BadInput("grade", self.grade, "1 (failed) to 5 (sound)")
        for name in ("level", "seconds"):
            value = getattr(self, name)
            if value is not None and not isfinite(value):
                raise BadInput(name, value, "a finite number, or None where unknown")
