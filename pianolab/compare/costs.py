"""What it costs to find something out: a fee, one's own time, and who pays; read once from ``data/steps.toml``."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from importlib.resources import files
from typing import Literal

from pianolab.assess import Alert, PriceList

Payer = Literal["you", "seller", "nobody"]
ANYONE = "another look"
TUNING = "tuning"
"""The job of a price list that an hour of one's own is reckoned by."""


@dataclass(frozen=True, kw_only=True)
class Effort:
    """What one kind of effort takes: the ``job`` that its fee is the price of, who pays, the minutes, whether one has
    to go there once more.
    """

    payer: Payer
    minutes: float
    trip: bool
    source: str
    job: str = ""


@dataclass(frozen=True, kw_only=True)
class Settles:
    """Who can settle a stop: the effort that takes, and how often the answer lifts it, by how sure the stop was."""

    effort: str
    clears: Mapping[str, float]


@dataclass(frozen=True, kw_only=True)
class StepData:
    """Everything of ``data/steps.toml``."""

    hour_in_tunings: float
    trip_minutes: float
    efforts: Mapping[str, Effort]
    settles: Mapping[str, Settles]

    def settled_by(self, stop: Alert) -> Settles:
        """What it takes to have a stop settled."""
        return self.settles.get(stop.confirm_by, self.settles[ANYONE])


@dataclass(frozen=True, kw_only=True)
class Cost:
    """What one step costs the buyer: a fee, and all of it with one's own time; None where no price list tells."""

    payer: Payer
    fee: Decimal | None
    all_of_it: Decimal | None


@cache
def load_step_data() -> StepData:
    """What finding out takes, as it comes with pianolab.

    Examples
    --------
    >>> load_step_data().efforts["technician"].payer
    'you'
    """
    data = tomllib.loads((files("pianolab.compare") / "data" / "steps.toml").read_text(encoding="utf-8"))
    return StepData(
        **data["time"],
        efforts={name: Effort(**entry) for name, entry in data["efforts"].items()},
        settles={name: Settles(**entry) for name, entry in data["settles"].items()},
    )


def cost_of(effort: str, minutes: float | None, prices: PriceList | None) -> Cost:
    """What a step of this effort costs.

    Parameters
    ----------
    effort : as in `pianolab.assess.Unknown`
    minutes : how long the looking itself takes; what is usual for the effort where None
    prices : the price list that has the fees; None: they are not known

    Examples
    --------
    >>> from pianolab.assess import load_prices
    >>> cost_of("technician", None, load_prices()).fee
    Decimal('140')
    >>> cost_of("technician", None, None).fee is None
    True
    """
    data = load_step_data()
    takes = data.efforts[effort]
    if prices is None:
        return Cost(payer=takes.payer, fee=None, all_of_it=None)
    fee = prices[takes.job].usual if takes.job else Decimal(0)
    spent = (takes.minutes if minutes is None else minutes) + (data.trip_minutes if takes.trip else 0.0)
    own_time = spent / 60.0 * data.hour_in_tunings * float(prices[TUNING].usual)
    return Cost(payer=takes.payer, fee=fee, all_of_it=fee + Decimal(round(own_time)))
