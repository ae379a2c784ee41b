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
    """The first open point behind the examiner's last entry: where the walk was left.

    It is read from what is recorded, so it holds after a restart and on another computer.
    """
    ids = [p.id for p in walk.checklist]
    touched = walk.touched()
    own = [f for f in walk.findings if f.examiner == walk.examiner and f.point in ids]
    last = max(own, key=lambda f: f.at.timestamp() if f.at else 0.0, default=None)
    start = ids.index(last.point) if last else 0
    following = [*ids[start:], *ids[:start]]
    return next((i for i in following if i not in touched), ids[start])


def _go(walk: Walk, event: Event) -> None:
    walk.point_id = walk.checklist[str(event.get("point", ""))].id


def _go_area(walk: Walk, event: Event) -> None:
    points = [p.id for p in walk.checklist if p.area == event.get("area")]
    if not points:
        raise BadInput("area", repr(event.get("area"))[:60], "an area of this walk")
    touched = walk.touched()
    walk.point_id = next((p for p in points if p not in touched), points[0])


def _step(walk: Walk, by: int) -> None:
    if walk.mode == "area":
        areas = walk.checklist.areas
        here = areas.index(walk.point.area)
        _go_area(walk, {"area": areas[min(max(here + by, 0), len(areas) - 1)]})
        return
    ids = [p.id for p in walk.checklist]
    walk.point_id = ids[min(max(ids.index(walk.point_id) + by, 0), len(ids) - 1)]


def _next_open(walk: Walk, _event: Event) -> None:
    ids = [p.id for p in walk.checklist]
    touched, here = walk.touched(), ids.index(walk.point_id)
    walk.point_id = next((i for i in [*ids[here + 1 :], *ids[:here]] if i not in touched), walk.point_id)


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
    "next": lambda walk, _: _step(walk, 1),
    "back": lambda walk, _: _step(walk, -1),
    "next open": _next_open,
    "pick": _pick,
    "another": _another,
    "mode": _mode,
    "look": lambda _, __: None,
}
