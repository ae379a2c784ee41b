"""What a price is reckoned with: factors, shares and steps from ``data/pricing.toml``, read once."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from decimal import ROUND_DOWN, Decimal
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np


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
