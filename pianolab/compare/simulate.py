"""Drawing weights, scores and money: every unknown takes a value of its range, once for each draw."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np
from numpy.typing import NDArray
from scipy.special import erf

from pianolab.assess import Assessment, simulate_repairs
from pianolab.assess.results import BEST
from pianolab.model import ASPECTS, BuyerProfile

Array = NDArray[np.float64]

LEARNING_DRAWS = 4000
"""So many draws of the unknowns are kept to simulate what learning them does."""


@dataclass(frozen=True, kw_only=True, eq=False)
class PianoDraws:
    """One piano in all draws.

    ``scores`` has shape (6 aspects, draws); ``total`` (draws,) is all the money it takes; ``stopped`` (draws,)
    says where an unknown turns out to stop the purchase. ``unknown`` holds the unknowns' keys, ``loss``
    (6, unknowns) what each takes at worst (as a logarithm), ``level`` (unknowns, draws) how bad it turns out
    in a draw (the first `LEARNING_DRAWS` only), ``veto_chance`` (unknowns,) when that stops the purchase.
    """

    scores: NDArray[np.float32]
    total: Array
    stopped: NDArray[np.bool_]
    unknown: tuple[str, ...]
    loss: Array
    level: Array
    veto_chance: Array
    high: Array
    price_known: bool


def draw_weights(profile: BuyerProfile, *, draws: int, rng: np.random.Generator) -> Array:
    """Weights of the six aspects and of money, shape (draws, 7); each row sums to 1.

    Each weight is drawn evenly from the profile's range, then the row is scaled to sum 1.

    Examples
    --------
    >>> w = draw_weights(BuyerProfile(name="x"), draws=5, rng=np.random.default_rng(0))
    >>> w.shape, bool(np.allclose(w.sum(axis=1), 1.0))
    ((5, 7), True)
    """
    low, high = weight_ranges(profile)
    weights = low + (high - low) * rng.random((draws, len(low)))
    return weights / weights.sum(axis=1, keepdims=True)


def weight_ranges(profile: BuyerProfile) -> tuple[Array, Array]:
    """Low and high ends of the seven weights: the aspects in their order, then money."""
    pairs = [profile.weights[aspect] for aspect in ASPECTS] + [profile.money_weight]
    return np.array([p[0] for p in pairs]), np.array([p[1] for p in pairs])


def middle_weights(profile: BuyerProfile) -> Array:
    """The middle of every range, scaled to sum 1."""
    low, high = weight_ranges(profile)
    middle = 0.5 * (low + high)
    return middle / middle.sum()


def draw_piano(
    assessment: Assessment,
    *,
    profile: BuyerProfile,
    price_span: tuple[float, float],
    draws: int,
    rng: np.random.Generator,
) -> PianoDraws:
    """Scores and money of one piano; every unknown takes a value between fine and failed in each draw."""
    unknown, loss, veto = _unknowns(assessment)
    level = rng.random((len(unknown), draws))
    high = np.array([a.high for a in assessment.aspects])
    scores = high[:, None] * np.exp(-(loss @ severity(level)))
    _fill_plain_intervals(scores, assessment, loss, rng)
    return PianoDraws(
        scores=scores.astype(np.float32),
        total=_draw_total(assessment, profile, price_span, draws, rng),
        stopped=turns_out_stopped(level, veto),
        unknown=unknown,
        loss=loss,
        level=level[:, :LEARNING_DRAWS].copy(),
        veto_chance=veto,
        high=high,
        price_known=assessment.piano.asking_price is not None,
    )


def severity(level: Array) -> Array:
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


def turns_out_stopped(level: Array, veto_chance: Array) -> NDArray[np.bool_]:
    """Draws in which at least one unknown turns out so bad that it stops the purchase."""
    stopped: NDArray[np.bool_] = np.any(level > 1.0 - veto_chance[:, None], axis=0)
    return stopped


def _unknowns(assessment: Assessment) -> tuple[tuple[str, ...], Array, Array]:
    everything = [u for a in assessment.aspects for u in a.unknown] + list(assessment.unknown_vetoes)
    veto: dict[str, float] = {}
    for u in everything:
        veto[u.key or u.source] = max(veto.get(u.key or u.source, 0.0), u.veto_chance)
    keys = sorted(veto)
    loss = np.zeros((len(ASPECTS), len(keys)))
    for row, aspect in enumerate(assessment.aspects):
        for u in aspect.unknown:
            loss[row, keys.index(u.key or u.source)] += u.loss
    return tuple(keys), loss, np.array([veto[k] for k in keys])


def _fill_plain_intervals(
    scores: Array, assessment: Assessment, loss: Array, rng: np.random.Generator
) -> None:
    """Intervals that no unknown explains are drawn evenly from low to high."""
    for row, aspect in enumerate(assessment.aspects):
        explained = aspect.high * np.exp(-loss[row].sum())
        if abs(explained - aspect.low) > 1e-6 * BEST:
            scores[row] = aspect.low + (aspect.high - aspect.low) * rng.random(scores.shape[1])


def _draw_total(
    assessment: Assessment,
    profile: BuyerProfile,
    price_span: tuple[float, float],
    draws: int,
    rng: np.random.Generator,
) -> Array:
    price = assessment.piano.asking_price
    asked = rng.uniform(*price_span, draws) if price is None else np.full(draws, float(price))
    moving = rng.uniform(float(profile.moving_cost[0]), float(profile.moving_cost[1]), draws)
    return asked + moving + simulate_repairs(assessment.repairs.jobs, draws=draws, rng=rng)


def money_value(total: Array, scale: float) -> Array:
    """Money on the scale of the aspects: 10 for nothing spent, 0 for the whole budget, less beyond it."""
    return BEST * (1.0 - total / scale)


def money_scale(assessments: Sequence[Assessment], profile: BuyerProfile) -> float:
    """The sum of money that counts as much as an aspect from worst to best: the budget, else the dearest."""
    if profile.budget is not None:
        return float(profile.budget)
    asked = [a.piano.asking_price for a in assessments if a.piano.asking_price is not None]
    return max([float(price + Decimal(1)) for price in asked], default=1000.0)
