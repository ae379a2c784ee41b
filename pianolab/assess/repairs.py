"""What all jobs of a piano may cost together, and those that are needed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from math import sqrt
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from pianolab.assess.assessment import RepairEstimate, RepairJob
from pianolab.assess.scoring import load_scoring
from pianolab.show import LOCALE

Array = NDArray[np.float64]


def simulate_repairs(
    jobs: Sequence[RepairJob],
    *,
    draws: int,
    rng: np.random.Generator,
    shared: float | None = None,
    levels: Mapping[str, NDArray[Any]] | None = None,
    need: Literal["needed"] | None = None,
) -> Array:
    """Sums of the jobs' costs, one for each draw.

    Parameters
    ----------
    jobs : the jobs with low, usual and high price and chance
    draws : int
    rng : the random numbers; the same state gives the same sums
    shared : float from 0 to 1, correlation between the prices of two jobs (one workshop does them all)
    levels : for unknowns by their key how bad each turns out (0 to 1), shape (draws,): a job that waits for
        one is needed where it turns out bad enough; drawn here where not given
    need : ``needed`` counts only what is needed for use and safety, None all jobs. From the same state of ``rng``
        both are sums of the same draws.

    Returns
    -------
    ndarray, shape (draws,), in the price list's currency

    Notes
    -----
    Each price is triangular between low and high with its peak at usual. A job counts nothing in a draw in
    which another job that includes it is done.
    """
    every, needed = simulate_both(jobs, draws=draws, rng=rng, shared=shared, levels=levels)
    return every if need is None else needed


def simulate_both(
    jobs: Sequence[RepairJob],
    *,
    draws: int,
    rng: np.random.Generator,
    shared: float | None = None,
    levels: Mapping[str, NDArray[Any]] | None = None,
) -> tuple[Array, Array]:
    """Sums of all jobs, and of what is needed of them, in the same draws; parameters as in `simulate_repairs`."""
    shared = load_scoring().money["shared_price_level"] if shared is None else shared
    common = np.float32(sqrt(shared)) * rng.standard_normal(draws, dtype=np.float32)
    drawn = [
        _Drawn.of(job, levels or {}, draws, own) for job, own in zip(jobs, rng.spawn(len(jobs)), strict=True)
    ]
    for d in drawn:
        d.level[:] = ndtr(common[d.where] + np.float32(sqrt(1.0 - shared)) * d.level)
    every = [(d.job, d, d.done) for d in drawn]
    needed = [(part, d, d.done_needed) for d in drawn if (part := d.job.forced)]
    return _added(every, draws), _added(needed, draws)


@dataclass(frozen=True, eq=False)
class _Drawn:
    """One job in all draws: where it is done, and where what is needed of it; how dear it is where it is done."""

    job: RepairJob
    done: NDArray[np.bool_]
    done_needed: NDArray[np.bool_]
    where: NDArray[np.intp]
    level: NDArray[np.float32]

    @classmethod
    def of(
        cls, job: RepairJob, levels: Mapping[str, NDArray[Any]], draws: int, rng: np.random.Generator
    ) -> _Drawn:
        chance = rng.random(draws, dtype=np.float32)
        level_of = {key: levels[key] if key in levels else rng.random(draws) for key, _ in job.waits_for}
        done = _done(job, chance, level_of)
        part = job.forced
        done_needed = done if part is job else _done(part, chance, level_of) if part else np.zeros_like(done)
        where = np.flatnonzero(done)
        return cls(job, done, done_needed, where, rng.standard_normal(len(where), dtype=np.float32))


def _done(
    job: RepairJob, chance: NDArray[np.float32], level_of: Mapping[str, NDArray[Any]]
) -> NDArray[np.bool_]:
    done: NDArray[np.bool_] = chance < job.known_chance
    for key, likely in job.waits_for:
        done |= level_of[key] > 1.0 - likely
    return done


def _added(parts: Sequence[tuple[RepairJob, _Drawn, NDArray[np.bool_]]], draws: int) -> Array:
    """The sum of the jobs, each where it is done and no bigger one that includes it."""
    total = np.zeros(draws)
    for job, drawn, done in parts:
        paid = done[drawn.where]
        for bigger, _, done_too in parts:
            if job.job in bigger.includes:
                paid = paid & ~done_too[drawn.where]
        prices = triangular(drawn.level[paid], float(job.low), float(job.usual), float(job.high))
        total[drawn.where[paid]] += prices
    return total


def triangular(level: NDArray[Any], low: float, usual: float, high: float) -> NDArray[Any]:
    """The value under which a share ``level`` of a triangular distribution lies.

    Examples
    --------
    >>> [float(x) for x in triangular(np.array([0.0, 0.5, 1.0]), 0.0, 10.0, 20.0)]
    [0.0, 10.0, 20.0]
    """
    if high <= low:
        return np.full_like(level, low)
    below = (usual - low) / (high - low)
    rising = low + np.sqrt(level * (high - low) * (usual - low))
    falling = high - np.sqrt((1.0 - level) * (high - low) * (high - usual))
    return np.where(level < below, rising, falling)


def estimate(
    jobs: tuple[RepairJob, ...], *, currency: str, seed: int, draws: int, locale: str = LOCALE
) -> RepairEstimate:
    """The jobs with the 10, 50 and 90 % points of their simulated sum, and of those that are needed."""
    every, needed = simulate_both(jobs, draws=draws, rng=np.random.default_rng(seed))
    (low, middle, high), (least, usual, most) = _points(every), _points(needed)
    return RepairEstimate(
        jobs=jobs,
        p10=low,
        p50=middle,
        p90=high,
        needed_p10=least,
        needed_p50=usual,
        needed_p90=most,
        currency=currency,
        locale=locale,
    )


def _points(sums: Array) -> tuple[Decimal, Decimal, Decimal]:
    low, middle, high = (Decimal(round(float(q))) for q in np.percentile(sums, (10, 50, 90)))
    return low, middle, high
