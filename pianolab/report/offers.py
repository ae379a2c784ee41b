"""What to offer, as the page says it: three figures or why there are none, each with its reasons in money."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from pianolab.compare import Comparison, PriceAdvice
from pianolab.compare.worth import STEPS, Adjusted
from pianolab.show import about, money
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
        ("open with", advice.open_with),
        ("aim at", advice.aim_at),
        ("walk away above", advice.walk_away_above),
    )
    return ", ".join(f"{words} {money(amount, currency)}" for words, amount in figures)


def offer_of(advice: PriceAdvice, currency: str) -> dict[str, Any]:
    """What the page shows of one price: its figures, what they rest on or what is missing, what to agree on."""
    return {
        "named": advice.named,
        "figures": figures_line(advice, currency),
        "amounts": [
            money(a, currency)
            for a in (advice.open_with, advice.aim_at, advice.walk_away_above)
            if a is not None
        ],
        "why": [upper_first(reason) for reason in advice.reasons],
        "beside": [upper_first(say(b)) for b in advice.beside],
        "conditions": [say(c) for c in advice.conditions],
        "promises": [upper_first(say(p)) for p in advice.promises],
        "grid": grid_of(advice, currency),
    }


LEAST = 5.0
"""A step under this sum, which would read as nothing, is left out of the table."""


def grid_of(advice: PriceAdvice, currency: str) -> tuple[tuple[str, ...], list[tuple[str, ...]]]:
    """The table that brings each comparable price over: header and rows; steps that move none of them are left out.

    Examples
    --------
    >>> grid_of(PriceAdvice(), "EUR")
    (('Like instrument', 'Seen at', 'For this one'), [])
    """
    steps = [step for step in STEPS if any(abs(a.moves[step]) >= LEAST for a in advice.adjusted)]
    header = ("Like instrument", "Seen at", "For this one", *(step.capitalize() for step in steps))
    return header, [grid_row(a, steps, currency) for a in advice.adjusted]


def grid_row(adjusted: Adjusted, steps: Sequence[str], currency: str) -> tuple[str, ...]:
    """One comparable price, what it comes to, and what each step adds or takes off.

    Examples
    --------
    >>> from pianolab.model import Comparable
    >>> seen = Comparable(price=2000, age_years=40, condition="good", sold=False)
    >>> moves = dict.fromkeys(STEPS, 0.0) | {"asked": -160.0}
    >>> grid_row(Adjusted(comparable=seen, moves=moves, amount=1840.0, spread=0.1), ["asked", "age"], "EUR")
    ('40 years, good, asked', '€2,000', '€1,840', '-€160', '')
    """
    seen = adjusted.comparable
    words = [
        "" if seen.age_years is None else f"{seen.age_years:g} years",
        seen.condition or "",
        {"dealer": "a dealer", "private": "private"}.get(seen.seller_kind or "", ""),
        {True: "paid", False: "asked", None: ""}[seen.sold],
    ]
    moves = [
        about(adjusted.moves[step], currency) if abs(adjusted.moves[step]) >= LEAST else "" for step in steps
    ]
    named = ", ".join(w for w in words if w) or "nothing more known"
    return (named, money(seen.price, currency), about(adjusted.amount, currency), *moves)


COMPARABLE_COLUMNS = (
    "price_seen",
    "age_years",
    "condition",
    "seller",
    "warranty_years",
    "tunings_included",
    "delivery_included",
    "sold",
    "seen_on",
    *(f"by_{step}" for step in STEPS),
    "price_for_this_one",
    "spread_share",
    "currency",
)


def comparable_rows(comparison: Comparison) -> Iterator[tuple[str, tuple[Any, ...]]]:
    """Of each piano the comparable prices as they were seen and as they were brought over, for a table of numbers."""
    for s in comparison.standings:
        for a in s.price.adjusted:
            c = a.comparable
            moves = [round(a.moves[step], 2) for step in STEPS]
            yield (
                s.piano_id,
                (
                    c.price,
                    c.age_years,
                    c.condition,
                    c.seller_kind,
                    c.warranty_years,
                    c.tunings_included,
                    c.delivery_included,
                    c.sold,
                    c.seen_on,
                    *moves,
                    round(a.amount, 2),
                    round(a.spread, 3),
                    c.currency,
                ),
            )
