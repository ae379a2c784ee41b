"""Vetoes and warnings: what stands above all weights, how grave and how sure it is, and who can settle it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any

from pianolab.acoustics.survey_result import Survey
from pianolab.assess.assessment import Alert, AlertKind, HowSure
from pianolab.assess.by_recording import HeardKeys
from pianolab.assess.findings import PointView, found_at
from pianolab.assess.places import holds
from pianolab.assess.scoring import Scoring
from pianolab.assess.stops import MEASURED, SURENESS, TECHNICIAN
from pianolab.assess.tuning_state import TuningState
from pianolab.checklist import Point
from pianolab.statements import Statement, statement

CONTRADICTION = "warning.contradiction"
LISTENING = "listening"


def in_order(alerts: Iterable[Alert], scoring: Scoring, measured: frozenset[str]) -> tuple[Alert, ...]:
    """Each alert once, vetoes first, then the gravest; of two as grave what was measured first, then the surer one.

    One fault that was noticed in two ways is one alert; what a graver one rests on already is not said for itself.
    """

    def rank(a: Alert) -> tuple[Any, ...]:
        unmeasured = measured.isdisjoint(a.sources)
        return a.kind != "veto", -a.severity, unmeasured, SURENESS.index(a.how_sure), a.source, repr(a.says)

    once = _noticed_once(sorted(alerts, key=rank), scoring)
    return tuple(a for a in once if not any(_swallows(other, a, scoring) for other in once if other is not a))


def _noticed_once(ranked: Sequence[Alert], scoring: Scoring) -> list[Alert]:
    """Alerts of one fault together: the gravest stands, the others only say what else it rests on."""
    found: dict[Any, Alert] = {}
    for i, a in enumerate(ranked):
        alone = a.says.kind == CONTRADICTION or a.source not in {*scoring.alike, LISTENING}
        key = i if alone else (a.kind, _faults(a, scoring))
        if key in found:
            a = replace(found[key], sources=tuple(dict.fromkeys((*found[key].sources, *a.sources))))
        found[key] = a
    return list(found.values())


def _swallows(other: Alert, a: Alert, scoring: Scoring) -> bool:
    """Whether another alert rests on all that this one does: a stop beside a warning, or the graver of two stops."""
    if CONTRADICTION in (a.says.kind, other.says.kind) or (a.final and not other.final):
        return False
    mine, theirs = _faults(a, scoring), _faults(other, scoring)
    if a.kind == other.kind:
        return mine < theirs and other.severity > a.severity
    return other.kind == "veto" and mine <= theirs


def _faults(a: Alert, scoring: Scoring) -> frozenset[str]:
    """The faults that an alert names, whichever way each was noticed."""
    return frozenset(scoring.alike.get(said.subject, said.subject) for said in _signs(a.says))


def _signs(says: Statement) -> tuple[Statement, ...]:
    return next((tuple(v) for name, v in says.numbers if name == "signs"), (says,))


def alerts_from_points(views: Iterable[PointView], *, scoring: Scoring) -> list[Alert]:
    """Vetoes where a rule holds; else a warning where something structural or functional is bad."""
    found = []
    for view in (v for v in views if v.applies and v.checked):
        vetoes = _vetoes(view, scoring)
        found += vetoes or _warnings(view, scoring)
    return found


def _vetoes(view: PointView, scoring: Scoring) -> list[Alert]:
    rules = {
        rule.reason: rule for rule in view.point.vetoes for f in view.findings if holds(rule, f, view.point)
    }
    sure: HowSure = "possible" if view.worst > view.share else "seen"
    point = view.point.id
    return [
        Alert(
            kind="veto",
            says=_stop(why, view, scoring),
            how_sure=sure,
            confirm_by=rule.confirm_by,
            source=point,
            severity=rule.severity,
            final=rule.final or (rule.confirm_by == TECHNICIAN and view.by_technician),
        )
        for why, rule in rules.items()
    ]


def _stop(why: str, view: PointView, scoring: Scoring) -> Statement:
    """The reason that the checklist gives, with the figure where something was counted or measured."""
    if view.point.record not in MEASURED:
        return statement("stop.seen", view.point.id, reason=why)
    return statement("stop.measured", view.point.id, reason=why, found=found_at(view, scoring))


def _warnings(view: PointView, scoring: Scoring) -> list[Alert]:
    if view.point.nature in ("cosmetic", "information") or view.share < scoring.scale["warn_from_share"]:
        return []
    says = statement("warning.found", view.point.id, found=found_at(view, scoring))
    weight = max(view.point.aspects.values(), default=0.0)
    return [
        Alert(
            kind="warning",
            says=says,
            how_sure="seen",
            confirm_by=_who(view.point, scoring),
            source=view.point.id,
            severity=weight * view.share,
            final=view.by_technician,
        )
    ]


def _who(point: Point, scoring: Scoring) -> str:
    """Who can say more of what was found at a point."""
    usual = TECHNICIAN if point.nature == "structural" else "a second look"
    return str(scoring.who["confirm_by_area"].get(point.area, usual))


def alerts_from_listening(heard: Iterable[HeardKeys]) -> list[Alert]:
    """What the recording warns of; a possible veto where single strings have slipped everywhere."""
    found = []
    for h in heard:
        item, count = h.item, len(h.faulty)
        if item.veto_from is not None and count >= item.veto_from:
            found.append(_heard_alert("veto", h, "possible"))
        elif item.warn_from is not None and count >= item.warn_from:
            found.append(_heard_alert("warning", h, "likely"))
    return found


def _heard_alert(kind: AlertKind, h: HeardKeys, sure: HowSure) -> Alert:
    says = statement(f"heard.{h.item.key}.{kind}", h.item.key, count=len(h.faulty), keys=h.faulty)
    weight = 0.8 if kind == "veto" else max(h.item.aspects.values()) * h.shares[0]
    return Alert(
        kind=kind,
        says=says,
        how_sure=sure,
        confirm_by=h.item.confirm_by,
        source=LISTENING,
        severity=weight,
    )


def alerts_from_tuning(
    tuning: TuningState,
    survey: Survey | None,
    hidden: Statement | None,
    *,
    weak_strings: bool = False,
    scoring: Scoring,
) -> list[Alert]:
    """Low or high pitch, and what the tuning hides."""
    found = []
    flat = -(tuning.offset_cents or 0.0)
    if flat > scoring.money["pitch_raise_over_cents"]:
        found.append(_flat(tuning, flat, weak_strings, scoring))
    if -flat > scoring.money["sharp_over_cents"]:
        says = statement("warning.sharp", "pitch", cents=-flat)
        found.append(_warn(says, TECHNICIAN, tuning.offset_source, 0.3))
    if hidden is not None:
        says = statement("warning.hidden", "tuning", hidden=hidden)
        source = LISTENING if tuning.heard else "tuning-unisons"
        found.append(_warn(says, "a tuning and a second recording", source, 0.4))
    if survey is not None and survey.summary.reading == "doubtful":
        says = statement("warning.two readings", "recording")
        found.append(_warn(says, "whoever recorded it", LISTENING, 0.3))
    return found


def _flat(tuning: TuningState, flat: float, weak_strings: bool, scoring: Scoring) -> Alert:
    """A warning of low pitch: the further down, and the weaker the strings, the graver."""
    far = flat > scoring.money["ask_technician_over_cents"]
    kind = "flat, weak strings" if weak_strings else "far flat" if far else "flat"
    who = TECHNICIAN if weak_strings or far else "the tuner"
    says = statement(f"warning.{kind}", "pitch", cents=flat)
    return _warn(says, who, tuning.offset_source, min(0.6, flat / scoring.money["failed_pitch_cents"]))


def _warn(says: Statement, confirm_by: str, source: str, severity: float) -> Alert:
    return Alert(
        kind="warning",
        says=says,
        how_sure="likely",
        confirm_by=confirm_by,
        source=source,
        severity=severity,
    )
