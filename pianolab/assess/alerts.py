"""Vetoes and warnings: what stands above all weights, how sure it is, and who can confirm it."""

from __future__ import annotations

from collections.abc import Iterable

from pianolab.acoustics.results import Survey
from pianolab.assess.findings import PointView, found_at
from pianolab.assess.listening import Heard
from pianolab.assess.results import Alert, AlertKind, HowSure
from pianolab.assess.rules import holds
from pianolab.assess.scoring import Scoring
from pianolab.assess.tuning_state import TuningState
from pianolab.statements import Statement, as_written, statement

TECHNICIAN = "technician"


def alerts_from_points(views: Iterable[PointView], *, scoring: Scoring) -> list[Alert]:
    """Vetoes where a rule holds; else a warning where something structural or functional is bad."""
    found = []
    for view in (v for v in views if v.applies and v.checked):
        vetoes = _vetoes(view)
        found += vetoes or _warnings(view, scoring)
    return found


def _vetoes(view: PointView) -> list[Alert]:
    confirm_by = {
        rule.reason: rule.confirm_by
        for rule in view.point.vetoes
        for f in view.findings
        if holds(rule, f, view.point)
    }
    sure: HowSure = "possible" if view.worst > view.share else "seen"
    point = view.point.id
    return [
        Alert(kind="veto", says=as_written(why, point), how_sure=sure, confirm_by=who, source=point)
        for why, who in confirm_by.items()
    ]


def _warnings(view: PointView, scoring: Scoring) -> list[Alert]:
    if view.point.nature in ("cosmetic", "information") or view.share < scoring.scale["warn_from_share"]:
        return []
    who = TECHNICIAN if view.point.nature == "structural" else "a second look"
    says = statement("warning.found", view.point.id, found=found_at(view, scoring))
    return [Alert(kind="warning", says=says, how_sure="seen", confirm_by=who, source=view.point.id)]


def alerts_from_listening(heard: Iterable[Heard]) -> list[Alert]:
    """What the recording warns of; a possible veto where single strings have slipped everywhere."""
    found = []
    for h in heard:
        item, count = h.item, len(h.faulty)
        if item.veto_from is not None and count >= item.veto_from:
            found.append(_heard_alert("veto", h, "possible"))
        elif item.warn_from is not None and count >= item.warn_from:
            found.append(_heard_alert("warning", h, "likely"))
    return found


def _heard_alert(kind: AlertKind, h: Heard, sure: HowSure) -> Alert:
    says = statement(f"heard.{h.item.key}.{kind}", h.item.key, count=len(h.faulty), keys=h.faulty)
    return Alert(kind=kind, says=says, how_sure=sure, confirm_by=h.item.confirm_by, source="listening")


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
        ask = weak_strings or flat > scoring.money["ask_technician_over_cents"]
        kind = (
            "warning.flat"
            if not ask
            else "warning.flat, weak strings"
            if weak_strings
            else "warning.far flat"
        )
        found.append(_warn(statement(kind, "pitch", cents=flat), TECHNICIAN if ask else "the tuner"))
    if -flat > scoring.money["sharp_over_cents"]:
        found.append(_warn(statement("warning.sharp", "pitch", cents=-flat), TECHNICIAN))
    if hidden is not None:
        found.append(
            _warn(statement("warning.hidden", "tuning", hidden=hidden), "a tuning and a second recording")
        )
    if survey is not None and survey.summary.reading == "doubtful":
        found.append(_warn(statement("warning.two readings", "recording"), "whoever recorded it"))
    return found


def _warn(says: Statement, confirm_by: str) -> Alert:
    return Alert(kind="warning", says=says, how_sure="likely", confirm_by=confirm_by, source="listening")
