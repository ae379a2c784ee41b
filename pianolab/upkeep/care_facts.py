"""What decides which steps a care plan has: air, pitch, pins, state and room, each by its name in the table."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pianolab.acoustics.survey_result import Survey
from pianolab.assess.findings import PointView, found_at
from pianolab.assess.places import holds as rule_holds
from pianolab.assess.scoring import Scoring
from pianolab.assess.tuning_state import tuning_state
from pianolab.checklist import Point
from pianolab.model import Buyer, Piano
from pianolab.rooms import predict_room
from pianolab.words import keys_in_words, lower_first, say

DRY_PERCENT, DAMP_PERCENT = 38.0, 60.0
"""Air at home that needs doing something about; common practice."""
CHANGE_PERCENT = 15.0
"""Difference of humidity between the old room and the new one that is worth a step; own estimate."""
LIVELY_S = 0.8
"""Reverberation time at home from which a piano sounds hard there; own estimate."""
MENDED_LATER = ("Hammers", "Dampers", "Keys", "Action and touch", "Pedals", "Each key once")
"""Areas of the checklist whose faults wait until the piano has settled."""
MENDED_LATER_TOO = ("pedal-lyre",)
"""Points elsewhere that wait as well: the lyre is looked at with the legs, for safety, and is work on the pedals."""
BAD_SHARE, SMALL_SHARE = 0.6, 0.2


def care_facts(
    piano: Piano,
    views: Mapping[str, PointView],
    survey: Survey | None,
    *,
    profile: Buyer | None,
    holds: bool | None,
    scoring: Scoring,
) -> tuple[dict[str, bool], dict[str, Any]]:
    """What holds of this piano, and the words and figures that the steps name.

    The names of both are those that ``data/care.toml`` uses.
    """
    air, air_words = _air(views)
    pitch, pitch_words = _pitch(views, survey, scoring)
    state, state_words = _state(views, scoring)
    home, home_words = _home(profile)
    facts = {"grand": piano.kind == "grand", "holds": _held(views, holds), **air, **pitch, **state, **home}
    return facts, {**air_words, **pitch_words, **state_words, **home_words}


def _reading(views: Mapping[str, PointView], point: str) -> float | None:
    found = views[point].findings if point in views else ()
    readings = [f.reading for f in found if f.reading is not None]
    return sum(readings) / len(readings) if readings else None


def _air(views: Mapping[str, PointView]) -> tuple[dict[str, bool], dict[str, Any]]:
    home, here = _reading(views, "home-humidity"), _reading(views, "state-humidity")
    facts = {
        "home humidity unknown": home is None,
        "home dry": home is not None and home < DRY_PERCENT,
        "home damp": home is not None and home > DAMP_PERCENT,
        "air changes much": home is not None and here is not None and abs(home - here) >= CHANGE_PERCENT,
    }
    return facts, {"home_humidity": home, "showroom_humidity": here}


def _pitch(
    views: Mapping[str, PointView], survey: Survey | None, scoring: Scoring
) -> tuple[dict[str, bool], dict[str, Any]]:
    offset = survey.summary.offset_cents if survey is not None else None
    offset = _reading(views, "tuning-pitch") if offset is None else offset
    flat, money = -(offset or 0.0), scoring.money
    weak = [v for p in money["weak_string_points"] if (v := views.get(p)) and v.checked and v.share >= 0.3]
    state = tuning_state(survey, scoring=scoring)
    far = flat > money["ask_technician_over_cents"]
    facts = {
        "pitch unknown": offset is None,
        "flat": flat > money["pitch_raise_over_cents"],
        "far flat": far,
        "weak strings": bool(weak),
        "raise doubtful": far or bool(weak),
        "sharp": -flat > money["sharp_over_cents"],
        "slipping": bool(state.slipped) or _bad(views, "tuning-single", SMALL_SHARE),
    }
    slipped = (
        f"One string stood far out at {keys_in_words(state.slipped, most=4)}."
        if state.slipped
        else "Single strings stood far out at the visit."
    )
    words = {
        "flat": flat,
        "sharp": -flat,
        "weak_words": f", and {lower_first(say(found_at(weak[0], scoring)))}" if weak else "",
        "slipping_words": slipped,
        "tuning_state": " It was out of tune at the visit already." if state.neglected else "",
    }
    return facts, words


def _bad(views: Mapping[str, PointView], point: str, share: float = BAD_SHARE) -> bool:
    view = views.get(point)
    return view is not None and view.checked and view.share >= share


def _mended_later(point: Point) -> bool:
    return point.area in MENDED_LATER or point.id in MENDED_LATER_TOO


def _state(views: Mapping[str, PointView], scoring: Scoring) -> tuple[dict[str, bool], dict[str, Any]]:
    def said(*points: str, share: float) -> list[str]:
        return [lower_first(say(found_at(views[p], scoring))) for p in points if _bad(views, p, share)]

    castors = said("case-castors", "case-legs", share=BAD_SHARE)
    moth = said("hammers-moth", "case-pests", share=SMALL_SHARE)
    prop = said("case-prop", "case-hinges", share=BAD_SHARE)
    small = [
        lower_first(v.point.title)
        for v in views.values()
        if v.checked and _mended_later(v.point) and v.share >= SMALL_SHARE
    ]
    stopping = sorted(
        lower_first(rule.reason)
        for v in views.values()
        for rule in v.point.vetoes
        if rule.confirm_by == "technician" and any(rule_holds(rule, f, v.point) for f in v.findings)
    )
    facts = {
        "castors bad": bool(castors),
        "moth": bool(moth),
        "prop bad": bool(prop),
        "stopping doubt": bool(stopping),
    }
    named = f" Tell them of: {'; '.join(small[:5])}{' and more' if len(small) > 5 else ''}." if small else ""
    words = {
        "castors_found": "; ".join(castors),
        "moth_found": "; ".join(moth),
        "prop_found": "; ".join(prop),
        "stopping_words": "; ".join(stopping),
        "small_faults": named,
    }
    return facts, words


def _home(profile: Buyer | None) -> tuple[dict[str, bool], dict[str, Any]]:
    if profile is None:
        return {"home lively": False, "home room unknown": True}, {"home_t60": None}
    acoustics = predict_room(profile.home_room)
    if acoustics.t60_s is None:
        return {"home lively": False, "home room unknown": True}, {"home_t60": None}
    middle = acoustics.t60_s[acoustics.bands_hz.index(1000)].middle
    return {"home lively": middle >= LIVELY_S, "home room unknown": False}, {"home_t60": middle}


def _held(views: Mapping[str, PointView], holds: bool | None) -> bool:
    if holds is not None:
        return holds
    view = views.get("tuning-held")
    return view is not None and view.checked and view.worst == 0.0
