"""A pupil's desk: the place in a class where one pupil's answers are kept, each once."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Protocol

from pianolab.casebook import Casebook, open_casebook
from pianolab.casebook.engine import DATABASE_NAME
from pianolab.classroom.answer_ids import answer_id, desk_name, sealed, standing_of, unsealed
from pianolab.classroom.collecting import make_sure
from pianolab.classroom.drills import set_seed
from pianolab.errors import BadInput
from pianolab.model import Answer

PUPILS = "pupils"
WRITER = "class"
"""Stands in the casebooks' logs in place of a name, so that a name goes when its answers go."""


class School(Protocol):
    """What a desk asks of the class it stands in."""

    @property
    def id(self) -> str: ...
    @property
    def seed(self) -> int: ...
    @property
    def same_set(self) -> bool: ...
    @property
    def folder(self) -> Path: ...
    @property
    def database(self) -> str: ...

    def check_place(self) -> None:
        """Raises where the class's folder is gone."""

    def has_removed(self, pupil: str) -> bool:
        """Whether this pupil's results were removed for good."""


@dataclass(frozen=True, kw_only=True)
class Desk:
    """One pupil's place in a class."""

    school: School
    pupil: str

    @property
    def place(self) -> str | Path:
        """Where this pupil's answers are kept: the server, or a folder of their own."""
        return self.school.database or self.school.folder / PUPILS / desk_name(self.pupil)

    @contextmanager
    def book(self) -> Iterator[Casebook]:
        """The casebook this desk writes to; the pupil's own is made where it isn't there yet."""
        if isinstance(self.place, Path):
            self.school.check_place()
            make_sure(self.place)
        with open_casebook(self.place) as book:
            yield book

    def answers(self) -> tuple[Answer, ...]:
        """This pupil's own answers, in order of entry."""
        if isinstance(self.place, Path) and not self.place.is_dir():
            return ()
        with self.book() as book:
            given = book.answers()
        return tuple(
            a
            for a in opened(given, class_id=self.school.id)
            if a.pupil == self.pupil and standing_of(a, class_id=self.school.id) == "counts"
        )

    def seed(self, lesson: str) -> int:
        """Seed of this pupil's drills in a lesson: the class's own, or one for each pupil."""
        return set_seed(self.school.seed, lesson=lesson, pupil="" if self.school.same_set else self.pupil)

    def answer_id(self, lesson: str, task: str, item: str = "") -> str:
        """Id of this pupil's answer to a task: the same on every machine, so that it can't be given twice."""
        return answer_id(self.school.id, pupil=self.pupil, lesson=lesson, task=task, item=item)

    def record(self, answer: Answer, *, again: bool = False) -> bool:
        """Keep an answer; False where this task was answered before (with ``again`` the new one counts).

        Raises
        ------
        BadInput : another pupil's answer, one whose id isn't `answer_id`, or of a pupil who was removed
        """
        if answer.pupil != self.pupil:
            raise BadInput("pupil", repr(answer.pupil), repr(self.pupil), "Another pupil's desk?")
        if self.school.has_removed(self.pupil):
            got = f"{self.pupil!r}, whose results were removed for good"
            raise BadInput("pupil", got, "another name or number")
        if standing_of(answer, class_id=self.school.id) != "counts":
            raise BadInput(
                "answer",
                "an id, a task and a truth that don't belong together",
                "the id that desk.answer_id gives, correct where given is the truth",
            )
        kept = sealed(answer, class_id=self.school.id)
        with self.book() as book:
            known = _known(book, answer.id)
            if known and not again:
                return False
            try:
                with book.editing(by=WRITER) as edit:
                    edit.change(kept) if known else edit.add(kept)
            except BadInput:
                # Another window of this pupil was quicker.
                if again or not _known(book, answer.id):
                    raise
                return False
        return True


def opened(answers: Sequence[Answer], *, class_id: str) -> list[Answer]:
    """Answers unsealed; those whose seal is broken stay as they lie, and count nowhere."""
    return [_opened(a, class_id) for a in answers]


def _opened(answer: Answer, class_id: str) -> Answer:
    try:
        return unsealed(answer, class_id=class_id)
    except BadInput:
        return replace(answer, correct=True, truth="", grade=None)


def _known(book: Casebook, identity: str) -> bool:
    """Whether there is such an answer, and not only the trace of one that was removed for good."""
    log = book.log(identity)
    return bool(log) and not log[-1].purged


def desks_in(folder: str | Path) -> tuple[Path, ...]:
    """Pupils' folders in a class's folder; none where it is no class's."""
    found = (p for p in (Path(folder) / PUPILS).glob("*") if not p.name.startswith("."))
    return tuple(sorted(p for p in found if (p / DATABASE_NAME).exists()))
