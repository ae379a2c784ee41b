"""Drawing scores and money: every unknown takes a value of its range, once for each draw."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from math import prod
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray
from scipy.special import erf

from pianolab.assess import Assessment, simulate_repairs
from pianolab.assess.assessment import BEST
from pianolab.compare.looked import load_floors
from pianolab.model import ASPECTS, Buyer

Array = NDArray[np.float64]
Floats = TypeVar("Floats", NDArray[np.float32], NDArray[np.float64])

HAIR = 1e-9

LEARNING_DRAWS = 4000
"""So many draws of the unknowns are kept to simulate what learning them does."""


@dataclass(frozen=True, kw_only=True, eq=False)
class PianoDraws:
    """One piano in all draws.

    ``scores`` has shape (6 aspects, draws); ``total`` (draws,) is all the money that has to be spent, ``extras`` all of it
    but the price, ``repairs`` what goes into needed work; ``stopped`` (draws,) says where an unknown turns out to stop the purchase, ``below``
    where an aspect falls under its floor (``floors``, shape (6,)). ``unknown`` holds the unknowns' keys, ``loss``
    (6, unknowns) what each takes at worst (as a logarithm), ``level`` (unknowns, draws) how bad it turns out
    in a draw (the first `LEARNING_DRAWS` only), ``veto_chance`` (unknowns,) when that stops the purchase.
    ``mean_factor`` (6, unknowns) is what each leaves of a score on average, ``hunts`` are the jobs that an unknown may
    bring to light; ``tie`` (draws,) is a hair's breadth that decides between pianos of which everything is the same,
    one way or the other.
    """

    scores: NDArray[np.float32]
    total: Array
    extras: Array
    repairs: Array
    stopped: NDArray[np.bool_]
    below: NDArray[np.bool_]
    floors: Array
    unknown: tuple[str, ...]
    loss: Array
    level: NDArray[np.float32]
    veto_chance: Array
    high: Array
    price_known: bool
    tie: Array
    mean_factor: Array
    hunts: tuple[JobHunt, ...] = ()

    @property
    def fit(self) -> NDArray[np.bool_]:
        """Draws in which it is fit to buy, as far as it alone decides."""
        return ~(self.stopped | self.below)


@dataclass(frozen=True, kw_only=True, eq=False)
class JobHunt:
    """A job that waits for unknowns: what it costs where it is needed, and how likely each shows it.

    ``price`` is its mean price, less the chance that a bigger job includes it; ``chance_of`` is by unknown's key.
    """

    price: float
    known_chance: float
    chance_of: Mapping[str, float]

    def expected_cost(self, level_of: Mapping[str, NDArray[np.float32]]) -> Array | float:
        """Expected cost once some unknowns are known to turn out at these levels (draws,)."""
        missed = 1.0 - self.known_chance
        shown: NDArray[np.bool_] | bool = False
        for key, chance in self.chance_of.items():
            if key in level_of:
                shown = shown | (level_of[key] > 1.0 - chance)
            else:
                missed *= 1.0 - chance
        cost: Array | float = self.price * (1.0 - missed * (1.0 - np.asarray(shown, dtype=float)))
        return cost


def draw_piano(
    assessment: Assessment,
    *,
    profile: Buyer,
    price_span: tuple[float, float],
    draws: int,
    rng: np.random.Generator,
) -> PianoDraws:
    """Scores and money of one piano; every unknown takes a value between fine and failed in each draw.

    Only the money that has to be spent counts: the price, moving, and the jobs needed for use and safety.
    """
    unknown, loss, veto = _unknowns(assessment)
    level = rng.random((len(unknown), draws), dtype=np.float32)
    levels = dict(zip(unknown, level, strict=True))
    high = np.array([a.high for a in assessment.aspects])
    scores = high.astype(np.float32)[:, None] * np.exp(-(loss.astype(np.float32) @ severity(level)))
    plain = _fill_plain_intervals(scores, assessment, loss, rng)
    asked, moving = _draw_paid(assessment, profile, price_span, draws=draws, rng=rng)
    repairs = simulate_repairs(assessment.repairs.jobs, draws=draws, rng=rng, levels=levels, need="needed")
    floors = load_floors().of(profile.level)
    return PianoDraws(
        scores=scores,
        total=asked + moving + repairs,
        extras=moving + repairs,
        repairs=repairs,
        stopped=turns_out_stopped(level, veto),
        below=falls_below(high, loss, level, floors) | np.any(scores[plain] < floors[plain, None], axis=0),
        floors=floors,
        unknown=unknown,
        loss=loss,
        level=level[:, :LEARNING_DRAWS].copy(),
        veto_chance=veto,
        high=high,
        price_known=assessment.piano.asking_price is not None,
        tie=HAIR * rng.random(draws),
        mean_factor=mean_factor(loss),
        hunts=_hunts(assessment, unknown),
    )


def severity(level: Floats) -> Floats:
    """How much of its worst an unknown takes, for a level drawn evenly from 0 to 1: its square.

    On average a third: much less than the worst, well more than nothing. Own estimate: among things nobody
    has looked at, little is wrong more often than much.
    """
    return np.square(level)


def mean_factor(loss: Array) -> Array:
    """What is left of a score on average: the mean of exp(-loss severity(x)) for x even from 0 to 1.

    Examples
    --------
    >>> float(mean_factor(np.array([0.0]))[0]), round(float(mean_factor(np.array([2.5]))[0]), 4)
    (1.0, 0.5463)
    """
    root = np.sqrt(np.where(loss > 1e-12, loss, 1.0))
    return np.where(loss > 1e-12, 0.5 * np.sqrt(np.pi) * erf(root) / root, 1.0)


def turns_out_stopped(level: NDArray[Any], veto_chance: Array) -> NDArray[np.bool_]:
    """Draws in which at least one unknown turns out so bad that it stops the purchase."""
    stopped = np.zeros(level.shape[1], dtype=bool)
    for i in np.flatnonzero(veto_chance):
        stopped |= level[i] > 1.0 - veto_chance[i]
    return stopped


def falls_below(high: Array, loss: Array, level: NDArray[Any], floors: Array) -> NDArray[np.bool_]:
    """Draws in which one unknown by itself takes an aspect under its floor.

    Many small doubts together make a score uncertain; how often one of many unseen parts fails altogether stands in
    the chance of a stop already, and is not counted again.

    Parameters
    ----------
    high : array, shape (6,), the aspects' upper ends; one under its floor stays there in every draw
    loss : array, shape (6, unknowns), what each takes at worst, as a logarithm
    level : array, shape (unknowns, draws), how bad each turns out, 0 to 1
    floors : array, shape (6,)

    Examples
    --------
    >>> falls_below(np.array([8.0]), np.array([[2.0]]), np.array([[0.2, 0.9]]), np.array([3.0])).tolist()
    [False, True]
    """
    below = np.full(level.shape[1], bool(np.any(high < floors)))
    with np.errstate(divide="ignore"):
        room = np.log(np.maximum(high, 1e-12)) - np.log(floors)
    for aspect, unknown in np.argwhere((loss > room[:, None]) & (loss > 0.0)):
        below |= severity(level[unknown]) > room[aspect] / loss[aspect, unknown]
    return below


def _unknowns(assessment: Assessment) -> tuple[tuple[str, ...], Array, Array]:
    veto: dict[str, float] = {}
    for u in assessment.unknowns:
        veto[u.key or u.source] = max(veto.get(u.key or u.source, 0.0), u.veto_chance)
    keys = sorted(veto)
    at = {key: i for i, key in enumerate(keys)}
    loss = np.zeros((len(ASPECTS), len(keys)))
    for row, aspect in enumerate(assessment.aspects):
        for u in aspect.unknown:
            loss[row, at[u.key or u.source]] += u.loss
    return tuple(keys), loss, np.array([veto[k] for k in keys])


def _hunts(assessment: Assessment, unknown: Sequence[str]) -> tuple[JobHunt, ...]:
    jobs = [job.forced for job in assessment.repairs.jobs if job.forced is not None]
    known = set(unknown)
    hunts = []
    for job in (job for job in jobs if job.waits_for):
        apart = prod(1.0 - bigger.chance for bigger in jobs if job.job in bigger.includes)
        unlisted = prod(1.0 - p for key, p in job.waits_for if key not in known)
        chance_of = {key: p for key, p in job.waits_for if key in known}
        before = 1.0 - (1.0 - job.known_chance) * unlisted
        hunts.append(JobHunt(price=job.mean_price * apart, known_chance=before, chance_of=chance_of))
    return tuple(hunts)


def _fill_plain_intervals(
    scores: NDArray[np.float32], assessment: Assessment, loss: Array, rng: np.random.Generator
) -> list[int]:
    """Intervals that no unknown explains are drawn evenly from low to high; returns which aspects those are."""
    plain = []
    for row, aspect in enumerate(assessment.aspects):
        explained = aspect.high * np.exp(-loss[row].sum())
        if abs(explained - aspect.low) > 1e-6 * BEST:
            scores[row] = aspect.low + (aspect.high - aspect.low) * rng.random(scores.shape[1])
            plain.append(row)
    return plain


def _draw_paid(
    assessment: Assessment,
    profile: Buyer,
    price_span: tuple[float, float],
    *,
    draws: int,
    rng: np.random.Generator,
) -> tuple[Array, Array]:
    """The price asked, drawn where nobody has named one, and the move, which may be in that price."""
    price, carried = assessment.piano.asking_price, assessment.piano.delivery_included
    asked = rng.uniform(*price_span, draws) if price is None else np.full(draws, float(price))
    moving = rng.uniform(float(profile.moving_cost[0]), float(profile.moving_cost[1]), draws)
    return asked, np.zeros(draws) if carried else moving


def money_value(total: Array, scale: float) -> Array:
    """Money on the scale of the aspects: 10 for nothing spent, 0 for the whole budget, less beyond it."""
    return BEST * (1.0 - total / scale)


def money_scale(assessments: Sequence[Assessment], profile: Buyer) -> float:
    """The sum of money that counts as much as an aspect from worst to best: the budget, else the dearest."""
    if profile.budget is not None:
        return float(profile.budget)
    asked = [a.piano.asking_price for a in assessments if a.piano.asking_price is not None]
    return max([float(price + Decimal(1)) for price in asked], default=1000.0)
