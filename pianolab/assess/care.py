"""The first year at home as a plan: climate, tunings, lid, the new room, and when a technician has to come."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache
from importlib.resources import files
from typing import Any

from pianolab.acoustics.results import Survey
from pianolab.assess.findings import PointView, keys_in_words, lower_first, sentence, view_point
from pianolab.assess.rules import holds as rule_holds
from pianolab.assess.scoring import Scoring, load_scoring
from pianolab.assess.tuning_state import tuning_state
from pianolab.checklist import Checklist, load_checklist
from pianolab.errors import BadInput
from pianolab.model import BuyerProfile, Finding, Piano
from pianolab.rooms import predict_room
from pianolab.show import Row, Showable

DRY_PERCENT, DAMP_PERCENT = 38.0, 60.0
"""Air at home that needs doing something about; common practice."""
CHANGE_PERCENT = 15.0
"""Difference of humidity between the old room and the new one that is worth a step; own estimate."""
LIVELY_S = 0.8
"""Reverberation time at home from which a piano sounds hard there; own estimate."""
RESTRUNG_YEARS = 2
MENDED_LATER = ("Hammers", "Dampers", "Keys", "Action and touch", "Pedals", "Each key once")
"""Areas of the checklist whose faults wait until the piano has settled."""
BAD_SHARE, SMALL_SHARE = 0.6, 0.2
CAUTION = (
    "A plan from common practice, made from what was found and heard. Where your technician, tuner or mover says "
    "otherwise after looking at this piano, follow them."
)


@dataclass(frozen=True, kw_only=True)
class CareStep:
    """One step: when (weeks from the delivery, first and last), what, why, who, and how it is backed."""

    id: str
    weeks: tuple[int, int]
    what: str
    why: str
    who: str
    source: str

    @property
    def when(self) -> str:
        first, last = self.weeks
        if first <= 0 and last >= 52:
            return "all year" if first == 0 else "before it comes, and all year"
        if last < 0:
            return "before it comes"
        if first == last == 0:
            return "on the day it comes"
        if first < 0:
            return f"before it comes, until week {last}"
        return f"weeks {first} to {last}"

    def dates(self, delivery: date) -> tuple[date, date]:
        """First and last day of the step."""
        first, last = (delivery + timedelta(weeks=w) for w in self.weeks)
        return first, last


@dataclass(frozen=True, kw_only=True, repr=False)
class CarePlan(Showable):
    """The first year with one piano, in the order in which things come up.

    ``unknown`` says what the plan could not take into account, because nobody looked or recorded.
    """

    piano: str
    steps: tuple[CareStep, ...]
    unknown: tuple[str, ...] = ()
    delivery: date | None = None
    caution: str = CAUTION
    header = ("when", "what", "why", "who", "days")

    def step(self, name: str) -> CareStep | None:
        """The step of that id, or None where the plan doesn't have it."""
        return next((s for s in self.steps if s.id == name), None)

    def headline(self) -> str:
        tunings = sum("tuning" in s.id or "raise" in s.id for s in self.steps if s.who == "a tuner")
        return f"the first year with {self.piano}: {len(self.steps)} steps, {tunings} of them for the tuner"

    def rows(self) -> list[Row]:
        rows: list[Row] = [(s.when, s.what, s.why, s.who, self._days(s)) for s in self.steps]
        rows += [("", "not known when this was made", text, "", "") for text in self.unknown]
        return [*rows, ("", "caution", self.caution, "", "")]

    def _days(self, step: CareStep) -> str:
        if self.delivery is None:
            return ""
        first, last = step.dates(self.delivery)
        return first.isoformat() if first == last else f"{first.isoformat()} to {last.isoformat()}"


def care_plan(
    piano: Piano,
    findings: Iterable[Finding],
    *,
    survey: Survey | None = None,
    profile: BuyerProfile | None = None,
    holds: bool | None = None,
    delivery: date | None = None,
    restrung: int | None = None,
    checklist: Checklist | None = None,
) -> CarePlan:
    """A plan for the first year at home.

    Parameters
    ----------
    piano : the instrument
    findings : what was found at the checklist's points, humidity here and at home among them
    survey : what was heard: pitch, and strings that stand far out
    profile : the buyer; their home room decides what is said of its sound
    holds : whether it has been shown to hold its tuning, by two recordings or the tuner; None: by the finding
        at ``tuning-held``, else not known
    delivery : day it comes home, for days beside the weeks; None: not known yet
    restrung : year in which it got new strings, or None; needs ``delivery``
    checklist : the points; None: those that come with pianolab

    Returns
    -------
    CarePlan

    Raises
    ------
    BadInput
        For a year of new strings after the delivery, or without one.

    Examples
    --------
    >>> plan = care_plan(Piano(name="Mill Lane grand", kind="grand"), [])
    >>> plan.steps[0].id, plan.step("lid grand").when
    ('check humidity', 'all year')
    """
    points = checklist or load_checklist()
    scoring = load_scoring()
    found = tuple(findings)
    views = {p.id: view_point(p, found, scoring=scoring) for p in points.for_piano(piano)}
    views = {name: v for name, v in views.items() if v.applies}
    facts, words = _facts(piano, views, survey, profile, holds, scoring)
    facts["restrung"] = _newly_strung(restrung, delivery)
    steps = [_step(raw, words) for raw in _table() if _applies(raw["if"], facts)]
    return CarePlan(
        piano=piano.name,
        steps=tuple(sorted(steps, key=lambda s: (s.weeks[1] >= 52, *s.weeks))),
        unknown=_unknown(facts, survey, profile),
        delivery=delivery,
    )


def _newly_strung(restrung: int | None, delivery: date | None) -> bool:
    if restrung is None:
        return False
    if delivery is None:
        raise BadInput(
            "delivery", "nothing", "the day it comes home, to tell how old the strings are by then"
        )
    if restrung > delivery.year:
        raise BadInput("restrung", restrung, f"{delivery.year} or earlier")
    return delivery.year - restrung <= RESTRUNG_YEARS


@cache
def _table() -> tuple[dict[str, Any], ...]:
    text = (files("pianolab.assess") / "data" / "care.toml").read_text(encoding="utf-8")
    return tuple(tomllib.loads(text)["step"])


def _applies(conditions: Iterable[str], facts: Mapping[str, bool]) -> bool:
    for condition in conditions:
        name = condition.removeprefix("not ")
        if facts[name] == condition.startswith("not "):
            return False
    return True


def _step(raw: Mapping[str, Any], words: Mapping[str, Any]) -> CareStep:
    first, last = raw["weeks"]
    return CareStep(
        id=raw["id"],
        weeks=(first, last),
        what=raw["what"].format_map(words),
        why=raw["why"].format_map(words),
        who=raw["who"],
        source=raw["source"],
    )


def _facts(
    piano: Piano,
    views: Mapping[str, PointView],
    survey: Survey | None,
    profile: BuyerProfile | None,
    holds: bool | None,
    scoring: Scoring,
) -> tuple[dict[str, bool], dict[str, Any]]:
    """What holds of this piano, and the words and figures that the steps name."""
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
        f"One string stood far out at {keys_in_words(state.slipped)}."
        if state.slipped
        else "Single strings stood far out at the visit."
    )
    words = {
        "flat": flat,
        "sharp": -flat,
        "weak_words": f", and {lower_first(sentence(weak[0], scoring))}" if weak else "",
        "slipping_words": slipped,
        "tuning_state": " It was out of tune at the visit already." if state.neglected else "",
    }
    return facts, words


def _bad(views: Mapping[str, PointView], point: str, share: float = BAD_SHARE) -> bool:
    view = views.get(point)
    return view is not None and view.checked and view.share >= share


def _state(views: Mapping[str, PointView], scoring: Scoring) -> tuple[dict[str, bool], dict[str, Any]]:
    def said(*points: str, share: float) -> list[str]:
        return [lower_first(sentence(views[p], scoring)) for p in points if _bad(views, p, share)]

    castors = said("case-castors", "case-legs", share=BAD_SHARE)
    moth = said("hammers-moth", "case-pests", share=SMALL_SHARE)
    prop = said("case-prop", "case-hinges", share=BAD_SHARE)
    small = [
        lower_first(v.point.title)
        for v in views.values()
        if v.checked and v.point.area in MENDED_LATER and v.share >= SMALL_SHARE
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


def _home(profile: BuyerProfile | None) -> tuple[dict[str, bool], dict[str, Any]]:
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


def _unknown(
    facts: Mapping[str, bool], survey: Survey | None, profile: BuyerProfile | None
) -> tuple[str, ...]:
    said = []
    if facts["pitch unknown"]:
        said.append("the pitch: nobody measured it, so a pitch raise may come on top of the first tuning")
    if survey is None:
        said.append("what a recording of every key would tell: there is none")
    if facts["home humidity unknown"]:
        said.append("the air at home")
    if facts["home room unknown"]:
        why = "nobody said who it is for" if profile is None else "the size of the room is not known"
        said.append(f"how it will sound at home: {why}")
    return tuple(said)
