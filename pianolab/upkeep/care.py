"""The first year at home as a plan: climate, tunings, lid, the new room, and when a technician has to come."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache
from importlib.resources import files
from typing import Any

from pianolab.acoustics.survey_result import Survey
from pianolab.assess.findings import view_point
from pianolab.assess.scoring import load_scoring
from pianolab.checklist import Checklist, load_checklist
from pianolab.errors import BadInput
from pianolab.model import Buyer, Finding, Piano
from pianolab.show import Fields, Row, Showable
from pianolab.statements import Statement, statement
from pianolab.upkeep.care_facts import care_facts
from pianolab.words import say

TUNINGS = frozenset(("first tuning", "second tuning", "pitch raise", "after raise", "restrung tunings"))
"""Steps by their ids in which a tuner tunes."""
RESTRUNG_YEARS = 2
"""How long strings count as new; common practice."""
CAUTION = (
    "A plan from common practice, made from what was found and heard. Where your technician, tuner or mover says "
    "otherwise after looking at this piano, follow them."
)


@dataclass(frozen=True, kw_only=True)
class CareStep(Fields):
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

    ``not_known`` says what the plan could not take into account, because nobody looked or recorded.
    """

    piano: str
    steps: tuple[CareStep, ...]
    not_known: tuple[Statement, ...] = ()
    delivery: date | None = None
    caution: str = CAUTION
    header = ("when", "what", "why", "who", "days")

    @property
    def unknown(self) -> tuple[str, ...]:
        return tuple(say(what) for what in self.not_known)

    def step(self, name: str) -> CareStep | None:
        """The step of that id, or None where the plan doesn't have it."""
        return next((s for s in self.steps if s.id == name), None)

    def headline(self) -> str:
        tunings = sum(s.id in TUNINGS for s in self.steps)
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
    profile: Buyer | None = None,
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
    facts, words = care_facts(piano, views, survey, profile=profile, holds=holds, scoring=scoring)
    facts["restrung"] = _newly_strung(restrung, delivery)
    steps = [_step(raw, words) for raw in _table() if _applies(raw["if"], facts)]
    return CarePlan(
        piano=piano.name,
        steps=tuple(sorted(steps, key=lambda s: (s.weeks[1] >= 52, *s.weeks))),
        not_known=_unknown(facts, survey, profile),
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
    text = (files("pianolab.upkeep") / "data" / "care.toml").read_text(encoding="utf-8")
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


def _unknown(
    facts: Mapping[str, bool], survey: Survey | None, profile: Buyer | None
) -> tuple[Statement, ...]:
    room = "care.nobody named" if profile is None else "care.room unknown"
    missing = (
        ("care.pitch unknown", facts["pitch unknown"]),
        ("care.no recording", survey is None),
        ("care.home air unknown", facts["home humidity unknown"]),
        (room, facts["home room unknown"]),
    )
    return tuple(statement(kind) for kind, is_missing in missing if is_missing)
