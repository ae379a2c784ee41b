"""What a piano is worth by what like instruments were offered or sold for: the sales comparison approach.

Each price is brought over to the piano at hand step by step (asked to paid, age, condition, seller, warranty, tunings,
delivery), then the adjusted prices are put together, the surer ones counting for more: so are houses valued [appraisal],
on the ground that a price is the sum of what its parts are worth [rosen1974]. The sizes of the steps are common
practice, ``data/pricing.toml`` [practice].
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_DOWN, Decimal
from functools import cache
from importlib.resources import files
from math import sqrt
from typing import Any

import numpy as np

from pianolab.model import Comparable, Piano

DAYS_A_YEAR = 365.25
EIGHT_IN_TEN = 1.2816
"""So many standard deviations to either side hold 80 % of a normal distribution."""

STEPS = ("asked", "age", "condition", "seller", "warranty", "tunings", "delivery")
"""The adjustments, in the order in which they are made: what was paid first, then what was had for it."""


@dataclass(frozen=True, kw_only=True)
class Subject:
    """The piano at hand as the prices of others are brought over to it.

    ``age_years`` is None where nobody knows; ``looks`` is the score of its looks, 0 to 10; ``tuning`` and ``moving``
    are what one tuning and one move cost this buyer; ``on`` is the day of the valuation.
    """

    piano: Piano
    age_years: float | None
    looks: float
    tuning: float
    moving: float
    on: date


@dataclass(frozen=True, kw_only=True)
class Adjusted:
    """One price brought over: ``moves`` is each step's money by its name, ``spread`` how far ``amount`` may be off, as a share."""

    comparable: Comparable
    moves: dict[str, float]
    amount: float
    spread: float


@dataclass(frozen=True, kw_only=True)
class Worth:
    """What like instruments say: middle, ends of the middle 80 %, and how it was put together.

    ``start`` is the mean of the prices as they were seen, ``moves`` what each step adds on the mean (below 0: takes
    off), so that ``start`` and all moves together are ``mid``. ``apart`` says that even adjusted they are not of one
    sort.
    """

    low: float
    mid: float
    high: float
    start: float
    moves: dict[str, float]
    adjusted: tuple[Adjusted, ...]
    apart: bool


def usable(comparables: Iterable[Comparable], piano: Piano, *, on: date) -> tuple[Comparable, ...]:
    """Those that can stand beside a piano: of its kind and currency, looked up for it or for none, not too old."""
    oldest = load_pricing()["comparables"]["oldest_years"]
    return tuple(
        c
        for c in comparables
        if c.kind == piano.kind
        and c.currency == piano.currency
        and c.piano_id in (None, piano.id)
        and (c.seen_on is None or _years_ago(c.seen_on, on) <= oldest)
    )


def value(comparables: Sequence[Comparable], subject: Subject) -> Worth | None:
    """What a piano is worth in playing order; None where too few prices are known.

    A higher price of any of them never lowers it.

    Parameters
    ----------
    comparables : usable ones (`usable`), sound instruments of the same kind
    subject : the piano at hand

    Returns
    -------
    Worth or None

    Examples
    --------
    By hand: two pianos of the same age and condition as this one, sold by private sellers for 1,000 and 1,200; nothing
    is to be adjusted, both count alike.

    >>> like = [Comparable(price=p, age_years=40, condition="good", seller_kind="private", sold=True,
    ...                    seen_on=date(2026, 5, 1)) for p in (1000, 1200)]
    >>> mine = Subject(piano=Piano(name="A", seller_kind="private"), age_years=40, looks=7.0, tuning=120,
    ...                moving=250, on=date(2026, 5, 1))
    >>> worth = value(like, mine)
    >>> round(worth.mid), worth.moves["age"]
    (1100, 0.0)
    """
    rules = load_pricing()["comparables"]
    if len(comparables) < rules["least"]:
        return None
    adjusted = tuple(adjust(c, subject) for c in comparables)
    raw = [1.0 / a.spread**2 for a in adjusted]
    weights = [w / sum(raw) for w in raw]

    def mean(amounts: Iterable[float]) -> float:
        return sum(w * x for w, x in zip(weights, amounts, strict=True))

    mid = mean(a.amount for a in adjusted)
    off = mid * _how_far_off(adjusted, mid, sum(raw))
    amounts = [a.amount for a in adjusted]
    return Worth(
        low=max(mid - EIGHT_IN_TEN * off, 0.0),
        mid=mid,
        high=mid + EIGHT_IN_TEN * off,
        start=mean(float(c.price) for c in comparables),
        moves={step: mean(a.moves[step] for a in adjusted) for step in STEPS},
        adjusted=adjusted,
        apart=max(amounts) > rules["apart"] * min(amounts),
    )


def _how_far_off(adjusted: Sequence[Adjusted], mid: float, weight: float) -> float:
    """Standard error of the weighted mean as a share, widened where the prices scatter more than they should.

    By the ratio of Birge [birge1932]: the scatter about the mean over the scatter that the spreads foresee.
    """
    chi = sum(((a.amount / mid - 1.0) / a.spread) ** 2 for a in adjusted) / (len(adjusted) - 1)
    return sqrt(max(1.0, chi) / weight)


def adjust(comparable: Comparable, subject: Subject) -> Adjusted:
    """One price brought over to the piano at hand, step by step."""
    part = load_pricing()["comparables"]["part_of_an_adjustment"]
    amount, moves = float(comparable.price), dict.fromkeys(STEPS, 0.0)
    variance = sum(s**2 for s in _spreads(comparable, subject))
    for step, factor in _factors(comparable, subject):
        moves[step] = amount * (factor - 1.0)
        variance += (part * (factor - 1.0)) ** 2
        amount *= factor
    for step, money in _services(comparable, subject):
        # A service is never worth more than half of what it comes with.
        moves[step] = max(money, -0.5 * amount)
        amount += moves[step]
    return Adjusted(comparable=comparable, moves=moves, amount=amount, spread=sqrt(variance))


def _factors(c: Comparable, subject: Subject) -> Iterator[tuple[str, float]]:
    data = load_pricing()
    if not c.sold:
        part = 1.0 if c.sold is False else data["asked"]["unknown_part"]
        yield "asked", 1.0 - part * data["asked"][c.seller_kind or "private"]
    if c.age_years is not None and subject.age_years is not None:
        yield "age", worth_at_age(subject.age_years) / worth_at_age(c.age_years)
    yield "condition", condition_by_looks(subject.looks) / data["condition"][c.condition or "good"]
    yield "seller", _seller(subject.piano) / _seller(c)
    yield "warranty", _warranty(subject.piano, c) / _warranty(c, subject.piano)


def _seller(own: Piano | Comparable) -> float:
    """The factor of who sells; a dealer who gives no warranty answers for no more than a private seller."""
    sellers, kind = load_pricing()["seller"], own.seller_kind
    if kind is None:
        return sqrt(sellers["private"] * sellers["dealer"])
    return float(sellers["private" if own.warranty_years == 0 else kind])


def _warranty(own: Piano | Comparable, other: Piano | Comparable) -> float:
    """The factor of one side's warranty; a dealer's of unknown length counts as long as the other side's."""
    data, years = load_pricing()["warranty"], own.warranty_years
    if years is None:
        years = (other.warranty_years or 0.0) if own.seller_kind == "dealer" else 0.0
    return float(1.0 + data["a_year"] * min(years, data["most_years"]))


def _services(c: Comparable, subject: Subject) -> Iterator[tuple[str, float]]:
    """Money for what one price holds and the other doesn't; where nobody knows, nothing is moved."""
    mine, other = subject.piano.tunings_included, c.tunings_included
    if other or mine:
        yield "tunings", subject.tuning * ((mine or 0) - (other or 0))
    carried = (bool(subject.piano.delivery_included), bool(c.delivery_included))
    if carried[0] != carried[1]:
        yield "delivery", subject.moving if carried[0] else -subject.moving


def _spreads(c: Comparable, subject: Subject) -> Iterator[float]:
    """How far a price may be off for what is not known of it, as shares; one for all that nobody asks."""
    data = load_pricing()
    yield data["comparables"]["like_for_like"]
    yield 0.0 if c.sold is not None else data["asked"]["unknown"]
    yield 0.0 if None not in (c.age_years, subject.age_years) else data["age"]["unknown"]
    yield 0.0 if c.condition else data["condition"]["unknown"]
    yield 0.0 if c.seller_kind and subject.piano.seller_kind else data["seller"]["unknown"]
    yield data["warranty"]["unknown"] if _unsaid(c) != _unsaid(subject.piano) else 0.0
    when = data["when"]
    yield when["unknown"] if c.seen_on is None else _years_ago(c.seen_on, subject.on) * when["a_year"]
    yield data["where"]["elsewhere"] if _elsewhere(c, subject.piano) else 0.0


def _years_ago(seen: date, on: date) -> float:
    return max((on - seen).days, 0) / DAYS_A_YEAR


def _unsaid(own: Piano | Comparable) -> bool:
    return own.seller_kind == "dealer" and own.warranty_years is None


def _elsewhere(c: Comparable, piano: Piano) -> bool:
    """Whether a price was seen at another place than the piano's; where either is not known, nobody can say."""
    place, address = c.place.casefold(), piano.address.casefold()
    return bool(place and address) and place not in address


@cache
def load_pricing() -> Mapping[str, Any]:
    """The tables of the file by name.

    Examples
    --------
    >>> load_pricing()["comparables"]["least"]
    2
    """
    text = (files("pianolab.compare") / "data" / "pricing.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def worth_at_age(years: float) -> float:
    """What is left of a new instrument's price at an age, as a share, as far as age alone decides.

    Examples
    --------
    >>> round(worth_at_age(10), 2), worth_at_age(80) == worth_at_age(120)
    (0.67, True)
    """
    left, start = 0.0, 0.0
    for until, rate in zip(load_pricing()["age"]["until"], load_pricing()["age"]["a_year"], strict=True):
        left -= rate * max(0.0, min(years, until) - start)
        start = until
    return float(np.exp(left))


def condition_by_looks(score: float) -> float:
    """The factor of a piano's condition by the score of its looks, 0 to 10; better looks never lower it.

    Examples
    --------
    >>> condition_by_looks(7.0), condition_by_looks(3.0)
    (1.0, 0.82)
    """
    looks = load_pricing()["looks"]
    return float(np.interp(score, looks["score"], looks["condition"]))


def rounded(amount: float) -> Decimal:
    """An amount as one says it across a keyboard: rounded down to a step that grows with it, never below 0.

    Examples
    --------
    >>> rounded(487.0), rounded(3790.0), rounded(-3.0)
    (Decimal('480'), Decimal('3750'), Decimal('0'))
    """
    most = max(amount, 0.0)
    step = Decimal(next(step for until, step in load_pricing()["offer"]["step"] if most <= until))
    return (Decimal(str(round(most, 2))) / step).to_integral_value(ROUND_DOWN) * step
