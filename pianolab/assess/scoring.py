"""The numbers behind the scores, read once from ``data/scoring.toml``."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from typing import Any


@dataclass(frozen=True, kw_only=True)
class HeardRepair:
    """A job that more than ``over`` faulty keys propose."""

    job: str
    over: int
    chance: float
    per_key: bool = False


@dataclass(frozen=True, kw_only=True)
class HeardItem:
    """One thing that listening judges over a range of keys, and how it counts.

    Its words stand under its ``key`` in `pianolab.words`, in the table ``heard``. Items with the same ``together`` turn
    out alike where they are unknown. ``same_fault`` names another item that hears the same fault. ``untold`` marks what no recording tells at all: then only playing and listening
    does.
    """

    key: str
    fault: str
    keys: tuple[int, int]
    full_share: float
    aspects: dict[str, float]
    together: str = ""
    untold: bool = False
    warn_from: int | None = None
    veto_from: int | None = None
    confirm_by: str = "technician"
    same_fault: str = ""
    repairs: tuple[HeardRepair, ...] = ()

    @property
    def fault_name(self) -> str:
        """Under which one fault counts once: another item's key where that hears the same."""
        return self.same_fault or self.key


@dataclass(frozen=True, kw_only=True)
class Scoring:
    """All settings: the scale, what unknowns may hide, money, tuning, whose word counts, what is heard.

    ``alike`` maps a checklist point to what listening judges too: one fault, noticed in two ways; ``one_key`` names the
    faults that are one trouble where one key has them all.
    """

    scale: dict[str, Any]
    unknown: dict[str, float]
    money: dict[str, Any]
    tuning: dict[str, Any]
    who: dict[str, Any]
    alike: dict[str, str]
    one_key: dict[str, list[str]]
    contradiction: dict[str, float]
    heard: tuple[HeardItem, ...] = field(default=())

    def grade_share(self, grade: int) -> float:
        """How much of its full loss a grade costs, 0 for sound to 1 for failed."""
        return float(self.scale["grade_shares"][grade - 1])


@cache
def load_scoring() -> Scoring:
    """The settings that come with pianolab.

    Examples
    --------
    >>> load_scoring().grade_share(5), load_scoring().grade_share(1)
    (0.0, 1.0)
    """
    text = (files("pianolab.assess") / "data" / "scoring.toml").read_text(encoding="utf-8")
    data = tomllib.loads(text)
    heard = tuple(
        HeardItem(
            **{
                **entry,
                "keys": tuple(entry["keys"]),
                "repairs": tuple(HeardRepair(**r) for r in entry.get("repairs", ())),
            }
        )
        for entry in data.pop("heard")
    )
    return Scoring(heard=heard, **data)
