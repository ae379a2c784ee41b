"""The clock of a walk: how much of the time is gone, what comes next, what stays unseen if one stops now."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from datetime import datetime, timedelta
from typing import Any, Protocol

from pianolab.checklist.hour import LENGTHS, WalkOrder, listed_worth, order_walk
from pianolab.checklist.points import Checklist, Point
from pianolab.checklist.stations import ELSEWHERE, load_hour
from pianolab.errors import BadInput
from pianolab.model import Finding, Piano
from pianolab.words import listed, lower_first

SITTING_GAP = timedelta(minutes=45)
"""After so long without an entry a new sitting begins, and its clock."""
NAMED = 3
IN_RECORD = {"papers-age": "year", "papers-size": "size_cm"}
"""Points that only ask for what may stand in the piano's own record, and its field."""


def told_by_record(piano: Piano) -> set[str]:
    """Points that nobody need be asked again: the piano's own record holds the answer.

    Examples
    --------
    >>> sorted(told_by_record(Piano(name="A", year=1978))), told_by_record(Piano(name="B"))
    (['papers-age'], set())
    """
    return {point for point, name in IN_RECORD.items() if getattr(piano, name) is not None}


class WalkSeen(Protocol):
    """What the clock has to see of a walk."""

    piano: Piano
    checklist: Checklist
    findings: tuple[Finding, ...]
    point_id: str
    clock: WalkClock
    now: Callable[[], datetime]

    @property
    def point(self) -> Point: ...

    def touched(self) -> set[str]: ...


class WalkClock:
    """The time of one walk and the order that follows from it.

    ``minutes`` is the time there is, None for as long as it takes; ``worth`` what a look at each point is worth as far
    as it is known (`pianolab.compare.learning`); ``skipped`` holds points that were passed over for now.
    """

    def __init__(self, minutes: float | None, began: datetime | None) -> None:
        self.worth: Mapping[str, float] = {}
        self.skipped: set[str] = set()
        self.began = began
        self.choose(minutes)
        self._known: tuple[Any, WalkOrder] | None = None

    def choose(self, minutes: object) -> None:
        """How long there is; the clock goes on from where it began."""
        if minutes is None:
            self.minutes: float | None = None
            return
        if isinstance(minutes, bool) or not isinstance(minutes, (int, float)) or not 5 <= minutes <= 480:
            raise BadInput("minutes", repr(minutes)[:40], "5 to 480 min, or None for the whole walk")
        self.minutes = float(minutes)

    def weigh(self, worth: Mapping[str, float]) -> None:
        """What a look at each point is worth from now on."""
        self.worth, self._known = dict(worth), None

    def begin(self, now: datetime) -> None:
        """Start the clock where it stands still."""
        if self.began is None:
            self.began = now

    def gone(self, now: datetime) -> float:
        """Minutes since it began."""
        return 0.0 if self.began is None else max(0.0, (now - self.began).total_seconds() / 60.0)

    def left(self, now: datetime) -> float | None:
        """Minutes that are left; None where there is no end."""
        return None if self.minutes is None else max(0.0, self.minutes - self.gone(now))

    def order(self, walk: WalkSeen, now: datetime) -> WalkOrder:
        """What is still to be seen, in its order, as far as it fits."""
        settled = frozenset(walk.touched() | told_by_record(walk.piano) | self.skipped)
        left = self.left(now)
        at = walk.point_id if settled else ""
        key = (settled, None if left is None else round(2.0 * left), at)
        if self._known is None or self._known[0] != key:
            order = order_walk(
                walk.checklist, walk.piano, minutes=left, settled=settled, worth=self.worth, at=at
            )
            self._known = key, order
        return self._known[1]


def sitting_began(findings: Iterable[Finding], *, examiner: str, now: datetime) -> datetime | None:
    """When the examiner's present sitting began, from what they entered; None where it has not begun.

    Examples
    --------
    >>> from datetime import UTC
    >>> noon = datetime(2026, 5, 14, 12, tzinfo=UTC)
    >>> made = [Finding(visit_id="v", point="p", grade=3, at=noon - timedelta(minutes=m)) for m in (5, 30, 200)]
    >>> sitting_began(made, examiner="", now=noon).minute
    30
    """
    times = sorted((f.at for f in findings if f.at is not None and f.examiner == examiner), reverse=True)
    began, before = None, now
    for at in times:
        if before - at > SITTING_GAP:
            break
        began = before = at
    return began


def hour_view(walk: WalkSeen) -> dict[str, Any]:
    """The clock's line on the screen, as ready-made plain data."""
    clock, now = walk.clock, walk.now()
    order = clock.order(walk, now)
    touched = walk.touched()
    waiting = [p for p in waiting_points(walk) if p.id not in touched]
    left = clock.left(now)
    return {
        "choices": [
            {"value": m, "text": f"{m} min" if m else "All", "chosen": clock.minutes == m}
            for m in (*LENGTHS, None)
        ],
        "minutes": clock.minutes,
        "gone_s": round(60.0 * clock.gone(now)),
        "runs": clock.began is not None,
        "fits": _fits(order, left),
        "unseen": _unseen(walk, waiting),
        "waiting": len(waiting),
        "over": left == 0.0 and bool(waiting),
        "station": load_hour().station_of(walk.point, walk.piano.kind).name,
    }


def waiting_points(walk: WalkSeen) -> list[Point]:
    """Points of the walk that are looked at at the visit, by whoever walks."""
    data, kind = load_hour(), walk.piano.kind
    return [p for p in walk.checklist if data.station_of(p, kind).id != ELSEWHERE]


def _fits(order: WalkOrder, left: float | None) -> str:
    if left is None:
        return f"{order.taken:.0f} min to go" if order.steps else "Nothing more to look at"
    if not order.left:
        return f"all that is open takes {order.taken:.0f} min"
    stops = len(order.stops_left)
    which = f", {stops} of them {'a reason' if stops == 1 else 'reasons'} to stop" if stops else ""
    return f"{len(order.left)} {'point' if len(order.left) == 1 else 'points'} will not fit{which}"


def _unseen(walk: WalkSeen, waiting: list[Point]) -> str:
    """What nobody has looked at if the walk ends now: reasons to stop, and areas without one look."""
    if not waiting:
        return "Everything has been looked at or has its reason."
    stops = [p for p in waiting_points(walk) if p.vetoes]
    looked = {f.point for f in walk.findings if f.state in ("checked", "does not apply")}
    blind = sorted((p for p in stops if p.id not in looked), key=lambda p: -listed_worth(p))
    said = []
    if stops:
        named = f" ({_some([lower_first(p.title) for p in blind])})" if blind else ""
        said.append(f"{len(blind)} of {len(stops)} reasons to stop unseen{named}")
    areas = [
        a for a in walk.checklist.areas if not any(p.id in looked for p in walk.checklist if p.area == a)
    ]
    if len(areas) > NAMED:
        said.append(f"{len(areas)} of {len(walk.checklist.areas)} areas without a look")
    elif areas:
        said.append(f"not one look at {listed(lower_first(a) for a in areas)}")
    return "If you stop now: " + ("; ".join(said) or f"{len(waiting)} points open") + "."


def _some(names: list[str]) -> str:
    shown, more = names[:NAMED], len(names) - NAMED
    return listed([*shown, f"{more} more"]) if more > 0 else listed(shown)
