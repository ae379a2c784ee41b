"""What a piano costs for each year of use: price, repairs, moving and tunings over the years it is wanted for."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

import numpy as np

from pianolab.assess.prices import PriceList
from pianolab.assess.repairs import simulate_repairs, triangular
from pianolab.assess.results import RepairEstimate
from pianolab.errors import BadInput
from pianolab.model import BuyerProfile, Piano
from pianolab.show import LOCALE, Row, Showable, money

TUNINGS_A_YEAR = (1, 2)
"""Tunings in each year after the first; common practice. The first year's stand among the repairs."""
DRAWS = 10_000


@dataclass(frozen=True, kw_only=True, repr=False)
class YearlyCost(Showable):
    """Cost of one year of use: 10, 50 and 90 % of the simulated cases lie under these; an estimate.

    None, with ``why_unknown``, where no price is asked yet.
    """

    low: Decimal | None
    middle: Decimal | None
    high: Decimal | None
    currency: str
    years: float
    why_unknown: str = ""
    locale: str = LOCALE
    note: str = "an estimate; without what wears out meanwhile and without what it may be sold for later"
    header = ("quantity", "low", "middle", "high", "unit", "note")

    def headline(self) -> str:
        if self.low is None or self.middle is None or self.high is None:
            return f"cost of a year of use not known: {self.why_unknown}"
        low, middle, high = (
            money(a, self.currency, locale=self.locale) for a in (self.low, self.middle, self.high)
        )
        return f"about {middle} a year over {self.years:g} years ({low} to {high}; {self.note})"

    def rows(self) -> list[Row]:
        unit = f"{self.currency} a year"
        return [
            ("cost of a year of use", self.low, self.middle, self.high, unit, self.why_unknown or self.note)
        ]


def cost_per_year(
    piano: Piano, repairs: RepairEstimate, *, profile: BuyerProfile, prices: PriceList, seed: int = 0
) -> YearlyCost:
    """Price, repairs, moving and yearly tunings, divided by the years of use.

    Raises
    ------
    BadInput
        For amounts in different currencies or years of use under one.

    Examples
    --------
    >>> from pianolab.assess.prices import load_prices
    >>> from pianolab.assess.repairs import estimate
    >>> nothing = estimate((), currency="EUR", seed=0, draws=100)
    >>> buyer = BuyerProfile(name="B", years_of_use=10)
    >>> cost = cost_per_year(Piano(name="A", asking_price=Decimal(2000)), nothing, profile=buyer, prices=load_prices())
    >>> bool(200 + 0.9 * 90 <= cost.low <= cost.middle <= cost.high <= 200 + 0.9 * 2 * 170)
    True
    """
    currencies = {piano.currency, repairs.currency, profile.currency, prices.currency}
    if len(currencies) > 1:
        raise BadInput(
            "currency", ", ".join(sorted(currencies)), "one currency for price, repairs and budget"
        )
    years = profile.years_of_use
    if not 1 <= years <= 100:
        raise BadInput("years_of_use", years, "1 to 100 years")
    if piano.asking_price is None:
        why = "no price is asked yet"
        return YearlyCost(
            low=None, middle=None, high=None, currency=piano.currency, years=years, why_unknown=why
        )
    rng = np.random.default_rng(seed)
    total = float(piano.asking_price) + simulate_repairs(repairs.jobs, draws=DRAWS, rng=rng)
    moving = [float(m) for m in profile.moving_cost]
    total = total + rng.uniform(moving[0], moving[1], DRAWS)
    one = prices["tuning"]
    price = triangular(rng.random(DRAWS), float(one.low), float(one.usual), float(one.high))
    total = total + (years - 1.0) * rng.uniform(TUNINGS_A_YEAR[0], TUNINGS_A_YEAR[1], DRAWS) * price
    low, middle, high = (Decimal(round(float(q))) for q in np.percentile(total / years, (10, 50, 90)))
    return YearlyCost(
        low=low, middle=middle, high=high, currency=piano.currency, years=years, locale=profile.locale
    )
