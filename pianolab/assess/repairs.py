"""What all jobs of a piano may cost together, and those that are needed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from math import sqrt
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from pianolab.assess.results import RepairEstimate, RepairJob
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
    total = np.zeros(draws)
    if not jobs:
        return total
    shared = load_scoring().money["shared_price_level"] if shared is None else shared
    common = rng.standard_normal(draws, dtype=np.float32)
    drawn = [(job, own) for job, own in zip(jobs, rng.spawn(len(jobs)), strict=True)]
    counted = [(job.forced if need else job, job, own) for job, own in drawn]
    parts = [(part, _done(part, job, levels or {}, draws, own), own) for part, job, own in counted if part]
    done = {part.job: where for part, where, _ in parts}
    for part, paid, own in parts:
        for bigger in (other for other, _, _ in parts if part.job in other.includes):
            paid = paid & ~done[bigger.job]
        where = np.flatnonzero(paid)
        apart = own.standard_normal(draws, dtype=np.float32)[where]
        level = ndtr(np.float32(sqrt(shared)) * common[where] + np.float32(sqrt(1.0 - shared)) * apart)
        total[where] += triangular(level, float(part.low), float(part.usual), float(part.high))
    return total


def _done(
    part: RepairJob, job: RepairJob, levels: Mapping[str, NDArray[Any]], draws: int, rng: np.random.Generator
) -> NDArray[np.bool_]:
    """Where a job, or the needed part of it, is done; both are drawn from the same numbers."""
    done: NDArray[np.bool_] = rng.random(draws, dtype=np.float32) < part.known_chance
    chance_of = dict(part.waits_for)
    for key, _ in job.waits_for:
        level = levels.get(key)
        level = rng.random(draws) if level is None else level
        if key in chance_of:
            done |= level > 1.0 - chance_of[key]
    return done


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
    low, middle, high = _points(simulate_repairs(jobs, draws=draws, rng=np.random.default_rng(seed)))
    needed = simulate_repairs(jobs, draws=draws, rng=np.random.default_rng(seed), need="needed")
    least, usual, most = _points(needed)
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
