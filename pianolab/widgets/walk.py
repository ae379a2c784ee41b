"""The guided walk without its screen: where it stands, what is recorded, and saving each change at once."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from pianolab.checklist import load_checklist
from pianolab.checklist.points import Checklist, Point
from pianolab.errors import BadInput
from pianolab.model import Finding, new_id
from pianolab.widgets.entries import (
    NOTED_ONLY,
    Fields,
    keys_fields,
    place_fields,
    reason_fields,
    value_fields,
)

if TYPE_CHECKING:
    from pianolab.casebook import Casebook

NOBODY = "unnamed examiner"
Event = Mapping[str, Any]


class Walk:
    """One examiner's walk through one visit.

    Parameters
    ----------
    casebook : an open casebook; every change goes into it before `handle` returns
    visit_id : str; the visit that is recorded
    checklist : Checklist, or None for the one that comes with pianolab
    examiner : str; who records; empty takes the examiner named in the visit
    short : bool; only the points of the twenty-minute walk

    Notes
    -----
    Nothing is kept here that matters: the walk can be rebuilt from the casebook at any time. An examiner
    changes only their own findings and sees the others'.
    """

    def __init__(
        self,
        casebook: Casebook,
        visit_id: str,
        *,
        checklist: Checklist | None = None,
        examiner: str = "",
        short: bool = False,
        now: Callable[[], datetime] = lambda: datetime.now(UTC),
    ) -> None:
        self.casebook = casebook
        self.visit = casebook.visit(visit_id)
        self.piano = casebook.piano(self.visit.piano_id)
        self.checklist = (checklist if checklist is not None else load_checklist()).for_piano(
            self.piano, short=short
        )
        if not len(self.checklist):
            raise BadInput("checklist", "no point that applies", "a checklist with points for this piano")
        self.examiner = " ".join((examiner or self.visit.examiner).split())
        self._now = now
        self._drafts: dict[str, str] = {}
        self._shown: dict[str, str] = {}
        self._changed: list[tuple[Finding | None, Finding]] = []
        self.read()
        self.point_id = self._where_left()

    def read(self) -> None:
        """Read the visit's findings again; others may have written since."""
        self.findings: tuple[Finding, ...] = tuple(self.casebook.findings(visit_id=self.visit.id))

    @property
    def point(self) -> Point:
        return self.checklist[self.point_id]

    def own(self, point_id: str) -> tuple[Finding, ...]:
        """This examiner's findings at a point, in the order they were made."""
        return tuple(f for f in self.findings if f.point == point_id and f.examiner == self.examiner)

    def others(self, point_id: str) -> tuple[Finding, ...]:
        """The other examiners' findings at a point."""
        return tuple(f for f in self.findings if f.point == point_id and f.examiner != self.examiner)

    def shown(self, point_id: str) -> tuple[str, Finding | None]:
        """Id of the record on the screen and the record itself; None while nothing is recorded yet."""
        own = {f.id: f for f in self.own(point_id)}
        record = self._shown.get(point_id) or (list(own)[-1] if own else self._draft(point_id))
        self._shown[point_id] = record
        return record, own.get(record)

    def touched(self) -> set[str]:
        """Points somebody has recorded something at."""
        return {f.point for f in self.findings}

    @property
    def can_take_back(self) -> bool:
        return bool(self._changed)

    def handle(self, event: Event) -> str:
        """Do what an event from the screen asks; the line that says what was saved, or "" where nothing was.

        Raises
        ------
        BadInput
            Where the event can't be read; nothing is saved and nothing moves.
        """
        if not isinstance(event, Mapping):
            raise BadInput("message", "something else", "an event of the form")
        do = str(event.get("do", ""))
        self.read()
        if do in MOVES:
            MOVES[do](self, event)
            return ""
        if do == "take back":
            return self._take_back()
        if do not in ENTRIES:
            raise BadInput("message", repr(do[:40]), "an event of the form", "Run the cell again.")
        point = self.checklist[str(event.get("point", ""))]
        return self._save(point, str(event.get("record", "")), ENTRIES[do](self, point, event))

    def _save(self, point: Point, record: str, fields: Fields) -> str:
        before = next((f for f in self.own(point.id) if f.id == record), None)
        if before is None and self._drafts.get(record) != point.id:
            raise BadInput(
                "form", "a record it does not know", "the form as it stands now", "Run the cell again."
            )
        after = self._merged(point, record, before, fields)
        if before is not None and replace(after, at=before.at) == before:
            return "Already saved"
        self._write(before, after)
        self._changed.append((before, after))
        return "Saved"

    def _merged(self, point: Point, record: str, before: Finding | None, fields: Fields) -> Finding:
        if before is not None:
            return replace(before, **fields, at=self._now())
        unjudged: Fields = {} if "state" in fields else {"state": "not checked", "reason": NOTED_ONLY}
        whole = {**unjudged, **fields, "point": point.id, "examiner": self.examiner, "at": self._now()}
        return Finding(id=record, visit_id=self.visit.id, **whole)

    def _write(self, before: Finding | None, after: Finding) -> None:
        with self.casebook.editing(by=self.examiner or NOBODY) as edit:
            if before is None:
                edit.add(after)
            else:
                edit.change(after, was=before)
        self.read()

    def _take_back(self) -> str:
        if not self._changed:
            raise BadInput("take back", "no change yet", "a change made since the form was opened")
        before, after = self._changed.pop()
        now = next((f for f in self.findings if f.id == after.id), None)
        if now is None or replace(now, at=after.at) != after:
            raise BadInput("take back", "a finding that has changed since", "it as this form left it")
        with self.casebook.editing(by=self.examiner or NOBODY) as edit:
            if before is None:
                edit.remove(after.id)
            else:
                edit.change(before, was=now)
        self._return_to(after, still_there=before is not None)
        return "Taken back"

    def _return_to(self, finding: Finding, *, still_there: bool) -> None:
        self.read()
        self.point_id = finding.point
        self._shown.pop(finding.point, None)
        if still_there:
            self._shown[finding.point] = finding.id
        else:
            self._drafts.pop(finding.id, None)

    def _draft(self, point_id: str) -> str:
        record = (
            next((r for r, p in self._drafts.items() if p == point_id and not self._is_saved(r)), None)
            or new_id()
        )
        self._drafts[record] = point_id
        return record

    def _is_saved(self, record: str) -> bool:
        return any(f.id == record for f in self.findings)

    def _where_left(self) -> str:
        ids = [p.id for p in self.checklist]
        touched = self.touched()
        own = [f for f in self.findings if f.examiner == self.examiner and f.point in ids]
        last = max(own, key=lambda f: f.at.timestamp() if f.at else 0.0, default=None)
        start = ids.index(last.point) if last else 0
        following = [*ids[start:], *ids[:start]]
        return next((i for i in following if i not in touched), ids[start])

    def _go(self, event: Event) -> None:
        self.point_id = self.checklist[str(event.get("point", ""))].id

    def _go_area(self, event: Event) -> None:
        points = [p.id for p in self.checklist if p.area == event.get("area")]
        if not points:
            raise BadInput("area", repr(event.get("area")), "an area of this walk")
        touched = self.touched()
        self.point_id = next((p for p in points if p not in touched), points[0])

    def _step(self, by: int) -> None:
        ids = [p.id for p in self.checklist]
        self.point_id = ids[min(max(ids.index(self.point_id) + by, 0), len(ids) - 1)]

    def _next_open(self) -> None:
        ids = [p.id for p in self.checklist]
        touched, here = self.touched(), ids.index(self.point_id)
        self.point_id = next((i for i in [*ids[here + 1 :], *ids[:here]] if i not in touched), self.point_id)

    def _pick(self, event: Event) -> None:
        point, record = self.checklist[str(event.get("point", ""))], str(event.get("record", ""))
        if record not in {f.id for f in self.own(point.id)}:
            raise BadInput("record", "one that is not yours", "one of your own records at this point")
        self._shown[point.id] = record

    def _another(self, event: Event) -> None:
        point = self.checklist[str(event.get("point", ""))]
        self._shown[point.id] = self._draft(point.id)


MOVES: Mapping[str, Callable[[Walk, Event], None]] = {
    "go": Walk._go,
    "go area": Walk._go_area,
    "next": lambda walk, _: walk._step(1),
    "back": lambda walk, _: walk._step(-1),
    "next open": lambda walk, _: walk._next_open(),
    "pick": Walk._pick,
    "another": Walk._another,
    "look": lambda _, __: None,
}
ENTRIES: Mapping[str, Callable[[Walk, Point, Event], Fields]] = {
    "value": lambda _, point, event: value_fields(point, event.get("value")),
    "reason": lambda _, point, event: reason_fields(point, event.get("reason"), event.get("text")),
    "keys": lambda walk, _, event: keys_fields(walk.piano, event.get("keys", "")),
    "place": lambda _, __, event: place_fields(event.get("place", "")),
    "note": lambda _, __, event: {"note": str(event.get("note", ""))},
}
