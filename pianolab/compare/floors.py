"""The floors under which no mean makes up for an aspect, and what a decision needs; read once from ``data/floors.toml``."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray

from pianolab.model import ASPECTS, PianoKind

ANY = "any"
"""The kind of buyer whose level nobody has named, or whose level has no floors of its own."""


@dataclass(frozen=True, kw_only=True)
class Needed:
    """One thing to have been looked at, by any of its points; ``kind`` where only one kind of piano has it."""

    title: str
    points: tuple[str, ...]
    reason: str
    kind: PianoKind | None = None
    heard: bool = False


@dataclass(frozen=True, kw_only=True)
class Floors:
    """Floors by level of the buyer, each by aspect with why it stands there; what a decision needs."""

    by_level: Mapping[str, Mapping[str, float]]
    reasons: Mapping[str, str]
    needed: tuple[Needed, ...]

    def level_of(self, level: str) -> str:
        """The level whose floors hold; ``any`` where it has none."""
        return level if level in self.by_level else ANY

    def of(self, level: str) -> NDArray[np.float64]:
        """The floor of each aspect in their order, 0 where it has none; shape (6,), points of 10."""
        found = self.by_level[self.level_of(level)]
        return np.array([found.get(aspect, 0.0) for aspect in ASPECTS])


@cache
def load_floors() -> Floors:
    """The floors that come with pianolab.

    Examples
    --------
    >>> load_floors().of("advanced")[1], load_floors().of("nobody said")[5]
    (np.float64(4.0), np.float64(0.0))
    """
    data = tomllib.loads((files("pianolab.compare") / "data" / "floors.toml").read_text(encoding="utf-8"))
    tables = data["floors"]
    return Floors(
        by_level={name: {a: float(t[a]) for a in ASPECTS if a in t} for name, t in tables.items()},
        reasons={name: t["reason"] for name, t in tables.items()},
        needed=tuple(Needed(**{**entry, "points": tuple(entry["points"])}) for entry in data["needed"]),
    )
