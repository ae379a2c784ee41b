"""The places of one checklist point: how bad each is, at best and at worst, how much nobody has seen, and when a rule holds there."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Protocol

from pianolab.assess.scoring import Scoring
from pianolab.checklist import Point
from pianolab.checklist.points import VALUE_OF, SettledBy
from pianolab.errors import BadInput
from pianolab.model import Finding

Group = tuple[str, str, tuple[int, ...]]


@dataclass(frozen=True)
class Place:
    """One place of a point, or one sample key: what was found there, and how bad it is at best and at worst."""

    looked: tuple[Finding, ...]
    best: float
    worst: float

    @property
    def disputed(self) -> bool:
        return bool(self.looked) and self.best < self.worst


def value_of(finding: Finding, point: Point) -> float | bool:
    """The value a checked finding holds, of the kind that its point asks for; else `BadInput`."""
    value = getattr(finding, VALUE_OF[point.record])
    if value is None:
        got = next(kind for kind, name in VALUE_OF.items() if getattr(finding, name) is not None)
        raise BadInput(f"finding at {point.id}", f"a {got}", f"a {point.record}".replace("_", "/"))
    return bool(value) if point.record == "yes_no" else float(value)


def share_of(value: float | bool, point: Point, scoring: Scoring) -> float:
    """How bad a value is, from 0 (as it should be) to 1 (failed)."""
    if point.record == "grade":
        return scoring.grade_share(int(value))
    if point.record == "yes_no":
        return 0.0 if point.good_answer is None or bool(value) == point.good_answer else 1.0
    if point.usual is None:
        return 0.0
    low, high = point.usual
    width = max(high - low, 1.0)
    under = point.failed_under if point.failed_under is not None else low - width
    over = point.failed_over if point.failed_over is not None else high + width
    if value < low:
        return min(1.0, (low - value) / max(low - under, 1e-9))
    return min(1.0, max(0.0, value - high) / max(over - high, 1e-9))


def places_of(findings: Sequence[Finding], point: Point, scoring: Scoring) -> list[Place]:
    """The places at which somebody looked, or said why not."""
    groups: dict[tuple[str, tuple[int, ...]], list[Finding]] = {}
    for f in findings:
        groups.setdefault((f.place, tuple(sorted(f.keys))), []).append(f)
    return [_place(group, point, scoring) for group in groups.values()]


def _place(group: Sequence[Finding], point: Point, scoring: Scoring) -> Place:
    by_examiner: dict[str, float] = {}
    looked = tuple(f for f in group if f.state == "checked")
    for f in looked:
        share = share_of(value_of(f, point), point, scoring)
        by_examiner[f.examiner] = max(by_examiner.get(f.examiner, 0.0), share)
    if not by_examiner:
        return Place((), 0.0, 1.0)
    return Place(looked, min(by_examiner.values()), max(by_examiner.values()))


def together(places: Sequence[Place], point: Point) -> tuple[float, float]:
    """What the places say of the whole, at best and at worst: the worst of them, but the mean of sample keys."""
    known = [place.best for place in places if place.looked]
    if point.record == "reading" and point.per_key:
        return sum(known) / len(known), sum(place.worst for place in places) / len(places)
    return max(known), max(place.worst for place in places)


def out_of_sight(point: Point, findings: Sequence[Finding], relevant: Sequence[Finding]) -> float:
    """How much of a point no look has reached; one who settles it judges the whole."""
    if any(_settles(rule, findings) for rule in point.settled_by):
        return 0.0
    if not any(f.state == "checked" for f in relevant):
        return 1.0
    return 1.0 - point.shows * (1.0 - _elsewhere(point, relevant))


def _elsewhere(point: Point, relevant: Sequence[Finding]) -> float:
    """The part of a structural point where nobody looked: places named as not looked at, or all but the one named."""
    if point.nature != "structural":
        return 0.0
    seen = {f.place for f in relevant if f.state == "checked"}
    missed = {f.place for f in relevant if f.state != "checked"} - seen
    rest = 1 if not missed and len(seen) == 1 and "" not in seen else 0
    return (len(missed) + rest) / (len(seen) + len(missed) + rest)


def _settles(rule: SettledBy, findings: Sequence[Finding]) -> bool:
    """Whether all that holds now at the other point says so; a contrary answer leaves the doubt where it was."""
    groups: dict[tuple[str, str], list[Finding]] = {}
    for f in findings:
        if f.point == rule.point and f.state == "checked":
            groups.setdefault((f.examiner, f.place), []).append(f)
    now = [f for group in groups.values() for f in latest(group)]
    return bool(now) and all(_holds(rule, f) for f in now)


def _holds(rule: SettledBy, finding: Finding) -> bool:
    if rule.within is None:
        return finding.answer is rule.on_answer
    value = finding.reading if finding.reading is not None else finding.count
    return value is not None and rule.within[0] <= value <= rule.within[1]


class Trigger(Protocol):
    """What any rule on a point says of the value that sets it off."""

    @property
    def at_grade(self) -> int | None: ...
    @property
    def on_answer(self) -> bool | None: ...
    @property
    def over(self) -> float | None: ...
    @property
    def under(self) -> float | None: ...


def holds(rule: Trigger, finding: Finding, point: Point) -> bool:
    """Whether a checked finding sets the rule off."""
    if finding.state != "checked":
        return False
    value = value_of(finding, point)
    if rule.at_grade is not None:
        return value <= rule.at_grade
    if rule.on_answer is not None:
        return bool(value) == rule.on_answer
    return (rule.over is not None and value > rule.over) or (rule.under is not None and value < rule.under)


def current_findings(point: Point, findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """The findings at one point that hold now, in a fixed order.

    What the same examiner found at the same place on a later visit replaces what they found before, if all
    of it is dated; an earlier look is not replaced by "not checked". Undated findings stay side by side.
    Counts of one visit are put together: two findings of one key each are two keys.
    """
    groups: dict[Group, list[Finding]] = {}
    for f in findings:
        if f.point == point.id:
            keys = () if point.record == "count" else tuple(sorted(f.keys))
            groups.setdefault((f.examiner, f.place, keys), []).append(f)
    found = [f for group in groups.values() for f in _merged(point, latest(group))]
    return tuple(sorted(found, key=_order))


def _order(f: Finding) -> tuple[str, ...]:
    return (
        f.place,
        f.examiner,
        f.visit_id,
        f.state,
        str(f.keys),
        str((f.grade, f.answer, f.count, f.reading)),
        f.id,
    )


def latest(group: Sequence[Finding]) -> list[Finding]:
    looked = [f for f in group if f.state == "checked"] or list(group)
    if any(f.at is None for f in looked):
        return looked
    newest = max(looked, key=_when)
    return [f for f in looked if f.visit_id == newest.visit_id]


def _when(f: Finding) -> tuple[datetime, str]:
    assert f.at is not None
    return f.at, f.visit_id


def _merged(point: Point, group: list[Finding]) -> list[Finding]:
    if point.record != "count" or group[0].state != "checked" or len(group) < 2:
        return group
    visits: dict[str, list[Finding]] = {}
    for f in group:
        visits.setdefault(f.visit_id, []).append(f)
    return [_one_count(mine) for mine in visits.values()]


def _one_count(findings: list[Finding]) -> Finding:
    keys = tuple(sorted({k for f in findings for k in f.keys}))
    counts = [f.count for f in findings if f.count is not None]
    if len(counts) < len(findings):
        return findings[0]
    return replace(min(findings, key=_order), keys=keys, count=max([*counts, len(keys)]))
