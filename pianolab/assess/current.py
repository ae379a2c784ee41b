"""Which findings at one point hold now: a later visit replaces an earlier one; counts key by key are put together."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import datetime

from pianolab.checklist import Point
from pianolab.model import Finding

Group = tuple[str, str, tuple[int, ...]]


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
