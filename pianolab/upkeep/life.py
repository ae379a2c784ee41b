"""How long strings, hammers, pins and dampers may still last: ranges, and unknown where nobody looked.

Age alone is no fault. What was seen decides; age trims the upper half of that range, and the lower as far as the part
tires without showing it, as wire and the grip of pins do. Where nothing was seen, age alone leaves everything from no
time to the rest of the usual life; and where a part is older than such parts usually last, it has been renewed or it is
worn, and only looking tells which. Bad air shortens the usual life of all of them.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np

from pianolab.assess.findings import PointView, found_at, view_point
from pianolab.assess.scoring import Scoring, load_scoring
from pianolab.checklist import Checklist, load_checklist
from pianolab.errors import BadInput
from pianolab.model import Buyer, Finding, Piano
from pianolab.show import Row, Showable
from pianolab.statements import Statement, statement
from pianolab.words import Told, lower_first, say

Range = tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class PartLife(Told):
    """Years that one part may still last, low and high; None, with ``why_not``, where nothing tells.

    ``rests_on`` says what it rests on, ``source`` where the usual life comes from, ``ends`` what its end is like;
    ``by_age`` marks a range that rests on age alone.
    """

    part: str
    title: str
    years: Range | None
    source: str
    ends: str
    rests_on: Statement | None = None
    why_not: Statement | None = None
    by_age: bool = False

    @property
    def basis(self) -> str:
        return say(self.rests_on)

    @property
    def why_unknown(self) -> str:
        return say(self.why_not)

    def lasts(self, years_of_use: float) -> str:
        """``yes``, ``no``, ``perhaps`` or ``unknown``: whether it lasts as long as the buyer plans.

        By age alone it is never more than ``perhaps``, neither for better nor for worse.
        """
        if self.years is None:
            return "unknown"
        if self.by_age:
            return "perhaps"
        if self.years[0] >= years_of_use:
            return "yes"
        return "no" if self.years[1] < years_of_use else "perhaps"

    def says(self, years_of_use: float) -> Statement:
        """The same with the range, and what it rests on."""
        if self.years is None:
            return statement("life.unknown", self.part, title=self.title, why=self.why_not)
        low, high = self.years
        left = statement("life.left about" if round(low) == round(high) else "life.left", low=low, high=high)
        values: dict[str, Any] = {"title": self.title, "planned": years_of_use, "left": left}
        return statement(f"life.{self.lasts(years_of_use)}", self.part, **values, basis=self.rests_on)

    def sentence(self, years_of_use: float) -> str:
        return say(self.says(years_of_use))


@dataclass(frozen=True, kw_only=True, repr=False)
class Life(Showable):
    """Remaining life of all parts that wear out, held against the years a buyer plans."""

    parts: tuple[PartLife, ...]
    years_of_use: float
    hours_per_week: Range
    note: str = "estimates from common practice; a technician who looks inside knows better"
    header = ("part", "years from", "years to", "lasts", "rests on", "source")

    def part(self, name: str) -> PartLife:
        return next(p for p in self.parts if p.part == name)

    @property
    def sentences(self) -> tuple[str, ...]:
        return tuple(p.sentence(self.years_of_use) for p in self.parts)

    def headline(self) -> str:
        sure = [p.title for p in self.parts if p.lasts(self.years_of_use) == "yes"]
        short = [p.title for p in self.parts if p.lasts(self.years_of_use) == "no"]
        said = [f"{', '.join(sure)} should last {self.years_of_use:g} years"] if sure else []
        said += [f"{', '.join(short)} will hardly do so"] if short else []
        rest = len(self.parts) - len(sure) - len(short)
        said += [f"open or unknown: {rest} of {len(self.parts)} parts"] if rest else []
        return "; ".join(said)

    def rows(self) -> list[Row]:
        return [
            (
                p.title,
                *(p.years or (None, None)),
                p.lasts(self.years_of_use),
                p.basis or p.why_unknown,
                p.source,
            )
            for p in self.parts
        ]

    def shown(self) -> list[Row]:
        return [tuple(f"{c:.0f}" if isinstance(c, float) else c for c in row) for row in self.rows()]


@dataclass(frozen=True, kw_only=True)
class PartRule:
    """One part of ``data/life.toml``."""

    title: str
    years: Range
    use: float
    ages: float
    source: str
    looked_at: tuple[str, ...]
    enough: str
    worsened_by: tuple[str, ...]
    ends: str
    age_points: tuple[str, ...] = ()


@cache
def _rules() -> tuple[dict[str, PartRule], dict[str, Any]]:
    data = tomllib.loads((files("pianolab.upkeep") / "data" / "life.toml").read_text(encoding="utf-8"))
    parts = {}
    for name, raw in data.pop("part").items():
        values: dict[str, Any] = {k: tuple(v) if isinstance(v, list) else v for k, v in raw.items()}
        parts[name] = PartRule(**values)
    return parts, data


def remaining_life(
    piano: Piano,
    findings: Iterable[Finding],
    *,
    profile: Buyer | None,
    year: int,
    replaced: Mapping[str, int] | None = None,
    checklist: Checklist | None = None,
) -> Life:
    """How long each part that wears out may still last.

    Parameters
    ----------
    piano : its year of building is used where nothing was seen
    findings : what was found at the checklist's points
    profile : the buyer: level (how much is played) and years of use; None: 10 years, unknown playing
    year : the present year
    replaced : year in which a part (``strings``, ``bass strings``, ``hammers``, ``pins``, ``dampers``) was
        renewed, as an invoice says
    checklist : the points; None: those that come with pianolab

    Raises
    ------
    BadInput
        For a year before the piano was built, a part there isn't, or a renewal in the future.

    Notes
    -----
    Usual life and what a state leaves of it stand in ``data/life.toml``, all of it [practice].

    Examples
    --------
    >>> worn = [Finding(visit_id="v", point="hammers-grooves", grade=2), Finding(visit_id="v", point="hammers-felt", grade=3)]
    >>> life = remaining_life(Piano(name="A", year=1978), worn, profile=None, year=2026)
    >>> life.part("hammers").lasts(30), life.part("dampers").years, life.part("dampers").lasts(50)
    ('no', (0.0, 17.0), 'perhaps')
    """
    rules, settings = _rules()
    renewed = dict(replaced or {})
    _check(piano, renewed, year, rules)
    points = checklist or load_checklist()
    scoring = load_scoring()
    found = tuple(findings)
    hours = _hours(profile, settings["hours_per_week"])
    parts = []
    for name, rule in rules.items():
        views = {
            p.id: view_point(p, found, scoring=scoring)
            for p in points.for_piano(piano)
            if p.id in (*rule.looked_at, *rule.worsened_by)
        }
        age, told = _age(rule, piano, found, renewed.get(name), year)
        usual = _in_air(_usual(rule, hours, settings), piano, found, settings["air"])
        parts.append(_part(name, rule, views, usual, age, told, settings["left"], scoring))
    return Life(
        parts=tuple(parts),
        years_of_use=profile.years_of_use if profile is not None else 10.0,
        hours_per_week=hours,
    )


def _check(piano: Piano, renewed: Mapping[str, int], year: int, rules: Mapping[str, PartRule]) -> None:
    if piano.year is not None and year < piano.year:
        raise BadInput("year", year, f"{piano.year} or later, when {piano.name} was built")
    for part, when in renewed.items():
        if part not in rules:
            raise BadInput("replaced", repr(part), "one of " + ", ".join(rules))
        if not (piano.year or 1700) <= when <= year:
            raise BadInput(f"replaced {part}", when, f"a year from {piano.year or 1700} to {year}")


def _hours(profile: Buyer | None, table: Mapping[str, list[float]]) -> Range:
    words = profile.level.lower() if profile is not None else ""
    ranges = [table[word] for word in table if word in words] or [table["unknown"]]
    return min(r[0] for r in ranges), max(r[1] for r in ranges)


def _usual(rule: PartRule, hours: Range, settings: Mapping[str, Any]) -> Range:
    """Usual life for this much playing."""
    most = float(settings["longest_factor"])
    short, long = (min(most, (settings["usual_hours_per_week"] / h) ** rule.use) for h in hours[::-1])
    return rule.years[0] * short, rule.years[1] * long


def _in_air(usual: Range, piano: Piano, findings: tuple[Finding, ...], air: Mapping[str, Any]) -> Range:
    """The same where it stood: what is not known of that takes nothing, as the range is wide already."""
    told = [air["kind"][piano.storage_kind]] if piano.storage_kind in air["kind"] else []
    told += [air["grade"][f.grade - 1] for f in findings if f.point == air["point"] and f.grade is not None]
    left = min(told, default=1.0)
    return usual[0] * left, usual[1] * left


def _age(
    rule: PartRule, piano: Piano, findings: tuple[Finding, ...], renewed: int | None, year: int
) -> tuple[float | None, Statement | None]:
    """Age of a part, and how it is known."""
    if renewed is not None:
        return float(year - renewed), statement("life.renewed", year=renewed)
    for point in (*rule.age_points, "papers-age"):
        ages = [f.reading for f in findings if f.point == point and f.reading is not None]
        if ages and (point != "papers-age" or piano.year is None):
            return max(ages), statement("life.said to be", point, years=max(ages))
    if piano.year is not None:
        return float(year - piano.year), statement("life.old", years=year - piano.year)
    return None, None


def _part(
    name: str,
    rule: PartRule,
    views: Mapping[str, PointView],
    usual: Range,
    age: float | None,
    told: Statement | None,
    left: Mapping[str, list[float]],
    scoring: Scoring,
) -> PartLife:
    years: Range | None = None
    rests_on, why_not = None, None
    state = _state(rule, views)
    if state is not None:
        best, worst, missing = state
        low = usual[0] * float(np.interp(worst, left["share"], left["low"]))
        high = usual[1] * float(np.interp(best, left["share"], left["high"]))
        years = (low, high) if age is None else _aged((low, high), usual, age, rule.ages)
        rests_on = _basis(rule, views, missing, scoring)
    elif age is not None and age < usual[1]:
        years, rests_on = (0.0, usual[1] - age), statement("life.by age", told=told)
    else:
        why_not = _unknown(told)
    return PartLife(
        part=name,
        title=rule.title,
        years=years,
        rests_on=rests_on,
        source=rule.source,
        ends=rule.ends,
        why_not=why_not,
        by_age=state is None and years is not None,
    )


def _aged(left: Range, usual: Range, age: float, ages: float) -> Range:
    """What age leaves of a part that was looked at: it trims the upper half, and the lower where looks don't tell all."""
    low, high = left
    spent = max(0.0, low - max(0.0, usual[0] - age))
    return low - ages * spent, min(high, max(usual[1] - age, 0.5 * (low + high)))


def _state(rule: PartRule, views: Mapping[str, PointView]) -> tuple[float, float, list[str]] | None:
    """How bad at best, how bad at worst, and what of the points that tell it was not looked at."""
    tell = [views[p] for p in rule.looked_at if p in views and views[p].applies]
    seen = [v for v in tell if v.checked]
    if not seen:
        return None
    missing = [lower_first(v.point.title) for v in tell if not v.checked] if rule.enough == "all" else []
    also = [views[p] for p in rule.worsened_by if p in views and views[p].applies and views[p].checked]
    best = max(v.share for v in (*seen, *also))
    worst = 1.0 if missing else max(v.worst for v in (*seen, *also))
    return best, worst, missing


def _basis(rule: PartRule, views: Mapping[str, PointView], missing: list[str], scoring: Scoring) -> Statement:
    seen = [views[p] for p in (*rule.looked_at, *rule.worsened_by) if p in views and views[p].checked]
    telling = [v for v in seen if v.share > 0] or [v for v in seen if v.point.id in rule.looked_at]
    worst = max(telling, key=lambda v: (v.share, v.point.id in rule.looked_at, v.point.id))
    found = found_at(worst, scoring)
    if missing:
        return statement("life.seen in part", worst.point.id, found=found, missing=tuple(missing))
    return statement("life.seen", worst.point.id, found=found)


def _unknown(told: Statement | None) -> Statement:
    return statement("life.nothing known") if told is None else statement("life.older than usual", told=told)
