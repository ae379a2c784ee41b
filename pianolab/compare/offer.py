"""The highest sensible offer: what the budget leaves, and what makes this piano no worse than the next best."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_DOWN, Decimal

from pianolab.assess import Assessment
from pianolab.model import BuyerProfile
from pianolab.show import about

STEP = Decimal(10)
BETTER_BUY = "for more than this the best of the others is the better buy"


@dataclass(frozen=True)
class Offer:
    """An amount, or None where no offer is sensible, and the reason in words."""

    amount: Decimal | None
    reason: str


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
        return Offer(None, f"no offer before a technician has looked: {_lower(assessment.vetoes[0].text)}")
    price = assessment.piano.asking_price
    extras = float(assessment.repairs.p50 + sum(profile.moving_cost, Decimal(0)) / 2)
    limits: list[tuple[float, str]] = []
    if price is not None:
        limits.append((float(price), "the asking price; nothing found speaks for paying more"))
    if profile.budget is not None:
        left = float(profile.budget) - extras
        rest = about(extras, profile.currency, locale=profile.locale)
        limits.append((left, f"what the budget leaves after about {rest} for moving, tuning and repairs"))
    if lead is not None and price is not None:
        limits.append((float(price) + lead * money_per_point, BETTER_BUY))
    if not limits:
        return Offer(None, "no asking price is known")
    amount, reason = min(limits)
    if amount < float(STEP):
        return Offer(None, _no_price(reason))
    return Offer(_round(amount), f"{reason} (an estimate)")


def _no_price(reason: str) -> str:
    if reason == BETTER_BUY:
        return "no sensible price: even as a gift, the best of the others is the better buy"
    return "no sensible price: moving, tuning and repairs alone use up the budget"


def _round(amount: float) -> Decimal:
    return (Decimal(str(round(amount, 2))) / STEP).to_integral_value(ROUND_DOWN) * STEP


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:].rstrip(".")
