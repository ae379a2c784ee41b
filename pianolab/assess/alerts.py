"""Vetoes and warnings: what stands above all weights, how sure it is, and who can confirm it."""

from __future__ import annotations

from collections.abc import Iterable

from pianolab.acoustics.results import Survey
from pianolab.assess.findings import PointView, sentence
from pianolab.assess.listening import Heard
from pianolab.assess.results import Alert
from pianolab.assess.rules import holds
from pianolab.assess.scoring import Scoring
from pianolab.assess.tuning_state import TuningState
from pianolab.keyboard import keys_in_words

TECHNICIAN = "technician"


def alerts_from_points(views: Iterable[PointView], *, scoring: Scoring) -> list[Alert]:
    """Vetoes where a rule holds; else a warning where something structural or functional is bad."""
    found = []
    for view in (v for v in views if v.applies and v.checked):
        vetoes = _vetoes(view)
        found += vetoes or _warnings(view, scoring)
    return found


def _vetoes(view: PointView) -> list[Alert]:
    reasons = {
        rule.reason: rule.confirm_by
        for rule in view.point.vetoes
        for f in view.findings
        if holds(rule, f, view.point)
    }
    sure = "possible" if view.worst > view.share else "seen"
    return [
        Alert(kind="veto", text=reason, how_sure=sure, confirm_by=who, source=view.point.id)  # type: ignore[arg-type]
        for reason, who in reasons.items()
    ]


def _warnings(view: PointView, scoring: Scoring) -> list[Alert]:
    if view.point.nature in ("cosmetic", "information") or view.share < scoring.scale["warn_from_share"]:
        return []
    who = TECHNICIAN if view.point.nature == "structural" else "a second look"
    text = sentence(view, scoring)
    return [Alert(kind="warning", text=f"{text}.", how_sure="seen", confirm_by=who, source=view.point.id)]


def alerts_from_listening(heard: Iterable[Heard]) -> list[Alert]:
    """What the recording warns of; a possible veto where single strings have slipped everywhere."""
    found = []
    for h in heard:
        item, count = h.item, len(h.faulty)
        if item.veto_from is not None and count >= item.veto_from:
            found.append(_heard_alert("veto", item.veto, h, "possible"))
        elif item.warn_from is not None and count >= item.warn_from:
            found.append(_heard_alert("warning", item.warning, h, "likely"))
    return found


def _heard_alert(kind: str, template: str, h: Heard, sure: str) -> Alert:
    keys = keys_in_words(h.faulty)
    text = template.format(count=len(h.faulty), keys=keys)
    return Alert(kind=kind, text=text, how_sure=sure, confirm_by=h.item.confirm_by, source="listening")  # type: ignore[arg-type]


def alerts_from_tuning(
    state: TuningState, survey: Survey | None, hidden: str, *, weak_strings: bool = False, scoring: Scoring
) -> list[Alert]:
    """Low or high pitch, and what the tuning hides."""
    found = []
    flat = -(state.offset_cents or 0.0)
    if flat > scoring.money["pitch_raise_over_cents"]:
        ask = weak_strings or flat > scoring.money["ask_technician_over_cents"]
        text = _flat_words(flat, weak_strings=weak_strings, ask=ask)
        found.append(_warn(text, TECHNICIAN if ask else "the tuner"))
    if -flat > scoring.money["sharp_over_cents"]:
        text = f"The whole piano is {-flat:.0f} cents sharp: ask why, and have the load on the strings looked at."
        found.append(_warn(text, TECHNICIAN))
    if hidden:
        found.append(_warn(f"{hidden[:1].upper()}{hidden[1:]}.", "a tuning and a second recording"))
    if survey is not None and survey.summary.reading == "doubtful":
        text = "The recording may be read a semitone too high or too low; settle the first key before trusting the pitch."
        found.append(_warn(text, "whoever recorded it"))
    return found


def _flat_words(flat: float, *, weak_strings: bool, ask: bool) -> str:
    text = f"The whole piano is {flat:.0f} cents flat. That proves nothing about its pins, but raising it costs money"
    if not ask:
        return f"{text} and a second tuning soon after."
    why = ", all the more as they are old, rusty or spliced" if weak_strings else ""
    return (
        f"{text} and strings may break{why}: ask a technician whether to raise it at all or to tune it lower."
    )


def _warn(text: str, confirm_by: str) -> Alert:
    return Alert(kind="warning", text=text, how_sure="likely", confirm_by=confirm_by, source="listening")
