"""What to offer for a piano: three figures where comparable prices carry them, each with its reasons in money."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from pianolab.statements import Statement


@dataclass(frozen=True, kw_only=True)
class PriceAdvice:
    """What may be offered, and why; where nothing carries a price, what is missing.

    Parameters
    ----------
    open_with, aim_at, walk_away_above : Decimal in the buyer's currency, each at most what is asked and none above
        the next; all None where no price is named
    worth_low, worth_mid, worth_high : Decimal, what like instruments say that this one is worth as it stands,
        before anything unknown is allowed for; None without comparables
    terms : what the figures are made of, in order, each with its amount
    missing : what a price needs and is not there; empty where figures are named
    conditions : what to agree on before paying, as the buyer can say it
    promises : what the seller has said will be put right, to be put in writing
    chance_over_budget : chance from 0 to 1 that the price aimed at, needed work, moving and first tunings together
        exceed the budget; None without a budget or a price
    budget_limit : Decimal, the price at which the budget is used up in half of the cases; a limit, never a value;
        None without a budget
    """

    open_with: Decimal | None = None
    aim_at: Decimal | None = None
    walk_away_above: Decimal | None = None
    worth_low: Decimal | None = None
    worth_mid: Decimal | None = None
    worth_high: Decimal | None = None
    terms: tuple[Statement, ...] = ()
    missing: tuple[Statement, ...] = ()
    conditions: tuple[Statement, ...] = ()
    promises: tuple[Statement, ...] = ()
    chance_over_budget: float | None = None
    budget_limit: Decimal | None = None

    @property
    def named(self) -> bool:
        """Whether figures are named."""
        return self.aim_at is not None
