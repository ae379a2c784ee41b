"""What to offer, as the page says it: three figures or why there are none, each with its reasons in money."""

from __future__ import annotations

from typing import Any

from pianolab.compare import PriceAdvice
from pianolab.figures.money import money
from pianolab.words import say, upper_first

NO_PRICE = "no price yet"


def figures_line(advice: PriceAdvice, currency: str) -> str:
    """The three figures in a line, or that there are none.

    Examples
    --------
    >>> from decimal import Decimal
    >>> figures_line(PriceAdvice(open_with=Decimal(900), aim_at=Decimal(1000), walk_away_above=Decimal(1100)), "EUR")
    'open with €900, aim at €1,000, walk away above €1,100'
    >>> figures_line(PriceAdvice(open_with=Decimal(0), aim_at=Decimal(0), walk_away_above=Decimal(0)), "EUR")
    'a gift: nothing to pay for it'
    """
    if advice.aim_at is None:
        return NO_PRICE
    if not advice.walk_away_above:
        return "a gift: nothing to pay for it"
    figures = (
        ("open with", advice.open_with), ("aim at", advice.aim_at), ("walk away above", advice.walk_away_above)
    )  # fmt: skip
    return ", ".join(f"{words} {money(amount, currency)}" for words, amount in figures)


def offer_of(advice: PriceAdvice, currency: str) -> dict[str, Any]:
    """What the page shows of one price: its figures, what they rest on or what is missing, what to agree on."""
    return {
        "named": advice.named,
        "figures": figures_line(advice, currency),
        "why": [upper_first(reason) for reason in advice.reasons],
        "beside": [upper_first(say(b)) for b in advice.beside],
        "conditions": [say(c) for c in advice.conditions],
        "promises": [upper_first(say(p)) for p in advice.promises],
    }
