"""Moving about in the walk: to a point, an area, the next open point; nothing here writes anything."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

from pianolab.errors import BadInput

if TYPE_CHECKING:
    from pianolab.widgets.walk import Walk

Event = Mapping[str, Any]
MODES = ("point", "area")


def where_left(walk: Walk) -> str:
    """The point whose turn it is after the examiner's last entry: where the walk was left.

    It is read from what is recorded, so it holds after a restart and on another computer.
    """
    ids = [p.id for p in walk.checklist]
    own = [f for f in walk.findings if f.examiner == walk.examiner and f.point in ids]
    last = max(own, key=lambda f: f.at.timestamp() if f.at else 0.0, default=None)
    walk.point_id = last.point if last else ""
    return _turn(walk) or walk.point_id or ids[0]


def _turn(walk: Walk, *, here: bool = False) -> str:
    """The open point that comes next; in its turn where it fits the time, else the worthiest; empty where none is.

    With ``here`` it may be the one that is shown.
    """
    order = walk.clock.order(walk, walk.now())
    waiting = [*(s.point for s in order.steps), *order.left, *order.elsewhere]
    return next((p.id for p in waiting if here or p.id != walk.point_id), "")


def _arrive(walk: Walk, point_id: str) -> None:
    """Go to a point and remember the way back."""
    if point_id != walk.point_id:
        walk.trail.append(walk.point_id)
    walk.point_id = point_id


def _go(walk: Walk, event: Event) -> None:
    _arrive(walk, walk.checklist[str(event.get("point", ""))].id)


def _go_area(walk: Walk, event: Event) -> None:
    points = [p.id for p in walk.checklist if p.area == event.get("area")]
    if not points:
        raise BadInput("area", repr(event.get("area"))[:60], "an area of this walk")
    touched = walk.touched()
    _arrive(walk, next((p for p in points if p not in touched), points[0]))


def _step_area(walk: Walk, by: int) -> None:
    areas = walk.checklist.areas
    here = areas.index(walk.point.area)
    _go_area(walk, {"area": areas[min(max(here + by, 0), len(areas) - 1)]})


def _next(walk: Walk, _event: Event) -> None:
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


def _back(walk: Walk, _event: Event) -> None:
    """To the point one came from; at the start of a sitting to the one before it in the list."""
    if walk.mode == "area":
        _step_area(walk, -1)
        return
    if walk.trail:
        walk.point_id = walk.trail.pop()
        return
    ids = [p.id for p in walk.checklist]
    walk.point_id = ids[max(ids.index(walk.point_id) - 1, 0)]


def is_last(walk: Walk) -> bool:
    """Whether there is no other point to go on to."""
    if walk.mode == "area":
        return walk.checklist.areas.index(walk.point.area) == len(walk.checklist.areas) - 1
    return not _turn(walk) and walk.clock.skipped <= {walk.point_id}


def is_first(walk: Walk) -> bool:
    """Whether there is nothing to go back to."""
    if walk.mode == "area":
        return walk.checklist.areas.index(walk.point.area) == 0
    return not walk.trail and next(iter(walk.checklist)).id == walk.point_id


def _time(walk: Walk, event: Event) -> None:
    walk.clock.choose(event.get("minutes"))
    if walk.point_id in walk.touched() or not walk.touched():
        _arrive(walk, _turn(walk, here=True) or walk.point_id)


def _pick(walk: Walk, event: Event) -> None:
    point, record = walk.checklist[str(event.get("point", ""))], str(event.get("record", ""))
    if record not in {f.id for f in walk.own(point.id)}:
        raise BadInput("record", "one that is not yours", "one of your own records at this point")
    walk.show_record(point.id, record)


def _another(walk: Walk, event: Event) -> None:
    walk.show_new_record(walk.checklist[str(event.get("point", ""))].id)


def _mode(walk: Walk, event: Event) -> None:
    if event.get("mode") not in MODES:
        raise BadInput("mode", repr(event.get("mode"))[:40], " or ".join(MODES))
    walk.mode = str(event["mode"])


MOVES: Mapping[str, Callable[[Walk, Event], None]] = {
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
