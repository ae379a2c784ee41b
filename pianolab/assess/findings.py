"""What the findings at one checklist point say together: how bad at best, how bad at worst, and why.

A later visit replaces an earlier one; counts key by key are put together.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from pianolab.assess.evidence import Effort, Evidence, Gap
from pianolab.assess.scoring import Scoring
from pianolab.assess.tuning_state import TuningState
from pianolab.checklist import Point
from pianolab.checklist.points import VALUE_OF, SettledBy
from pianolab.errors import BadInput
from pianolab.model import Finding
from pianolab.statements import Statement, statement


@dataclass(frozen=True)
class PointView:
    """One point with what was found there; ``share`` is known to be wrong, ``worst`` could be, where one can look.

    ``out_of_sight`` is how much of the point nobody has seen: all of it before a look, then what no look reaches,
    and nothing once another point has settled it.
    """

    point: Point
    findings: tuple[Finding, ...]
    share: float
    worst: float
    why: Statement | None = None
    out_of_sight: float = 0.0

    @property
    def checked(self) -> bool:
        return any(f.state == "checked" for f in self.findings)

    @property
    def applies(self) -> bool:
        return not self.findings or any(f.state != "does not apply" for f in self.findings)


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


def view_point(point: Point, findings: Iterable[Finding], *, scoring: Scoring) -> PointView:
    """All findings at one point put together.

    The worst place counts. Where several people judged the same place and disagree, the kindest of them
    gives what is known and the harshest what is possible. A place nobody looked at may hold the worst, and so may
    what no look reaches, until another point settles it.
    """
    findings = tuple(findings)
    mine = current_findings(point, findings)
    relevant = [f for f in mine if f.state != "does not apply"]
    if mine and not relevant:
        return PointView(point, mine, 0.0, 0.0)
    unseen = _out_of_sight(point, findings)
    if not any(f.state == "checked" for f in relevant):
        unlooked = not_looked_at(relevant) or statement("unknown.not checked")
        return PointView(point, mine, 0.0, unseen, unlooked if unseen else None, unseen)
    spans = [_span(group, point, scoring) for group in _places(relevant)]
    share, worst = max(s for s, _ in spans), max(w for _, w in spans)
    why = not_looked_at(relevant)
    if why is None and worst > share:
        why = statement("unknown.examiners disagree")
    return PointView(point, mine, share, worst, why, unseen)


def _out_of_sight(point: Point, findings: Sequence[Finding]) -> float:
    """How much of a point no look has reached; one who settles it judges the whole."""
    looked = any(f.point == point.id and f.state == "checked" for f in findings)
    if looked and point.shows == 1.0:
        return 0.0
    if any(_settles(rule, findings) for rule in point.settled_by):
        return 0.0
    return 1.0 - point.shows if looked else 1.0


def _settles(rule: SettledBy, findings: Sequence[Finding]) -> bool:
    """Whether all that holds now at the other point says so; a contrary answer leaves the doubt where it was."""
    groups: dict[tuple[str, str], list[Finding]] = {}
    for f in findings:
        if f.point == rule.point and f.state == "checked":
            groups.setdefault((f.examiner, f.place), []).append(f)
    now = [f for group in groups.values() for f in _latest(group)]
    return bool(now) and all(_holds(rule, f) for f in now)


def _holds(rule: SettledBy, finding: Finding) -> bool:
    if rule.within is None:
        return finding.answer is rule.on_answer
    value = finding.reading if finding.reading is not None else finding.count
    return value is not None and rule.within[0] <= value <= rule.within[1]


def not_looked_at(findings: Iterable[Finding]) -> Statement | None:
    """Why a point was not looked at, each reason once; None where it was."""
    said = sorted({(f.state, f.reason) for f in findings if f.state != "checked"})
    if not said:
        return None
    states = tuple(statement("unknown.not looked at", state=how, reason=why) for how, why in said)
    return states[0] if len(states) == 1 else statement("unknown.states", states=states)


def _places(findings: Sequence[Finding]) -> list[list[Finding]]:
    groups: dict[tuple[str, tuple[int, ...]], list[Finding]] = {}
    for f in findings:
        groups.setdefault((f.place, tuple(sorted(f.keys))), []).append(f)
    return list(groups.values())


def _span(group: Sequence[Finding], point: Point, scoring: Scoring) -> tuple[float, float]:
    by_examiner: dict[str, float] = {}
    for f in group:
        if f.state == "checked":
            share = share_of(value_of(f, point), point, scoring)
            by_examiner[f.examiner] = max(by_examiner.get(f.examiner, 0.0), share)
    if not by_examiner:
        return 0.0, 1.0
    return min(by_examiner.values()), max(by_examiner.values())


def evidence_of(view: PointView, state: TuningState, *, scoring: Scoring) -> Evidence:
    """The evidence that one point gives."""
    point = view.point
    gaps: tuple[Gap, ...] = ()
    possible = view.worst + view.out_of_sight * (1.0 - view.worst)
    if possible > view.share:
        in_part = view.checked and view.out_of_sight > 0
        # Looking again would show no more of it: whoever can settle it brings a tool.
        effort = "technician" if in_part else _effort(point, state, scoring)
        gaps = (
            Gap(
                key=gap_key(point, state, scoring),
                what=statement("unknown.point", point.id, title=point.title),
                why=view.why or statement("unknown.seen in part" if in_part else "unknown.not checked"),
                share=possible - view.share,
                effort=effort,
                minutes=point.minutes if effort == "look again" else None,
                veto_chance=scoring.unknown["veto_chance"] * view.out_of_sight if point.vetoes else 0.0,
            ),
        )
    return Evidence(
        source=point.id, says=found_at(view, scoring), share=view.share, strengths=point.aspects, gaps=gaps
    )


def gap_key(point: Point, state: TuningState, scoring: Scoring) -> str:
    """The key of what is not known at a point; what one tuning settles shares a key."""
    if _effort(point, state, scoring) == "tune and record again":
        return f"hidden by the tuning: {scoring.tuning['judged_on_tuned_piano'][point.id]}"
    return point.id


def _effort(point: Point, state: TuningState, scoring: Scoring) -> Effort:
    if point.access == "technician only":
        return "technician"
    if state.neglected and point.id in scoring.tuning["judged_on_tuned_piano"]:
        return "tune and record again"
    return "look again"


def found_at(view: PointView, scoring: Scoring) -> Statement:
    """The worst of what was found at a point, with the point's title."""
    worst = _worst(view, scoring)
    if worst is None:
        return statement("found.title", view.point.id, title=view.point.title)
    kind = "found.value there" if _where(worst) else "found.value"
    return _found(kind, worst, view.point, title=view.point.title)


def found_there(view: PointView, scoring: Scoring) -> Statement | None:
    """The same without the title, for a table that has it beside; None where nobody looked."""
    worst = _worst(view, scoring)
    if worst is None:
        return None
    return _found("found.at there" if _where(worst) else "found.at", worst, view.point)


def _worst(view: PointView, scoring: Scoring) -> Finding | None:
    checked = [f for f in view.findings if f.state == "checked"]

    def badness(f: Finding) -> tuple[float, str, str]:
        return share_of(value_of(f, view.point), view.point, scoring), f.place, f.note

    return max(checked, key=badness, default=None)


def _found(kind: str, finding: Finding, point: Point, **more: str) -> Statement:
    where, value = _where(finding), _value(finding, point)
    return statement(kind, point.id, evidence=[finding.id], where=where, value=value, **more)


def _where(finding: Finding) -> tuple[str | Statement, ...]:
    keys = (statement("keys.named", keys=finding.keys),) if finding.keys else ()
    return (*((finding.place,) if finding.place else ()), *keys)


def _value(finding: Finding, point: Point) -> Statement:
    value = value_of(finding, point)
    if point.record == "grade":
        return statement("found.grade", anchor=point.anchors[5 - int(value)])
    if point.record == "yes_no":
        meaning = point.yes_means if value else point.no_means
        return (
            statement("found.answer", meaning=meaning)
            if meaning
            else statement("found.yes" if value else "found.no")
        )
    unit = point.unit.removesuffix("s") if value == 1 else point.unit
    return (
        statement("found.number", value=value, unit=unit)
        if unit
        else statement("found.bare number", value=value)
    )


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
    found = [f for group in groups.values() for f in _merged(point, _latest(group))]
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


def _latest(group: Sequence[Finding]) -> list[Finding]:
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
