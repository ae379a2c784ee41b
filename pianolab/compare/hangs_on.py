"""On which assumptions the answer hangs: each moved to both ends of what is reasonable, while the rest stays.

The same draws are used throughout, so that nothing changes by chance: a score is 10 exp(-losses), so losses taken f
times are the score to the power f; a stop turns up where its chance, taken f times, is reached.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray

from pianolab.assess import Assessment
from pianolab.assess.assessment import BEST
from pianolab.compare.simulate import (
    LEARNING_DRAWS,
    Array,
    PianoDraws,
    falls_below,
    money_value,
    turns_out_stopped,
)
from pianolab.compare.standings import STOPPED, Ranking
from pianolab.model import ASPECTS
from pianolab.statements import Statement, statement

MOST = 3
"""So many assumptions on which the answer hangs are named, the weightiest first."""
NONE = -1
"""Stands for no piano where none may be bought."""
WEIGHTS = (*ASPECTS, "money")
LEAST_APART = 1e-6
"""A weight whose range is narrower than this has no ends."""


@dataclass(frozen=True, kw_only=True)
class Assumption:
    """One assumption, and by what it is taken at either end of what is reasonable."""

    kind: str
    less: float
    more: float


@dataclass(frozen=True, kw_only=True)
class ChoiceMoved:
    """The first choice (`NONE` for none) and its share of first places once an assumption is moved."""

    says: Statement
    choice: int
    share: float


@dataclass(frozen=True, kw_only=True, eq=False)
class RankedAgain:
    """The draws that are ranked again: the first few thousand of all."""

    draws_of: Sequence[PianoDraws]
    barred: NDArray[np.bool_]
    weights: Array
    ties: Array
    scale: float

    def ranked(
        self, *, slope: float = 1.0, stops: float = 1.0, repairs: float = 1.0
    ) -> tuple[Array, NDArray[np.bool_]]:
        """Utility and fitness, shape (pianos, draws), with assumptions taken so many times."""
        n = len(self.weights)
        scores = [BEST * (d.scores[:, :n] / BEST) ** np.float32(slope) for d in self.draws_of]
        fit = np.stack([_fit(d, n, slope=slope, stops=stops) for d in self.draws_of])
        fit &= ~self._barred(slope)[:, None]
        totals = [d.total[:n] + (repairs - 1.0) * d.repairs[:n] for d in self.draws_of]
        values = [np.vstack([s, money_value(t, self.scale)]) for s, t in zip(scores, totals, strict=True)]
        return np.stack([np.einsum("da,ad->d", self.weights, v) for v in values]) + self.ties, fit

    def _barred(self, slope: float) -> NDArray[np.bool_]:
        """Who is barred; with another slope an aspect may fall under its floor, or rise above it."""
        if slope == 1.0:
            return self.barred
        high = np.stack([BEST * (d.high / BEST) ** slope for d in self.draws_of])
        under = np.stack([(d.high < d.floors).any() for d in self.draws_of])
        falls = np.stack([(h < d.floors).any() for h, d in zip(high, self.draws_of, strict=True)])
        return (self.barred & ~under) | falls


def _fit(d: PianoDraws, draws: int, *, slope: float, stops: float) -> NDArray[np.bool_]:
    level = d.level[:, :draws]
    stopped = turns_out_stopped(level, np.minimum(1.0, stops * d.veto_chance))
    return ~(stopped | falls_below(BEST * (d.high / BEST) ** slope, slope * d.loss, level, d.floors))


def _firsts(utility: Array, fit: NDArray[np.bool_]) -> NDArray[np.int_]:
    """Who comes first in each draw, `NONE` where nobody is fit."""
    return np.where(fit.any(axis=0), np.argmax(utility + STOPPED * ~fit, axis=0), NONE)


def _choice(first: NDArray[np.int_], pianos: int) -> tuple[int, float]:
    """Who comes first most often, and its share."""
    shares = np.bincount(first[first >= 0], minlength=pianos) / max(len(first), 1)
    best = int(np.argmax(shares))
    return (best, float(shares[best])) if shares[best] > 0 else (NONE, 0.0)


def what_it_hangs_on(
    given: Sequence[Assessment], draws_of: Sequence[PianoDraws], ranking: Ranking
) -> tuple[Statement, ...]:
    """The assumptions on which the first choice hangs, the weightiest first; one line that says so where on none.

    Returns
    -------
    tuple of Statement: for each that turns the first choice, how far it is moved and what is the first choice then
    """
    n = min(LEARNING_DRAWS, len(ranking.weights))
    setting = RankedAgain(
        draws_of=draws_of,
        barred=np.array([bool(o) for o in ranking.obstacles]),
        weights=ranking.weights[:n],
        ties=ranking.ties[:, :n],
        scale=ranking.scale,
    )
    usual = _firsts(*setting.ranked())
    before, _ = _choice(usual, len(given))
    moved = (*_all_moved(setting), *_by_weight(setting, usual))
    turned = [m for m in moved if m.choice != before]
    if not turned:
        return (statement("hangs.on none", choice=_named(given, before)),)
    turned.sort(key=lambda m: -m.share)
    return tuple(
        statement("hangs.on", assumption=m.says, now=_named(given, m.choice), before=_named(given, before))
        for m in turned[:MOST]
    )


def _named(given: Sequence[Assessment], piano: int) -> Statement:
    if piano == NONE:
        return statement("hangs.none", pianos=len(given))
    return statement("hangs.piano", given[piano].piano.id, name=given[piano].piano.name)


def _all_moved(setting: RankedAgain) -> Iterator[ChoiceMoved]:
    """Every assumption but the weights, at both ends."""
    for assumption in (a for a in load_assumptions() if a.kind != "weights"):
        for end, factor in (("less", assumption.less), ("more", assumption.more)):
            first = _firsts(*setting.ranked(**{assumption.kind: factor}))
            choice, share = _choice(first, len(setting.draws_of))
            says = statement(f"hangs.{assumption.kind} {end}", assumption.kind, factor=factor)
            yield ChoiceMoved(says=says, choice=choice, share=share)


def _by_weight(setting: RankedAgain, first: NDArray[np.int_]) -> Iterator[ChoiceMoved]:
    """The draws in which one thing counts least, and those in which it counts most."""
    ends = next(a for a in load_assumptions() if a.kind == "weights")
    for i, name in enumerate(WEIGHTS):
        mine = setting.weights[:, i]
        low, high = np.quantile(mine, (ends.less, 1.0 - ends.more))
        if high - low < LEAST_APART:
            continue
        for end, within in (("less", mine <= low), ("more", mine >= high)):
            choice, share = _choice(first[within], len(setting.draws_of))
            yield ChoiceMoved(
                says=statement(f"hangs.weight {end}", name, what=name), choice=choice, share=share
            )


@cache
def load_assumptions() -> tuple[Assumption, ...]:
    """The assumptions that are moved, and how far.

    Examples
    --------
    >>> [a.kind for a in load_assumptions()]
    ['slope', 'stops', 'repairs', 'weights']
    """
    text = (files("pianolab.compare") / "data" / "assumptions.toml").read_text(encoding="utf-8")
    return tuple(Assumption(**entry) for entry in tomllib.loads(text)["assumption"])
