"""What matters to the buyer as numbers: weights drawn from ranges that add up to the whole."""

from __future__ import annotations

from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from pianolab.model import ASPECTS, Buyer

Array = NDArray[np.float64]

SWEEPS = 4
"""How often each pair of weights shares out its sum anew; after so many the start is forgotten (tested)."""


def draw_weights(profile: Buyer, *, draws: int, rng: np.random.Generator) -> Array:
    """Weights of the six aspects and of money, shape (draws, 7); each row sums to 1, each within its range.

    Drawn evenly from all weights that the profile's ranges allow.

    Raises
    ------
    BadInput
        Where no weights within the ranges can add up to 1.

    Examples
    --------
    >>> w = draw_weights(Buyer(name="x"), draws=5, rng=np.random.default_rng(0))
    >>> w.shape, bool(np.allclose(w.sum(axis=1), 1.0))
    ((5, 7), True)
    """
    profile.check()
    low, high = weight_ranges(profile)
    return draw_within(low, high, draws=draws, rng=rng)


def draw_within(low: Array, high: Array, *, draws: int, rng: np.random.Generator) -> Array:
    """Points drawn evenly from a box, as far as its coordinates sum to 1; shape (draws, len(low)).

    Notes
    -----
    Gibbs sampling, one chain for each draw: two coordinates at a time share out their sum evenly over what
    their ranges leave. That keeps the even distribution, and every point reaches every other.
    """
    points = np.repeat(evenly_filled(low, high)[:, None], draws, axis=1)
    for _ in range(SWEEPS):
        for pairs in _rounds(len(low)):
            one, other = pairs
            both = points[one] + points[other]
            least = np.maximum(low[one, None], both - high[other, None])
            most = np.minimum(high[one, None], both - low[other, None])
            points[one] = least + np.maximum(most - least, 0.0) * rng.random(both.shape)
            points[other] = both - points[one]
    return np.ascontiguousarray(points.T)


def _rounds(count: int) -> list[tuple[NDArray[np.int_], NDArray[np.int_]]]:
    """All pairs, in rounds in which nobody stands twice."""
    left = list(combinations(range(count), 2))
    rounds = []
    while left:
        taken: list[tuple[int, int]] = []
        for pair in left:
            if not any(set(pair) & set(other) for other in taken):
                taken.append(pair)
        left = [pair for pair in left if pair not in taken]
        rounds.append((np.array([a for a, _ in taken]), np.array([b for _, b in taken])))
    return rounds


def weight_ranges(profile: Buyer) -> tuple[Array, Array]:
    """Low and high ends of the seven weights: the aspects in their order, then money."""
    pairs = [profile.weights[aspect] for aspect in ASPECTS] + [profile.money_weight]
    return np.array([p[0] for p in pairs], dtype=float), np.array([p[1] for p in pairs], dtype=float)


def evenly_filled(low: Array, high: Array) -> Array:
    """The point of a box that sums to 1 and lies equally far along all of its ranges.

    Examples
    --------
    >>> evenly_filled(np.array([0.2, 0.4]), np.array([0.4, 0.8])).round(3).tolist()
    [0.333, 0.667]
    """
    span = float((high - low).sum())
    return low + (high - low) * ((1.0 - low.sum()) / span if span > 0 else 0.0)


def middle_weights(profile: Buyer) -> Array:
    """The weights that lie equally far along all of the profile's ranges; they sum to 1."""
    profile.check()
    return evenly_filled(*weight_ranges(profile))
