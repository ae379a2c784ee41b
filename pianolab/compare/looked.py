"""The floors under which no mean makes up for an aspect, and whether enough was looked at for a decision.

Both are read once from ``data/floors.toml``.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pianolab.assess import Assessment, Unknown
from pianolab.model import ASPECTS, PianoKind
from pianolab.statements import Statement, statement

ANY = "any"
"""The kind of buyer whose level nobody has named, or whose level has no floors of its own."""
UNSEEN = frozenset(("unknown.not checked", "unknown.not looked at", "unknown.states"))
"""Kinds of reasons that say nobody has looked; another reason says that somebody has and it was not enough."""


@dataclass(frozen=True, kw_only=True)
class Missing:
    """Something that a decision needs and nobody has looked at: what, its nearest point, the minutes it takes."""

    title: str
    point: str
    minutes: float | None
    why: Statement

    def says(self) -> Statement:
        """What is missing, with the minutes; and why nobody looked, where somebody said."""
        told: dict[str, Any] = {} if self.why.kind == "unknown.not checked" else {"why": self.why}
        if self.minutes is not None:
            told |= {"minutes": self.minutes}
        return statement(KINDS[tuple(told)], self.point, title=self.title, **told)


KINDS = {
    (): "missing.look",
    ("why",): "missing.look, not done",
    ("minutes",): "missing.look in",
    ("why", "minutes"): "missing.look in, not done",
}
"""What is said of a missing look, by what is known of it."""


def missing_looks(assessment: Assessment) -> tuple[Missing, ...]:
    """What a decision about this piano needs and nobody has looked at; empty where enough is known.

    Read it as: before these have been looked at it neither leads nor gets a price, however good the rest is.

    Examples
    --------
    >>> from pianolab.assess import assess_piano, load_prices
    >>> from pianolab.checklist import load_checklist
    >>> from pianolab.model import Piano
    >>> unseen = assess_piano(
    ...     Piano(name="A"), [], survey=None, checklist=load_checklist(), prices=load_prices())
    >>> [m.title for m in missing_looks(unseen)][:2]
    ['the tuning pins', 'the plate']
    """
    unseen = {u.source: u for u in assessment.unknowns if u.why.kind in UNSEEN}
    wanted = [n for n in load_floors().needed if n.kind in (None, assessment.piano.kind)]
    found = (_missing(n, unseen) for n in wanted if not (n.heard and assessment.heard))
    return tuple(m for m in found if m is not None)


def minutes_of(missing: Sequence[Missing]) -> float | None:
    """The minutes that all of it takes; None where that is not a matter of minutes."""
    known = [m.minutes for m in missing if m.minutes is not None]
    return sum(known) if known else None


def _missing(needed: Needed, unseen: dict[str, Unknown]) -> Missing | None:
    """Nothing where one of the points left no gap: it was looked at, or there is no such point."""
    gaps = [unseen[point] for point in needed.points if point in unseen]
    if len(gaps) < len(needed.points):
        return None
    quickest = min(gaps, key=lambda u: (u.minutes is None, u.minutes or 0.0))
    return Missing(title=needed.title, point=quickest.source, minutes=quickest.minutes, why=quickest.why)


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
