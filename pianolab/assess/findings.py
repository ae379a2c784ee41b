"""What the findings at one checklist point say together: how bad at best, how bad at worst, and why."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from pianolab.assess.current import current_findings
from pianolab.assess.evidence import Effort, Evidence, Gap
from pianolab.assess.scoring import Scoring
from pianolab.assess.tuning_state import TuningState
from pianolab.checklist import Point
from pianolab.checklist.points import VALUE_OF
from pianolab.errors import BadInput
from pianolab.keyboard import keys_in_words
from pianolab.model import Finding


@dataclass(frozen=True)
class PointView:
    """One point with what was found there; ``share`` is known to be wrong, ``worst`` could be."""

    point: Point
    findings: tuple[Finding, ...]
    share: float
    worst: float
    reason: str = ""

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
    gives what is known and the harshest what is possible. A place nobody looked at may hold the worst.
    """
    mine = current_findings(point, findings)
    relevant = [f for f in mine if f.state != "does not apply"]
    if mine and not relevant:
        return PointView(point, mine, 0.0, 0.0)
    if not relevant:
        return PointView(point, mine, 0.0, 1.0, "not checked")
    spans = [_span(group, point, scoring) for group in _places(relevant)]
    reasons = sorted({f"{f.state}: {f.reason}" for f in relevant if f.state != "checked"})
    share, worst = max(s for s, _ in spans), max(w for _, w in spans)
    reason = "; ".join(reasons) or ("the examiners disagree" if worst > share else "")
    return PointView(point, mine, share, worst, reason)


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
    if view.worst > view.share:
        effort = _effort(point, state, scoring)
        gaps = (
            Gap(
                key=gap_key(point, state, scoring),
                text=lower_first(point.title),
                reason=view.reason,
                share=view.worst - view.share,
                effort=effort,
                minutes=point.minutes if effort == "look again" else None,
                veto_chance=scoring.unknown["veto_chance"] if point.vetoes and not view.checked else 0.0,
            ),
        )
    return Evidence(
        source=point.id, text=sentence(view, scoring), share=view.share, strengths=point.aspects, gaps=gaps
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


def sentence(view: PointView, scoring: Scoring) -> str:
    """The worst of what was found at a point, in words."""
    checked = [f for f in view.findings if f.state == "checked"]
    if not checked:
        return view.point.title
    worst = max(
        checked, key=lambda f: (share_of(value_of(f, view.point), view.point, scoring), f.place, f.note)
    )
    where = ", ".join(part for part in (worst.place, keys_in_words(worst.keys)) if part)
    return f"{view.point.title}{f' ({where})' if where else ''}: {_said(worst, view.point)}"


def _said(finding: Finding, point: Point) -> str:
    value = value_of(finding, point)
    if point.record == "grade":
        return lower_first(point.anchors[5 - int(value)])
    if point.record == "yes_no":
        return lower_first(point.yes_means if value else point.no_means) or ("yes" if value else "no")
    unit = point.unit.removesuffix("s") if value == 1 else point.unit
    return f"{value:g} {unit}".strip()


def lower_first(text: str) -> str:
    """A sentence as it stands behind a colon: small first letter, no full stop at the end."""
    return (text[:1].lower() + text[1:]).rstrip(".")
