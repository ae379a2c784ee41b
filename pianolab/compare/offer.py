"""The highest sensible offer: what the budget leaves, and what makes this piano no worse than the next best."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_DOWN, Decimal

from pianolab.assess import Assessment
from pianolab.model import BuyerProfile
from pianolab.statements import Money, Statement, statement

STEP = Decimal(10)
BETTER_BUY = "offer.better buy"


@dataclass(frozen=True)
class Offer:
    """An amount, or None where no offer is sensible, and why."""

    amount: Decimal | None
    why: Statement


def highest_offer(
    assessment: Assessment,
    *,
    profile: BuyerProfile,
    lead: float | None,
    money_per_point: float,
) -> Offer:
    """The most one should pay for this piano; an estimate.

    Parameters
    ----------
    lead : by how much its expected utility stands above the best other piano (negative: below); None
        where there is no other
    money_per_point : what one point of utility is worth to this buyer
    """
    if assessment.vetoes:
        return Offer(None, statement("offer.stop", stop=assessment.vetoes[0].says))
    price = assessment.piano.asking_price
    extras = float(assessment.repairs.p50 + sum(profile.moving_cost, Decimal(0)) / 2)
    limits: list[tuple[float, Statement]] = []
    if lead is not None and price is not None:
        limits.append((float(price) + lead * money_per_point, statement(BETTER_BUY)))
    if price is not None:
        limits.append((float(price), statement("offer.asking price")))
    if profile.budget is not None:
        rest = Money(extras, profile.currency, profile.locale)
        limits.append((float(profile.budget) - extras, statement("offer.budget", rest=rest)))
    if not limits:
        return Offer(None, statement("offer.no price known"))
    amount, why = min(limits, key=lambda limit: limit[0])
    if amount < float(STEP):
        used_up = "offer.better even as a gift" if why.kind == BETTER_BUY else "offer.budget used up"
        return Offer(None, statement(used_up))
    return Offer(_round(amount), statement("offer.estimate", reason=why))


def _round(amount: float) -> Decimal:
    return (Decimal(str(round(amount, 2))) / STEP).to_integral_value(ROUND_DOWN) * STEP
