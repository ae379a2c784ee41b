"""The guided walk without its screen: where it stands, what is recorded, and saving each change at once."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from pianolab.checklist.points import Checklist, Point
from pianolab.errors import BadInput
from pianolab.model import Finding, Photo, Visit, new_id
from pianolab.widgets.entries import (
    NOTED_ONLY,
    Fields,
    keys_fields,
    place_fields,
    promise_fields,
    reason_fields,
    value_fields,
)
from pianolab.widgets.walk_actions import ACTIONS, MOVES, Event, both_in_words, where_left
from pianolab.widgets.walk_hour import WalkClock, sitting_began

if TYPE_CHECKING:
    from pianolab.casebook import Casebook, Change, Clash

NOBODY = "unnamed examiner"


def id_of_visit(visit: Visit | str) -> str:
    """The id of a visit that was given itself or by its id.

    Raises
    ------
    BadInput : anything else

    Examples
    --------
    >>> id_of_visit("visit-1")
    'visit-1'
    """
    if isinstance(visit, Visit):
        return visit.id
    if not isinstance(visit, str):
        got = f"a {type(visit).__name__}"
        raise BadInput("visit", got, "a Visit or its id", "One of casebook.visits()?")
    return visit


class Walk:
    """One examiner's walk through one visit.

    Parameters
    ----------
    casebook : an open casebook; every change goes into it before `handle` returns
    visit_id : Visit or str; the visit that is recorded, or its id
    checklist : Checklist, or None for the casebook's own (the one that comes with pianolab where it keeps none)
    examiner : str; who records; empty takes the examiner named in the visit
    minutes : how long there is, min; None for as long as it takes

    Notes
    -----
    Nothing is kept here that matters: the walk can be rebuilt from the casebook at any time. An examiner
    changes only their own findings and sees the others'.
    """

    def __init__(
        self,
        casebook: Casebook,
        visit_id: Visit | str,
        *,
        checklist: Checklist | None = None,
        examiner: str = "",
        minutes: float | None = None,
        now: Callable[[], datetime] = lambda: datetime.now(UTC),
    ) -> None:
        self.casebook = casebook
        self.visit = casebook.visit(id_of_visit(visit_id))
        self.piano = casebook.piano(self.visit.piano_id)
        points = casebook.checklist() if checklist is None else checklist
        self.checklist = points.for_piano(self.piano)
        if not len(self.checklist):
            raise BadInput("checklist", "no point that applies", "a checklist with points for this piano")
        self.examiner = " ".join((examiner or self.visit.examiner).split())
        self.now = now
        self._drafts: dict[str, str] = {}
        self._shown: dict[str, str] = {}
        self._seen: dict[str, Finding] = {}
        self.asked: dict[str, Clash] = {}
        self.mode = "point"
        self.trail: list[str] = []
        self.point_id = ""
        self.read()
        began = sitting_began(self.findings, examiner=self.examiner, now=self.now())
        self.clock = WalkClock(minutes, began)
        self.photographed = any(
            c.by == self.by for p in self.photos for c in casebook.log(p.id) if c.action == "add"
        )
        self.point_id = where_left(self)

    @property
    def by(self) -> str:
        """The name that stands in the log."""
        return self.examiner or NOBODY

    def read(self) -> None:
        """Read the visit's findings and photos again; others may have written since."""
        self.findings: tuple[Finding, ...] = tuple(self.casebook.findings(visit_id=self.visit.id))
        self.photos: tuple[Photo, ...] = tuple(self.casebook.photos(visit_id=self.visit.id))

    def has_shown(self) -> None:
        """The screen has got all there is; what changes behind its back from now on is a conflict."""
        self._seen = {f.id: f for f in self.findings}

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
        record = self._shown.get(point_id, "")
        if record not in own and self._drafts.get(record) != point_id:
            if not own:
                return self._draft(point_id), None
            record = list(own)[-1]
        self._shown[point_id] = record
        return record, own.get(record)

    def touched(self) -> set[str]:
        """Points somebody has recorded something at."""
        return {f.point for f in self.findings}

    def show_record(self, point_id: str, record: str) -> None:
        """Bring one of the point's records on the screen."""
        self._shown[point_id] = record

    def show_new_record(self, point_id: str) -> None:
        """Bring an empty record on the screen, for another place."""
        self._shown[point_id] = self._draft(point_id)

    @property
    def can_take_back(self) -> bool:
        return self.photographed or any(f.examiner == self.examiner for f in self.findings)

    def handle(self, event: Event, buffers: Sequence[object] = ()) -> str:
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
        if do in ACTIONS:
            self.clock.begin(self.now())
            return ACTIONS[do](self, event, buffers)
        if do not in ENTRIES:
            raise BadInput("message", repr(do[:40]), "an event of the form", "Run the cell again.")
        point = self.checklist[str(event.get("point", ""))]
        self.clock.begin(self.now())
        return self._save(point, str(event.get("record", "")), ENTRIES[do](self, point, event))

    def _save(self, point: Point, record: str, fields: Fields) -> str:
        now = next((f for f in self.own(point.id) if f.id == record), None)
        read = self._seen.get(record, now)
        if read is None and self._drafts.get(record) != point.id:
            raise BadInput(
                "form", "a record it does not know", "the form as it stands now", "Run the cell again."
            )
        after = self.merged(point, record, read, fields)
        if now is not None and replace(after, at=now.at) == now:
            return "Already saved"
        self._write(point, read, after)
        return "Saved"

    def merged(self, point: Point, record: str, before: Finding | None, fields: Fields) -> Finding:
        if before is not None:
            return replace(before, **fields, at=self.now())
        unjudged: Fields = {} if "state" in fields else {"state": "not checked", "reason": NOTED_ONLY}
        whole = {**unjudged, **fields, "point": point.id, "examiner": self.examiner, "at": self.now()}
        return Finding(id=record, visit_id=self.visit.id, **whole)

    def _entered_elsewhere(self, point: Point, record: str) -> Finding | None:
        """What another screen has entered at a point that was empty on this one; None where a further record was wanted."""
        self.read()
        own = self.own(point.id)
        return own[-1] if own and self._shown.get(point.id) != record else None

    def _write(self, point: Point, read: Finding | None, after: Finding) -> None:
        """Keep a record that is based on what was read; where another screen has a say too, the two are merged or asked."""
        from pianolab.casebook import Clash  # loaded with the casebook that is open here

        draft = after.id
        self.asked.pop(point.id, None)
        try:
            with self.casebook.editing(by=self.by, checklist=self.checklist) as edit:
                if read is None and (theirs := self._entered_elsewhere(point, draft)) is not None:
                    read = self.merged(point, theirs.id, None, {})
                    after = replace(after, id=theirs.id)
                if read is None:
                    edit.add(after)
                else:
                    edit.change(after, was=read)
        except Clash as clash:
            self._shown.pop(point.id, None)
            self.asked[point.id] = clash
            raise both_in_words(point, clash) from None
        self.read()
        self._drafts.pop(draft, None)
        self._shown[point.id] = after.id
        self._seen[after.id] = next(f for f in self.findings if f.id == after.id)

    def settle(self, point: Point, *, mine: bool) -> None:
        """Answer the question which of two entries counts; another change meanwhile asks it anew."""
        clash = self.asked.pop(point.id)
        if clash.theirs is not None:
            self._write(point, clash.theirs, replace(clash.settled(mine=mine), at=self.now()))
        elif mine:
            self._write(point, None, replace(clash.yours, id=self._draft(point.id), at=self.now()))

    def return_to(self, change: Change) -> None:
        """Show the point whose record was taken back; a photo of the whole visit leaves the screen where it is."""
        point_id = str((change.before or change.after or {}).get("point", ""))
        if point_id not in self.checklist:
            return
        self.clock.skipped.discard(point_id)
        self.point_id = point_id
        if change.kind != "Finding":
            return
        self._shown.pop(point_id, None)
        self._drafts.pop(change.record_id, None)
        if change.after is not None:
            self._shown[point_id] = change.record_id

    def _draft(self, point_id: str) -> str:
        record = (
            next((r for r, p in self._drafts.items() if p == point_id and not self._is_saved(r)), None)
            or new_id()
        )
        self._drafts[record] = point_id
        return record

    def _is_saved(self, record: str) -> bool:
        return any(f.id == record for f in self.findings)


ENTRIES: Mapping[str, Callable[[Walk, Point, Event], Fields]] = {
    "value": lambda _, point, event: value_fields(point, event.get("value")),
    "reason": lambda _, point, event: reason_fields(point, event.get("reason"), event.get("text")),
    "keys": lambda walk, _, event: keys_fields(walk.piano, event.get("keys", "")),
    "place": lambda _, __, event: place_fields(event.get("place", "")),
    "note": lambda _, __, event: {"note": str(event.get("note", ""))},
    "promise": lambda _, __, event: promise_fields(event.get("promised", "")),
}
