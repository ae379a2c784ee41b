"""Which jobs a piano needs, each counted once, and what they may cost together."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from math import prod

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from pianolab.assess.findings import PointView, lower_first, sentence
from pianolab.assess.listening import Heard
from pianolab.assess.prices import PriceList
from pianolab.assess.results import RepairEstimate, RepairJob
from pianolab.assess.rules import holds
from pianolab.assess.scoring import Scoring, load_scoring
from pianolab.assess.tuning_state import TuningState
from pianolab.model import BuyerProfile


@dataclass(frozen=True, kw_only=True)
class Proposal:
    """One reason for one job; ``keys`` or ``count`` say how many keys or strings it concerns."""

    job: str
    reason: str
    chance: float
    keys: tuple[int, ...] = ()
    count: int = 0
    found: bool = True


def proposals_from_points(views: Iterable[PointView], *, scoring: Scoring) -> list[Proposal]:
    """Jobs that findings ask for, and, with a small chance, those that unchecked points may yet ask for."""
    found = []
    for view in (v for v in views if v.applies):
        if not view.checked:
            found += _possible(view, scoring.unknown["repair_chance"])
            continue
        for rule in view.point.repairs:
            for f in (f for f in view.findings if holds(rule, f, view.point)):
                reason = sentence(view, scoring)
                found.append(
                    Proposal(job=rule.job, reason=reason, chance=rule.chance, keys=f.keys, count=f.count or 0)
                )
    return found


def _possible(view: PointView, chance: float) -> list[Proposal]:
    reason = f"not checked: {lower_first(view.point.title)}"
    return [
        Proposal(job=rule.job, reason=reason, chance=chance * rule.chance, found=False)
        for rule in view.point.repairs
    ]


def proposals_from_listening(heard: Iterable[Heard]) -> list[Proposal]:
    """Jobs that the recording asks for."""
    return [
        Proposal(
            job=rule.job,
            reason=f"{h.item.what} in {len(h.faulty)} of {h.total} {h.item.of}",
            chance=rule.chance,
            keys=h.faulty if rule.per_key else (),
        )
        for h in heard
        for rule in h.item.repairs
        if len(h.faulty) > rule.over
    ]


def proposals_from_tuning(
    state: TuningState, views: Iterable[PointView], *, scoring: Scoring
) -> list[Proposal]:
    """First tunings for every piano; a pitch raise or advice on it where the pitch is low."""
    money = scoring.money
    found = [Proposal(job="first tunings", reason="every piano settles after a move", chance=1.0)]
    flat = -(state.offset_cents or 0.0)
    far = flat > money["ask_technician_over_cents"]
    if flat > money["pitch_raise_over_cents"]:
        reason = f"{flat:.0f} cents flat"
        weak = far or _weak_strings(views, money["weak_string_points"])
        if weak:
            found.append(Proposal(job="pitch advice", reason=reason, chance=1.0))
        chance = money["raise_chance_when_far_flat"] if weak else 1.0
        found.append(Proposal(job="pitch raise", reason=reason, chance=chance))
    elif state.neglected:
        found.append(Proposal(job="tuning", reason="overdue, and it hides other things", chance=1.0))
    return found


def _weak_strings(views: Iterable[PointView], points: Sequence[str]) -> bool:
    return any(v.point.id in points and v.checked and v.share >= 0.3 for v in views)


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
    found = sorted({p.reason for p in mine if p.found})
    guesses = [p.chance for p in mine if not p.found]
    missed = prod(1.0 - p.chance for p in {p.reason: p for p in mine if p.found}.values())
    quantity = 1
    if price.per != "piano":
        quantity = max(len({k for p in mine for k in p.keys}), *(p.count for p in mine), 1)
    part = Decimal(1)
    if profile is not None and profile.enjoys_projects and price.own_work is not None:
        part = Decimal(str(price.own_work))
    low, usual, high = (part * quantity * amount for amount in (price.low, price.usual, price.high))
    return RepairJob(
        job=job,
        title=price.title + (f" ({quantity} {price.per}s)" if quantity > 1 else ""),
        low=low,
        usual=usual,
        high=high,
        chance=1.0 - missed * (1.0 - max(guesses, default=0.0)),
        reasons=tuple(found) or tuple(sorted({p.reason for p in mine})),
        quantity=quantity,
        includes=price.includes,
        found=bool(found),
    )


def simulate_repairs(
    jobs: Sequence[RepairJob],
    *,
    draws: int,
    rng: np.random.Generator,
    shared: float | None = None,
) -> NDArray[np.float64]:
    """Sums of the jobs' costs, one for each draw.

    Parameters
    ----------
    jobs : the jobs with low, usual and high price and chance
    draws : int
    rng : the random numbers; the same state gives the same sums
    shared : float from 0 to 1, correlation between the prices of two jobs (one workshop does them all)

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
    common = rng.standard_normal(draws)
    needed = {job.job: rng.random(draws) < job.chance for job in jobs}
    for job in jobs:
        paid = needed[job.job].copy()
        for bigger in (other for other in jobs if job.job in other.includes):
            paid &= ~needed[bigger.job]
        where = np.flatnonzero(paid)
        own = rng.standard_normal(len(where))
        level = ndtr(np.sqrt(shared) * common[where] + np.sqrt(1.0 - shared) * own)
        total[where] += triangular(level, float(job.low), float(job.usual), float(job.high))
    return total


def triangular(level: NDArray[np.float64], low: float, usual: float, high: float) -> NDArray[np.float64]:
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


def estimate(jobs: tuple[RepairJob, ...], *, currency: str, seed: int, draws: int) -> RepairEstimate:
    """The jobs with the 10, 50 and 90 % points of their simulated sum."""
    sums = simulate_repairs(jobs, draws=draws, rng=np.random.default_rng(seed))
    p10, p50, p90 = (Decimal(round(float(q))) for q in np.percentile(sums, (10, 50, 90)))
    return RepairEstimate(jobs=jobs, p10=p10, p50=p50, p90=p90, currency=currency)
