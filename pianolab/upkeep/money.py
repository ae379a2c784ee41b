"""What a piano costs over the years it is wanted for, what that is a year, and beside hiring one or buying a new one.

Every line is drawn: the jobs as in `pianolab.assess.simulate_repairs`, tunings and prices within their ranges, the
renewal of a part where it wears out before the years are over. Amounts of a year are those of an even series of
payments with the same present value (capital recovery; textbook, from memory): without interest, the total divided by
the years.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from importlib.resources import files
from math import prod
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from pianolab.assess.assessment import RepairEstimate
from pianolab.assess.price_list import PriceList
from pianolab.assess.repairs import simulate_both, simulate_repairs, triangular
from pianolab.checklist.points import JobKind
from pianolab.errors import BadInput
from pianolab.model import Buyer, Piano
from pianolab.upkeep.life import Life
from pianolab.upkeep.over_years import MoneyLine, MoneyOverYears, MoneyPlans, MoneySpan

DRAWS = 5_000
CLIMATE = "climate care"
Array = NDArray[np.float64]


def money_over_years(
    piano: Piano,
    repairs: RepairEstimate,
    *,
    profile: Buyer,
    prices: PriceList,
    life: Life | None = None,
    plans: MoneyPlans | None = None,
    seed: int = 0,
) -> MoneyOverYears:
    """All the money that a piano takes over the years of use, and what that is a year.

    Parameters
    ----------
    piano : the instrument with its asking price
    repairs : its jobs; only those needed for use and safety are counted
    profile : the buyer: years of use (1 to 100), moving cost, currency
    prices : what tunings, renewals and the care of the air cost
    life : how long its parts may last (`remaining_life`); None: their wear is not counted, and that is said
    plans : figures of the buyer's own for a sale, for hiring, for a new piano; what is not entered is not counted
    seed : int; the same seed gives the same result

    Returns
    -------
    MoneyOverYears, in the price list's currency; everything in it is an estimate

    Raises
    ------
    BadInput
        For amounts in different currencies or years of use under one.

    Examples
    --------
    >>> from pianolab.assess import load_prices
    >>> from pianolab.assess.repairs import estimate
    >>> nothing = estimate((), currency="EUR", seed=0, draws=100)
    >>> buyer = Buyer(name="B", years_of_use=10)
    >>> cost = money_over_years(Piano(name="A", asking_price=Decimal(2000)), nothing, profile=buyer, prices=load_prices())
    >>> bool(200 + 0.9 * 90 <= cost.a_year.low <= cost.a_year.high <= 200 + 0.9 * 2 * 170)
    True
    """
    _check(piano, repairs, profile, prices)
    own = plans or MoneyPlans()
    draws = _Draws(piano, repairs, profile, prices, np.random.default_rng(seed), own.interest or 0.0)
    later = [draws.tunings(), draws.air()]
    flows = [
        *draws.first(),
        *later,
        *(draws.wear(part.part, part.years) for part in (life.parts if life else ())),
    ]
    if own.resale is not None:
        flows.append(draws.resale(own.resale))
    lines = [draws.line(flow) for flow in flows]
    wishes = draws.wishes()
    kept = [flow for flow in flows if flow.now is not None]
    known = piano.asking_price is not None
    a_year = draws.a_year(kept) if known else None
    new = draws.new_one(own, later) if own.new_price is not None else None
    hire = 12 * own.hire_a_month if own.hire_a_month is not None else None
    return MoneyOverYears(
        piano=piano.name,
        lines=tuple(lines if wishes is None else [*lines, wishes]),
        total=span(_added(kept, "plain")) if known else None,
        years=profile.years_of_use,
        currency=prices.currency,
        a_year=None if a_year is None else span(a_year),
        why_unknown="" if known else "no price is asked yet",
        hire_a_year=hire,
        new_a_year=None if new is None else span(new),
        below_hire=_share_below(a_year, None if hire is None else np.float64(hire)),
        below_new=_share_below(a_year, new),
        plans=own,
        wear_counted=life is not None,
        origin=prices.origin(),
        locale=profile.locale,
    )


def _check(piano: Piano, repairs: RepairEstimate, profile: Buyer, prices: PriceList) -> None:
    currencies = {piano.currency, repairs.currency, profile.currency, prices.currency}
    if len(currencies) > 1:
        need = "one currency for price, repairs and budget"
        raise BadInput("currency", ", ".join(sorted(currencies)), need)
    if not 1 <= profile.years_of_use <= 100:
        raise BadInput("years_of_use", profile.years_of_use, "1 to 100 years")


def span(values: Array) -> MoneySpan:
    """The 10, 50 and 90 % points of the draws."""
    low, middle, high = (Decimal(round(float(q))) for q in np.percentile(values, (10, 50, 90)))
    return MoneySpan(low=low, middle=middle, high=high)


def _share_below(a_year: Array | None, other: Array | np.float64 | None) -> float | None:
    return None if a_year is None or other is None else float(np.mean(a_year < other))


@dataclass(frozen=True, eq=False)
class _Flow:
    """One line in all draws: the plain sum, and what it is worth today; None, with a reason, where not known."""

    kind: str
    plain: Array | None
    now: Array | None
    what: str = ""
    why: str = ""


def _added(flows: Iterable[_Flow], what: Literal["plain", "now"]) -> Array:
    """The sum of all lines that are known."""
    known = [flow.plain if what == "plain" else flow.now for flow in flows]
    return np.sum([amount for amount in known if amount is not None] or [np.zeros(DRAWS)], axis=0)


@dataclass(frozen=True, eq=False)
class _Draws:
    """The sums of one piano, line by line, in ``DRAWS`` draws."""

    piano: Piano
    repairs: RepairEstimate
    profile: Buyer
    prices: PriceList
    rng: np.random.Generator
    interest: float

    def first(self) -> list[_Flow]:
        """What is paid at the beginning: price, the way home, needed work, what settling in takes."""
        asked = self.piano.asking_price
        low, high = (float(m) for m in self.profile.moving_cost)
        moved = np.zeros(DRAWS) if self.piano.delivery_included else self.rng.uniform(low, high, DRAWS)
        price = None if asked is None else np.full(DRAWS, float(asked))
        return [
            _Flow("price", price, price, why="no price is asked yet" if asked is None else ""),
            self._at_first("way home", moved + self._jobs("carrying")),
            self._at_first("work", self._jobs("work")),
            self._at_first("settling in", self._jobs("settling in")),
        ]

    def _at_first(self, kind: str, amount: Array) -> _Flow:
        return _Flow(kind, amount, amount)

    def _jobs(self, kind: JobKind) -> Array:
        mine = [job for job in self.repairs.jobs if job.kind == kind]
        return simulate_repairs(mine, draws=DRAWS, rng=self.rng, need="needed")

    def _price(self, job: str) -> Array | None:
        """Draws of what a job costs on this kind of piano; None where the list has no price for it."""
        if job not in self.prices.jobs:
            return None
        p = self.prices[job].for_kind(self.piano.kind)
        return triangular(self.rng.random(DRAWS), float(p.low), float(p.usual), float(p.high))

    def _each_year(self, kind: str, job: str, times: Array | float, years: float, *, what: str = "") -> _Flow:
        price = self._price(job)
        if price is None:
            return _Flow(kind, None, None, what, f"no price for {job!r} in {self.prices.origin()}")
        return _Flow(kind, years * times * price, present_value(years, self.interest) * times * price, what)

    def tunings(self) -> _Flow:
        """Those of each year after the first."""
        few, many = _data()["tunings_a_year"]
        times = self.rng.uniform(few, many, DRAWS)
        return self._each_year("tunings", "tuning", times, self.profile.years_of_use - 1.0)

    def air(self) -> _Flow:
        """What it takes a year to keep the air steady, where that is needed or may turn out so."""
        chance = max((job.chance for job in self.repairs.jobs if job.job == CLIMATE), default=0.0)
        needed = (self.rng.random(DRAWS) < chance).astype(float)
        return self._each_year("air", _data()["running"][CLIMATE], needed, self.profile.years_of_use)

    def wear(self, part: str, years: tuple[float, float] | None) -> _Flow:
        """The renewal of a part that wears out before the years are over, unless the first work renews it."""
        job = _data()["wear"][part]
        price = self._price(job)
        if price is None:
            return _Flow("wear", None, None, part, f"no price for {job!r} in {self.prices.origin()}")
        ends = self.rng.uniform(*(years or (0.0, self.profile.years_of_use)), DRAWS)
        due = ends < self.profile.years_of_use
        if years is None:
            due &= self.rng.random(DRAWS) < _data()["wear_chance_unknown"]
        due &= self.rng.random(DRAWS) < self._not_renewed(job)
        why = "how long it lasts is not known" if years is None else ""
        return _Flow("wear", due * price, due * price * (1.0 + self.interest) ** -ends, part, why)

    def _not_renewed(self, job: str) -> float:
        forced = [j.forced for j in self.repairs.jobs if j.job == job or job in j.includes]
        return prod(1.0 - j.chance for j in forced if j is not None)

    def resale(self, share: tuple[float, float]) -> _Flow:
        """What a sale at the end brings back."""
        asked = self.piano.asking_price
        if asked is None:
            return _Flow("resale", None, None, why="no price is asked yet")
        back = -float(asked) * self.rng.uniform(*share, DRAWS)
        return _Flow("resale", back, back * (1.0 + self.interest) ** -self.profile.years_of_use)

    def new_one(self, plans: MoneyPlans, later: list[_Flow]) -> Array:
        """A year with a new piano: its price and settling in, the same tunings and air, nothing worn out."""
        assert plans.new_price is not None
        low, high = (float(m) for m in self.profile.moving_cost)
        now = float(plans.new_price) + self.rng.uniform(low, high, DRAWS) + self._jobs("settling in")
        now = now + _added(later, "now")
        if plans.new_resale is not None:
            back = float(plans.new_price) * self.rng.uniform(*plans.new_resale, DRAWS)
            now = now - back * (1.0 + self.interest) ** -self.profile.years_of_use
        return now / present_value(self.profile.years_of_use, self.interest)

    def a_year(self, flows: list[_Flow]) -> Array:
        return _added(flows, "now") / present_value(self.profile.years_of_use, self.interest)

    def wishes(self) -> MoneyLine | None:
        """What could be done as well, in no sum: all jobs less those that are needed, in the same draws."""
        every, needed = simulate_both(self.repairs.jobs, draws=DRAWS, rng=self.rng)
        more = np.maximum(every - needed, 0.0)
        return MoneyLine(kind="wishes", total=span(more), counted=False) if np.any(more > 0) else None

    def line(self, flow: _Flow) -> MoneyLine:
        total = None if flow.plain is None else span(flow.plain)
        return MoneyLine(kind=flow.kind, total=total, what=flow.what, why=flow.why)


def present_value(years: float, interest: float) -> float:
    """What one payment at the end of each year is worth today.

    Parameters
    ----------
    years : how many years it is paid
    interest : what money earns a year, 0.1 for 10 %

    Examples
    --------
    >>> present_value(10, 0.0)
    10.0
    >>> round(1 / present_value(5, 0.10), 4)  # capital recovery at 10 % over 5 years
    0.2638
    """
    return float(years) if interest == 0.0 else (1.0 - (1.0 + interest) ** -years) / interest


@cache
def _data() -> Mapping[str, Any]:
    text = (files("pianolab.upkeep") / "data" / "money.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)
