"""What the technician would say of a panel's case, read and checked for sense."""

from __future__ import annotations

import tomllib
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any

from pianolab.errors import BadInput

VERDICTS = ("buy", "buy if", "find out first", "walk away")
"""From best to worst."""

EXPECT = ("verdict", "tolerable", "foolish", "must_name", "next", "price", "needed", "why")
GENERAL_REASONS = (
    "price",
    "budget",
    "little looked at",
    "not opened",
    "promise",
    "seller's claim",
    "home",
    "way out",
    "comparables",
)
STEPS = (
    "technician",
    "tune first",
    "recording",
    "second visit",
    "mover",
    "tuner",
    "seller's papers",
    "in writing",
    "comparables",
    "asking price",
    "authority",
    "pest expert",
    "negotiate",
    "quote",
)
MISSING = ("comparables", "asking price", "technician", "papers", "looked at", "not fit to buy")


@dataclass(frozen=True)
class Expected:
    """The verdict with what else would do and what would be foolish, the reasons, steps and sums that belong to it.

    ``must_name``: every entry has to be named; an entry is a tuple of alternatives, one of which is enough. Each
    is a point, ``sound.…`` for a measure, or a general reason. ``next_steps`` is meant likewise. ``open_with``, ``aim_at`` and
    ``walk_above`` are ranges (low, high) in which the figure should lie, None where no price can be named because
    of ``missing``.
    """

    verdict: str
    tolerable: tuple[str, ...]
    foolish: tuple[str, ...]
    must_name: tuple[tuple[str, ...], ...]
    next_steps: tuple[tuple[str, ...], ...]
    needed: tuple[str, ...]
    why: str
    open_with: tuple[float, float] | None = None
    aim_at: tuple[float, float] | None = None
    walk_above: tuple[float, float] | None = None
    missing: tuple[str, ...] = ()


def read_expected(
    about: str,
    table: Mapping[str, Any],
    *,
    named: Collection[str],
    heard: Collection[str],
    points: Collection[str],
) -> Expected:
    """The technician's opinion from its table.

    ``named`` are the points that the case itself lists, ``heard`` the fields of its sound that hold something,
    ``points`` all points that the piano has.

    Raises
    ------
    BadInput : a verdict both tolerable and foolish, a reason that is not in the case, a step nobody knows
    """
    about = f"{about}, expect"
    if set(table) != set(EXPECT):
        raise BadInput(about, ", ".join(table), f"the fields {', '.join(EXPECT)}")
    _check_verdicts(about, table)
    reasons = {*named, *(f"sound.{name}" for name in heard), *GENERAL_REASONS}
    _check_known(about, "must_name", table["must_name"], reasons, "Is the finding in the case itself?")
    _check_known(about, "next", table["next"], {*points, *STEPS}, "A point this piano hasn't?")
    _check_known(about, "needed", table["needed"], _jobs(), "A job of panel/costs.toml?")
    price = dict(table["price"])
    sums = {name: tuple(price.pop(key)) for name, key in _SUMS.items() if key in price}
    missing = tuple(price.pop("none", ()))
    if price or bool(sums) == bool(missing) or (sums and len(sums) < len(_SUMS)):
        raise BadInput(about, f"price {table['price']}", "open, aim and walk, or none with what is missing")
    return Expected(
        verdict=table["verdict"],
        tolerable=tuple(table["tolerable"]),
        foolish=tuple(table["foolish"]),
        must_name=_alternatives(table["must_name"]),
        next_steps=_alternatives(table["next"]),
        needed=tuple(table["needed"]),
        why=table["why"],
        missing=missing,
        **sums,
    )


_SUMS = {"open_with": "open", "aim_at": "aim", "walk_above": "walk"}


def check_price(about: str, expected: Expected, *, comparables: bool) -> None:
    """Refuse sums that can't be: ranges in the wrong order, a price where no like instrument is known."""
    about = f"{about}, price"
    unknown = [word for word in expected.missing if word not in MISSING]
    if unknown:
        raise BadInput(about, ", ".join(unknown), f"one of {', '.join(MISSING)}")
    if expected.open_with is None or expected.aim_at is None or expected.walk_above is None:
        if expected.verdict == "buy":
            raise BadInput(about, "no price in a case to buy", "open, aim and walk")
        if not comparables and not {"comparables", "not fit to buy"} & set(expected.missing):
            raise BadInput(
                about, "no comparables, and they aren't missed", "comparables among what is missing"
            )
        return
    ranges = (expected.open_with, expected.aim_at, expected.walk_above)
    if any(len(pair) != 2 or not 0 <= pair[0] <= pair[1] for pair in ranges):
        raise BadInput(about, str(ranges), "low and high of each, low first")
    if any(low[end] > high[end] for low, high in pairwise(ranges) for end in (0, 1)):
        raise BadInput(about, str(ranges), "open not above aim, aim not above walk")
    if not comparables:
        raise BadInput(about, "a price without comparables", "comparables, or none")


def _check_verdicts(about: str, table: Mapping[str, Any]) -> None:
    said = [table["verdict"], *table["tolerable"], *table["foolish"]]
    unknown = [word for word in said if word not in VERDICTS]
    if unknown:
        raise BadInput(about, ", ".join(unknown), f"verdicts among {', '.join(VERDICTS)}")
    if len(said) != len(set(said)):
        raise BadInput(about, ", ".join(said), "each verdict once: said, tolerable or foolish")
    if not table["foolish"]:
        raise BadInput(about, "no foolish verdict", "one at least, or the case tests nothing")


def _check_known(about: str, name: str, entries: Any, known: Collection[str], hint: str) -> None:
    unknown = [word for group in _alternatives(entries) for word in group if word not in known]
    if unknown:
        raise BadInput(
            f"{about}, {name}", ", ".join(unknown), "something that the case or the panel knows", hint
        )


def _alternatives(entries: Any) -> tuple[tuple[str, ...], ...]:
    return tuple(tuple(entry.split("|")) for entry in entries)


@cache
def _jobs() -> frozenset[str]:
    text = (Path(__file__).parent / "panel" / "costs.toml").read_text(encoding="utf-8")
    return frozenset(tomllib.loads(text)["jobs"])
