"""What the findings at one checklist point say together: how bad at best, how bad at worst, and why."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from pianolab.assess.evidence import Effort, Evidence, Gap
from pianolab.assess.places import current_findings, out_of_sight, places_of, share_of, together, value_of
from pianolab.assess.scoring import Scoring
from pianolab.assess.tuning_state import TuningState
from pianolab.checklist import Point
from pianolab.model import Finding
from pianolab.statements import Statement, statement


@dataclass(frozen=True)
class PointView:
    """One point with what was found there; ``share`` is known to be wrong, ``worst`` could be, where one can look.

    ``out_of_sight`` is how much of the point nobody has seen: all of it before a look, then what no look reaches or
    where nobody looked, and nothing once another point has settled it. ``disputed`` says that examiners disagree about
    one place, ``by_technician`` that the worst of it was found by somebody who repairs or tunes pianos, ``doubt`` why the tuning
    leaves open what was found by ear. ``prior`` is how much likelier than usual it is that what was not seen is bad.
    """

    point: Point
    findings: tuple[Finding, ...]
    share: float
    worst: float
    why: Statement | None = None
    out_of_sight: float = 0.0
    disputed: bool = False
    by_technician: bool = False
    doubt: Statement | None = None
    prior: float = 1.0

    @property
    def checked(self) -> bool:
        return any(f.state == "checked" for f in self.findings)

    @property
    def applies(self) -> bool:
        return not self.findings or any(f.state != "does not apply" for f in self.findings)


def view_point(
    point: Point,
    findings: Iterable[Finding],
    *,
    scoring: Scoring,
    technicians: frozenset[str] = frozenset(),
) -> PointView:
    """All findings at one point put together.

    The worst place counts; readings of single sample keys count by their mean, so that one key that is out is one key.
    Where several people judged the same place and disagree, the kindest of them gives what is known and the harshest
    what is possible. A place nobody looked at may hold the worst, and so may what no look reaches, until another point
    settles it. ``technicians`` names the examiners who repair or tune pianos.
    """
    findings = tuple(findings)
    mine = current_findings(point, findings)
    relevant = [f for f in mine if f.state != "does not apply"]
    if mine and not relevant:
        return PointView(point, mine, 0.0, 0.0)
    unseen = out_of_sight(point, findings, relevant)
    if not any(f.state == "checked" for f in relevant):
        unlooked = not_looked_at(relevant) or statement("unknown.not checked")
        return PointView(point, mine, 0.0, unseen, unlooked if unseen else None, unseen)
    places = places_of(relevant, point, scoring)
    share, worst = together(places, point)
    disputed = any(place.disputed for place in places)
    why = not_looked_at(relevant) or (statement("unknown.examiners disagree") if disputed else None)
    expert = _worst(mine, point, scoring).examiner in technicians
    return PointView(point, mine, share, worst, why, unseen, disputed, expert)


def not_looked_at(findings: Iterable[Finding]) -> Statement | None:
    """Why a point was not looked at, each reason once; None where it was."""
    said = sorted({(f.state, f.reason) for f in findings if f.state != "checked"})
    if not said:
        return None
    states = tuple(statement("unknown.not looked at", state=how, reason=why) for how, why in said)
    return states[0] if len(states) == 1 else statement("unknown.states", states=states)


def evidence_of(view: PointView, state: TuningState, *, scoring: Scoring) -> Evidence:
    """The evidence that one point gives."""
    point = view.point
    gaps: tuple[Gap, ...] = ()
    possible = 1.0 if view.doubt else view.worst + view.out_of_sight * (1.0 - view.worst)
    if possible > view.share:
        in_part = view.checked and view.out_of_sight > 0
        # Where a look shows a part only, looking again shows no more: whoever can settle it brings a tool.
        in_tools = (in_part and point.shows < 1.0) or (view.doubt is not None and not state.neglected)
        effort = "technician" if in_tools else _effort(point, state, scoring)
        gaps = (
            Gap(
                key=gap_key(point, state, scoring),
                what=statement("unknown.point", point.id, title=point.title),
                why=_why_open(view, in_part),
                share=possible - view.share,
                effort=effort,
                minutes=point.minutes if effort == "look again" else None,
                veto_chance=_stop_chance(view, scoring),
            ),
        )
    return Evidence(
        source=point.id,
        says=found_at(view, scoring),
        share=view.share,
        strengths=point.aspects,
        gaps=gaps,
        fault=scoring.alike.get(point.id, point.id),
        keys=frozenset(k for f in view.findings for k in f.keys if f.count),
        count=max((f.count or 0 for f in view.findings), default=0),
    )


def _stop_chance(view: PointView, scoring: Scoring) -> float:
    """The chance that what nobody has seen of a point stops the purchase."""
    unseen = 1.0 if view.doubt else view.out_of_sight
    return scoring.unknown["veto_chance"] * unseen * view.prior if view.point.vetoes else 0.0


def _why_open(view: PointView, in_part: bool) -> Statement:
    if view.doubt:
        return view.doubt
    return view.why or statement("unknown.seen in part" if in_part else "unknown.not checked")


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
    if not view.checked:
        return statement("found.title", view.point.id, title=view.point.title)
    worst = _worst(view.findings, view.point, scoring)
    kind = "found.value there" if _where(worst) else "found.value"
    return _found(kind, worst, view.point, title=view.point.title)


def found_there(view: PointView, scoring: Scoring) -> Statement | None:
    """The same without the title, for a table that has it beside; None where nobody looked."""
    if not view.checked:
        return None
    worst = _worst(view.findings, view.point, scoring)
    return _found("found.at there" if _where(worst) else "found.at", worst, view.point)


def _worst(findings: Iterable[Finding], point: Point, scoring: Scoring) -> Finding:
    """The worst of what was found by looking."""

    def badness(f: Finding) -> tuple[float, str, str]:
        return share_of(value_of(f, point), point, scoring), f.place, f.note

    return max((f for f in findings if f.state == "checked"), key=badness)


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
