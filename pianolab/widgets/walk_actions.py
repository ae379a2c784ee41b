"""What the walk does beside recording a value: moving about, photos, setting aside what stays shut, taking back."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Protocol

from pianolab.casebook import ChangedSince
from pianolab.casebook.codec import from_json
from pianolab.checklist.points import Point
from pianolab.checklist.stations import load_openings
from pianolab.errors import BadInput
from pianolab.report.twins import finding_in_words, note_in_words
from pianolab.widgets.entries import Fields, reason_fields
from pianolab.widgets.pictures import keep_picture
from pianolab.widgets.walk_hour import WalkSeen, told_by_record, waiting_points
from pianolab.words import keys_in_words

if TYPE_CHECKING:
    from pianolab.casebook import Casebook, Change, Clash
    from pianolab.model import Finding, Photo, Visit

Event = Mapping[str, Any]
Buffers = Sequence[object]
KINDS = ("Finding", "Photo")
"""What a walk makes, and can take back."""


class OpenWalk(WalkSeen, Protocol):
    """What the actions need of a walk."""

    casebook: Casebook
    visit: Visit
    examiner: str
    photos: tuple[Photo, ...]
    photographed: bool
    asked: dict[str, Clash]
    mode: str
    trail: list[str]

    @property
    def by(self) -> str: ...

    def read(self) -> None: ...

    def own(self, point_id: str) -> tuple[Finding, ...]: ...

    def shown(self, point_id: str) -> tuple[str, Finding | None]: ...

    def show_record(self, point_id: str, record: str) -> None: ...

    def show_new_record(self, point_id: str) -> None: ...

    def merged(self, point: Point, record: str, before: Finding | None, fields: Fields) -> Finding: ...

    def settle(self, point: Point, *, mine: bool) -> None: ...

    def return_to(self, change: Change) -> None: ...


def _keep_photo(walk: OpenWalk, event: Event, buffers: Buffers) -> str:
    point = walk.checklist[str(event.get("point", ""))]
    keep_picture(
        walk.casebook,
        walk.visit.id,
        point=point.id,
        name=event.get("name"),
        buffers=buffers,
        by=walk.by,
        checklist=walk.checklist,
    )
    walk.photographed = True
    walk.read()
    return "Photo saved"


def _drop_photo(walk: OpenWalk, event: Event, _buffers: Buffers) -> str:
    photo = next((p for p in walk.photos if p.id == event.get("photo")), None)
    if photo is None:
        raise BadInput("photo", "one that is not here any more", "a photo of this visit")
    with walk.casebook.editing(by=walk.by) as edit:
        edit.remove(photo.id, was=photo)
    walk.photographed = True
    walk.read()
    return "Photo taken out"


def _not_opened(walk: OpenWalk, event: Event, _buffers: Buffers) -> str:
    """Everything that needs one opening and is still open becomes "not allowed", each with that reason."""
    opening = load_openings().get(str(event.get("opens", "")))
    if opening is None:
        raise BadInput("opening", repr(event.get("opens"))[:40], "one of " + ", ".join(load_openings()))
    touched = walk.touched()
    waiting = [p for p in walk.checklist if p.opens == opening.id and p.id not in touched]
    _set_aside(walk, waiting, {"state": "not allowed", "reason": opening.not_opened})
    return f"{len(waiting)} points set to not allowed, saved"


def _no_time(walk: OpenWalk, _event: Event, _buffers: Buffers) -> str:
    """Whatever of the visit is still open gets the reason that there was no time for it."""
    touched = walk.touched() | told_by_record(walk.piano)
    waiting = [p for p in waiting_points(walk) if p.id not in touched]
    _set_aside(walk, waiting, reason_fields(walk.point, "time", ""))
    return f"{len(waiting)} points set to no time, saved"


def _set_aside(walk: OpenWalk, points: Sequence[Point], fields: Fields) -> None:
    """One answer for many points, in one step that is also taken back in one."""
    at = walk.now()
    with walk.casebook.editing(by=walk.by, checklist=walk.checklist) as edit:
        for point in points:
            edit.add(replace(walk.merged(point, walk.shown(point.id)[0], None, fields), at=at))
    walk.read()


def _take_back(walk: OpenWalk, _event: Event, _buffers: Buffers) -> str:
    """The examiner's last change of this visit by the log: also after a restart, and whatever they entered elsewhere."""
    try:
        with walk.casebook.editing(by=walk.by) as edit:
            change = edit.undo(visit_id=walk.visit.id, kinds=KINDS)
            together = _entered_together(walk, change)
            for _ in range(together - 1):
                edit.undo(visit_id=walk.visit.id, kinds=KINDS)
    except ChangedSince as error:
        raise _both_shown(walk, error) from None
    walk.read()
    walk.asked.clear()
    walk.return_to(change)
    return "Taken back" if together == 1 else f"{together} points taken back"


def _entered_together(walk: OpenWalk, change: Change) -> int:
    """How many records one press had made: those set aside at once bear one and the same time."""
    gone = (change.before or {}) if change.after is None else {}
    at = next((f.at for f in walk.findings if f.id == change.record_id), None)
    if change.kind != "Finding" or gone.get("state") not in ("not checked", "not allowed"):
        return 1
    return sum(f.at == at and f.examiner == walk.examiner for f in walk.findings)


def _both_shown(walk: OpenWalk, error: ChangedSince) -> Exception:
    """Where another has changed the finding since, the refusal in words instead of records."""
    mine = []
    for finding in walk.findings:
        log = walk.casebook.log(finding.id)
        own = [c for c in log if c.by == walk.by and c.after]
        if own and log[-1].by != walk.by:
            mine.append((own[-1].at, own[-1].after, log[-1].by, finding))
    if not mine:
        return error
    _, yours, other, finding = max(mine, key=lambda m: m[0])
    point = walk.checklist.get(finding.point)
    entered = from_json("Finding", json.dumps(yours))
    return BadInput(
        point.title if point else finding.point,
        f'"{finding_line(entered, point=point)}" from you and now "{finding_line(finding, point=point)}"'
        f" from {other}",
        "one of the two",
        "Nothing was taken back. Agree on one and enter it.",
    )


def finding_line(finding: Finding, *, point: Point | None) -> str:
    """All that a finding says in one line: the value, where, the note, the promise."""
    where = ", ".join(t for t in (finding.place, keys_in_words(finding.keys)) if t)
    return "; ".join(t for t in (finding_in_words(finding, point=point), where, note_in_words(finding)) if t)


def both_in_words(point: Point, clash: Clash) -> BadInput:
    """What this screen and another have entered at one point, each in words."""
    sides = both_sides(point, clash)
    return BadInput(
        point.title,
        f'"{sides["mine"]}" from you, and meanwhile elsewhere "{sides["saved"]}"',
        "one of the two",
        "Nothing was overwritten; which shall count?",
    )


def both_sides(point: Point, clash: Clash | None) -> dict[str, str]:
    """The two entries of an open question as the screen shows them; empty where there is none."""
    if clash is None:
        return {}
    saved: Finding | None = clash.theirs
    return {
        "mine": finding_line(clash.yours, point=point),
        "saved": "taken back" if saved is None else finding_line(saved, point=point),
    }


def _settle(walk: OpenWalk, event: Event, _buffers: Buffers) -> str:
    point = walk.checklist[str(event.get("point", ""))]
    if point.id not in walk.asked:
        raise BadInput(point.title, "an answer to a question that is settled", "an entry of the form")
    mine = event.get("mine") is True
    walk.settle(point, mine=mine)
    return "Yours saved" if mine else "What was there is kept"


ACTIONS: Mapping[str, Callable[[OpenWalk, Event, Buffers], str]] = {
    "photo": _keep_photo,
    "drop photo": _drop_photo,
    "not opened": _not_opened,
    "no time": _no_time,
    "take back": _take_back,
    "settle": _settle,
}


MODES = ("point", "area")


def where_left(walk: OpenWalk) -> str:
    """The point whose turn it is after the examiner's last entry: where the walk was left.

    It is read from what is recorded, so it holds after a restart and on another computer.
    """
    ids = [p.id for p in walk.checklist]
    own = [f for f in walk.findings if f.examiner == walk.examiner and f.point in ids]
    last = max(own, key=lambda f: f.at.timestamp() if f.at else 0.0, default=None)
    walk.point_id = last.point if last else ""
    return _turn(walk) or walk.point_id or ids[0]


def _turn(walk: OpenWalk, *, here: bool = False) -> str:
    """The open point that comes next; in its turn where it fits the time, else the worthiest; empty where none is.

    With ``here`` it may be the one that is shown.
    """
    order = walk.clock.order(walk, walk.now())
    waiting = [*(s.point for s in order.steps), *order.left, *order.elsewhere]
    return next((p.id for p in waiting if here or p.id != walk.point_id), "")


def _arrive(walk: OpenWalk, point_id: str) -> None:
    """Go to a point and remember the way back."""
    if point_id != walk.point_id:
        walk.trail.append(walk.point_id)
    walk.point_id = point_id


def _go(walk: OpenWalk, event: Event) -> None:
    _arrive(walk, walk.checklist[str(event.get("point", ""))].id)


def _go_area(walk: OpenWalk, event: Event) -> None:
    points = [p.id for p in walk.checklist if p.area == event.get("area")]
    if not points:
        raise BadInput("area", repr(event.get("area"))[:60], "an area of this walk")
    touched = walk.touched()
    _arrive(walk, next((p for p in points if p not in touched), points[0]))


def _step_area(walk: OpenWalk, by: int) -> None:
    areas = walk.checklist.areas
    here = areas.index(walk.point.area)
    _go_area(walk, {"area": areas[min(max(here + by, 0), len(areas) - 1)]})


def _next(walk: OpenWalk, _event: Event) -> None:
    """On to the point whose turn it is; one that is left open comes again when all others have had theirs."""
    if walk.mode == "area":
        _step_area(walk, 1)
        return
    if walk.point_id not in walk.touched():
        walk.clock.skipped.add(walk.point_id)
    to = _turn(walk)
    if not to and walk.clock.skipped:
        walk.clock.skipped.clear()
        to = _turn(walk)
    _arrive(walk, to or walk.point_id)


def _back(walk: OpenWalk, _event: Event) -> None:
    """To the point one came from; at the start of a sitting to the one before it in the list."""
    if walk.mode == "area":
        _step_area(walk, -1)
        return
    if walk.trail:
        walk.point_id = walk.trail.pop()
        return
    ids = [p.id for p in walk.checklist]
    walk.point_id = ids[max(ids.index(walk.point_id) - 1, 0)]


def is_last(walk: OpenWalk) -> bool:
    """Whether there is no other point to go on to."""
    if walk.mode == "area":
        return walk.checklist.areas.index(walk.point.area) == len(walk.checklist.areas) - 1
    return not _turn(walk) and walk.clock.skipped <= {walk.point_id}


def is_first(walk: OpenWalk) -> bool:
    """Whether there is nothing to go back to."""
    if walk.mode == "area":
        return walk.checklist.areas.index(walk.point.area) == 0
    return not walk.trail and next(iter(walk.checklist)).id == walk.point_id


def _time(walk: OpenWalk, event: Event) -> None:
    walk.clock.choose(event.get("minutes"))
    if walk.point_id in walk.touched() or not walk.touched():
        _arrive(walk, _turn(walk, here=True) or walk.point_id)


def _pick(walk: OpenWalk, event: Event) -> None:
    point, record = walk.checklist[str(event.get("point", ""))], str(event.get("record", ""))
    if record not in {f.id for f in walk.own(point.id)}:
        raise BadInput("record", "one that is not yours", "one of your own records at this point")
    walk.show_record(point.id, record)


def _another(walk: OpenWalk, event: Event) -> None:
    walk.show_new_record(walk.checklist[str(event.get("point", ""))].id)


def _mode(walk: OpenWalk, event: Event) -> None:
    if event.get("mode") not in MODES:
        raise BadInput("mode", repr(event.get("mode"))[:40], " or ".join(MODES))
    walk.mode = str(event["mode"])


MOVES: Mapping[str, Callable[[OpenWalk, Event], None]] = {
    "go": _go,
    "go area": _go_area,
    "next": _next,
    "back": _back,
    "time": _time,
    "pick": _pick,
    "another": _another,
    "mode": _mode,
    "look": lambda _, __: None,
}
