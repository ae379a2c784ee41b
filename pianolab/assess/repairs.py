"""Each job once, with its chance and its price, and what all of them may cost together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from math import prod, sqrt
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from pianolab.assess.prices import Price, PriceList
from pianolab.assess.proposals import Extra, Proposal
from pianolab.assess.results import RepairEstimate, RepairJob
from pianolab.assess.scoring import load_scoring
from pianolab.model import BuyerProfile
from pianolab.show import LOCALE
from pianolab.statements import Statement, statement
from pianolab.words import say

Array = NDArray[np.float64]

ALMOST_SURE = 0.999


def jobs_from(
    proposals: Sequence[Proposal], *, prices: PriceList, profile: BuyerProfile | None
) -> tuple[RepairJob, ...]:
    """Each job once, with the chance that at least one of its reasons needs it; the dearest first."""
    by_job: dict[str, list[Proposal]] = {}
    for p in proposals:
        by_job.setdefault(p.job, []).append(p)
    jobs = [_job(job, mine, prices, profile) for job, mine in by_job.items()]
    return tuple(sorted(jobs, key=lambda j: (not j.found, -float(j.usual) * j.chance, j.job)))


def _job(job: str, mine: list[Proposal], prices: PriceList, profile: BuyerProfile | None) -> RepairJob:
    price = prices[job]
    found = _once([p for p in mine if p.found])
    missed = prod(1.0 - p.chance for p in {p.why: p for p in mine if p.found}.values())
    waits_for = _waits_for([p for p in mine if not p.found])
    quantity = 1
    if price.per != "piano":
        quantity = max(len({k for p in mine for k in p.keys}), *(p.count for p in mine), 1)
    extra = _largest([p.extra for p in mine if p.extra is not None])
    low, usual, high = _amounts(price, quantity, extra, prices, profile)
    return RepairJob(
        job=job,
        what=_what(price, quantity, extra),
        low=low,
        usual=usual,
        high=high,
        chance=1.0 - missed * prod(1.0 - chance for _, chance in waits_for),
        why=found or _once(mine),
        quantity=quantity,
        includes=price.includes,
        found=bool(found),
        waits_for=waits_for,
    )


def _once(proposals: Sequence[Proposal]) -> tuple[Statement, ...]:
    """Each reason once, in the order in which a reader looks for them."""
    return tuple(sorted({p.why for p in proposals}, key=say))


def _waits_for(guesses: Sequence[Proposal]) -> tuple[tuple[str, float], ...]:
    """The unknowns that may bring a job to light, scaled so that together they reach the likeliest of them.

    Ten unchecked points that each might ask for one and the same job make it no more likely than the
    weightiest of them does: they look at one and the same trouble from several sides.
    """
    by_key: dict[str, dict[Statement, float]] = {}
    for p in guesses:
        reasons = by_key.setdefault(p.unknown, {})
        reasons[p.why] = max(reasons.get(p.why, 0.0), p.chance)
    chances = {key: min(sum(reasons.values()), ALMOST_SURE) for key, reasons in sorted(by_key.items())}
    if not chances or sum(chances.values()) <= 0:
        return ()
    most, total = max(chances.values()), sum(chances.values())
    return tuple((key, 1.0 - (1.0 - most) ** (p / total)) for key, p in chances.items() if p > 0)


def _largest(extras: Sequence[Extra]) -> Extra | None:
    return max(extras, key=lambda e: (e.high, e.usual, e.low), default=None)


def _amounts(
    price: Price, quantity: int, extra: Extra | None, prices: PriceList, profile: BuyerProfile | None
) -> tuple[Decimal, Decimal, Decimal]:
    part = Decimal(1)
    if profile is not None and profile.enjoys_projects and price.own_work is not None:
        part = Decimal(str(price.own_work))
    low, usual, high = (part * quantity * amount for amount in (price.low, price.usual, price.high))
    if extra is None:
        return low, usual, high
    besides = prices[extra.job]
    return (
        low + Decimal(str(extra.low)) * besides.low,
        usual + Decimal(str(extra.usual)) * besides.usual,
        high + Decimal(str(extra.high)) * besides.high,
    )


def _what(price: Price, quantity: int, extra: Extra | None) -> Statement:
    what = statement("job.one", title=price.title)
    if quantity > 1:
        what = statement("job.several", title=price.title, quantity=quantity, per=price.per)
    if extra is None:
        return what
    return statement("job.with more", job=what, low=extra.low, high=extra.high, what=extra.what)


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
    all_of_it = _points(simulate_repairs(jobs, draws=draws, rng=np.random.default_rng(seed)))
    needed = _points(simulate_repairs(jobs, draws=draws, rng=np.random.default_rng(seed), need="needed"))
    return RepairEstimate(
        jobs=jobs,
        **{f"p{p}": amount for p, amount in all_of_it.items()},
        **{f"needed_p{p}": amount for p, amount in needed.items()},
        currency=currency,
        locale=locale,
    )


def _points(sums: Array) -> dict[int, Decimal]:
    return {p: Decimal(round(float(np.percentile(sums, p)))) for p in (10, 50, 90)}
