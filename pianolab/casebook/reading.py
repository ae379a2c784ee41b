"""Reading a casebook: the same questions to the present state and to any earlier moment."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, TypeVar

import sqlalchemy as sa

from pianolab.casebook import tables
from pianolab.casebook.codec import NAMES, class_name, from_json
from pianolab.errors import BadInput
from pianolab.model import (
    Answer,
    Buyer,
    Comparable,
    Examiner,
    Finding,
    Photo,
    Piano,
    Recording,
    SurveyRecord,
    TouchOpinion,
    TouchTrial,
    Visit,
)
from pianolab.show import Row, Showable, format_value

T = TypeVar("T")
LOOKED_AT = ("checked", "does not apply")


@dataclass(frozen=True, kw_only=True, repr=False)
class Change(Showable):
    """One entry of the log: who, when, what, before and after (None where there was or is nothing).

    ``action`` is one of ``add``, ``change``, ``remove``, ``undo``, ``redo``; of a purged record the entry stays, without content.
    """

    header = ("what", "before", "after")

    seq: int
    uid: str
    at: datetime
    by: str
    machine: str
    action: str
    kind: str
    record_id: str
    before: dict[str, Any] | None
    after: dict[str, Any] | None
    undoes: str | None = None
    purged: bool = False

    def headline(self) -> str:
        return f"{self.at:%Y-%m-%d %H:%M:%S} {self.by}: {self.action} {class_name(self.kind)} {self.record_id[:8]}"

    def rows(self) -> list[Row]:
        before, after = self.before or {}, self.after or {}
        names = dict.fromkeys([*before, *after])
        return [
            (n, format_value(before.get(n)), format_value(after.get(n)))
            for n in names
            if before.get(n) != after.get(n)
        ]


@dataclass(frozen=True, kw_only=True)
class Conflict:
    """Two versions of one record that were entered apart; ``current`` is the one that counts now."""

    record_id: str
    kind: str
    current: Any
    versions: tuple[Change, Change]


class Records:
    """The questions to a casebook, each answered by a tuple of records in order of entry.

    Where a question takes ``visit_id`` or ``piano_id``, None asks for those of all. A subclass gives `_bodies`, the
    JSON texts of one kind in order of entry.
    """

    def _bodies(self, kind: str, **where: str | None) -> Iterable[str]:
        raise NotImplementedError

    def _all(self, kind: type[T], **where: str | None) -> tuple[T, ...]:
        name = NAMES[kind]
        return tuple(from_json(name, body) for body in self._bodies(name, **where))

    def pianos(self) -> tuple[Piano, ...]:
        """The shortlist, in order of entry."""
        return self._all(Piano)

    def piano(self, name_or_id: str) -> Piano:
        """One piano by its id or its name.

        Parameters
        ----------
        name_or_id : the name or the id of a piano

        Returns
        -------
        Piano

        Raises
        ------
        BadInput
            no such piano, or several of that name
        """
        pianos = self.pianos()
        found = [p for p in pianos if p.id == name_or_id] or [p for p in pianos if p.name == name_or_id]
        if len(found) == 1:
            return found[0]
        names = ", ".join(sorted(p.name for p in pianos)) or "none yet"
        got = f"{len(found)} pianos of that name" if found else "no such piano"
        hint = "Use the id." if found else f"This casebook has: {names}."
        raise BadInput(f"piano {name_or_id!r}", got, "the name or the id of one", hint)

    def visits(self, piano_id: str | None = None) -> tuple[Visit, ...]:
        """Visits, by day."""
        return tuple(sorted(self._all(Visit, piano_id=piano_id), key=lambda visit: visit.day))

    def visit(self, visit_id: str) -> Visit:
        """One visit by its id."""
        return _only(self._all(Visit, id=visit_id), "visit", visit_id)

    def findings(self, visit_id: str | None = None, piano_id: str | None = None) -> tuple[Finding, ...]:
        """Findings of a visit, of a piano, or all, in order of entry.

        Parameters
        ----------
        visit_id, piano_id : the id of a visit or of a piano; None for all

        Returns
        -------
        tuple of Finding
        """
        return self._all(Finding, visit_id=visit_id, of_piano=piano_id)

    def current_findings(
        self, piano_id: str, *, per_examiner: bool = False, until: date | None = None
    ) -> tuple[Finding, ...]:
        """The findings of a piano that count: for each point, place and keys the latest.

        A later visit at which the point was not looked at leaves the earlier finding standing.

        Parameters
        ----------
        piano_id : the id of a piano
        per_examiner : whether each examiner's latest finding counts, or only the latest of all
        until : visits after that day are left out; None takes all

        Returns
        -------
        tuple of Finding
        """
        visits = [v for v in self.visits(piano_id) if until is None or v.day <= until]
        days = {visit.id: visit.day for visit in visits}
        latest: dict[tuple[Any, ...], Finding] = {}
        ranks: dict[tuple[Any, ...], tuple[Any, ...]] = {}
        for order, finding in enumerate(self.findings(piano_id=piano_id)):
            if finding.visit_id not in days:
                continue
            place = (finding.point, finding.place, finding.keys, finding.examiner if per_examiner else "")
            rank = (finding.state in LOOKED_AT, days[finding.visit_id], order)
            if place not in latest or rank > ranks[place]:
                latest[place], ranks[place] = finding, rank
        return tuple(latest.values())

    def recordings(self, visit_id: str | None = None) -> tuple[Recording, ...]:
        """Recordings of a visit, or all."""
        return self._all(Recording, visit_id=visit_id)

    def surveys(self, piano_id: str | None = None) -> tuple[SurveyRecord, ...]:
        """Surveys of a piano, or all."""
        return self._all(SurveyRecord, of_piano=piano_id)

    def photos(self, visit_id: str | None = None) -> tuple[Photo, ...]:
        """Photos of a visit, or all."""
        return self._all(Photo, visit_id=visit_id)

    def touch_opinions(self, visit_id: str | None = None) -> tuple[TouchOpinion, ...]:
        """What players said of the touch on a visit, or on all."""
        return self._all(TouchOpinion, visit_id=visit_id)

    def touch_trials(self) -> tuple[TouchTrial, ...]:
        """Which of two pianos a player would rather play, every trial."""
        return self._all(TouchTrial)

    def comparables(self, piano_id: str | None = None) -> tuple[Comparable, ...]:
        """Prices of like instruments, in order of entry: those that may stand beside a piano, or all.

        Beside a piano stand those of its kind that were looked up for it or for none.

        Parameters
        ----------
        piano_id : the id of the piano that they shall stand beside; None for all

        Returns
        -------
        tuple of Comparable
        """
        found = self._all(Comparable)
        return found if piano_id is None else of_piano(self.piano(piano_id), found)

    def answers(self) -> tuple[Answer, ...]:
        """What pupils of a class answered, in order of entry."""
        return self._all(Answer)

    def examiners(self) -> tuple[Examiner, ...]:
        """Who looked, listened or played."""
        return self._all(Examiner)

    def profiles(self) -> tuple[Buyer, ...]:
        """The buyers' profiles."""
        return self._all(Buyer)


def of_piano(piano: Piano, comparables: Iterable[Comparable]) -> tuple[Comparable, ...]:
    """The comparables that may stand beside a piano: of its kind, and looked up for it or for none.

    Examples
    --------
    >>> mine = Piano(name="A", kind="grand")
    >>> of_piano(mine, [Comparable(price=900, kind="upright"), Comparable(price=9000, kind="grand")])[0].price
    Decimal('9000')
    """
    return tuple(c for c in comparables if c.kind == piano.kind and c.piano_id in (None, piano.id))


def _only(found: Sequence[T], what: str, record_id: str) -> T:
    if not found:
        raise BadInput(f"{what} {record_id!r}", "no such record", f"the id of a {what} in this casebook")
    return found[0]


class AsOf(Records):
    """A casebook as it was at one moment; built from the log, read only."""

    def __init__(self, bodies: dict[str, list[str]], visits_of: Callable[[str], set[str]]) -> None:
        self._kinds = bodies
        self._visits_of = visits_of

    def _bodies(self, kind: str, **where: str | None) -> Iterable[str]:
        of_piano = where.pop("of_piano", None)
        visits = None if of_piano is None else self._visits_of(of_piano)
        for body in self._kinds.get(kind, []):
            values = json.loads(body)
            if visits is not None and values["visit_id"] not in visits:
                continue
            if all(wanted is None or values[name] == wanted for name, wanted in where.items()):
                yield body


def select_bodies(kind: str, where: dict[str, str | None]) -> sa.Select[Any]:
    """Query for the bodies of the present records of one kind."""
    record = tables.record
    given = {name: wanted for name, wanted in where.items() if wanted is not None}
    # Joined to nothing, the kind is no reason to walk through all records of it where few are asked for.
    of_kind = (record.c.kind.concat("") if given else record.c.kind) == kind
    query = sa.select(record.c.body).where(of_kind, record.c.deleted.is_(False))
    for name, wanted in given.items():
        if name == "of_piano":
            visits = sa.select(record.c.id).where(record.c.kind == "Visit", record.c.piano_id == wanted)
            query = query.where(record.c.visit_id.in_(visits))
        else:
            query = query.where(record.c[name] == wanted)
    return query.order_by(record.c.created_at, record.c.id)


def to_change(row: Any) -> Change:
    """A row of the change table as a `Change`."""
    return Change(
        seq=row.seq,
        uid=row.uid,
        at=datetime.fromisoformat(row.at),
        by=row.by,
        machine=row.machine,
        action=row.action,
        kind=row.kind,
        record_id=row.record_id,
        before=None if row.before is None else json.loads(row.before),
        after=None if row.after is None else json.loads(row.after),
        undoes=row.undoes,
        purged=row.purged,
    )
