"""Ranks: shares over the draws, central weights and confidence, Pareto dominance, the plain weighted sum.

Stochastic multicriteria acceptability analysis in the sense of the field: in every draw the pianos are
ranked by a weighted sum; the shares of the ranks say how firm the order is. A piano that is not fit to be bought in a
draw takes no rank in it.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pianolab.compare.simulate import Array

STOPPED = -1000.0
"""Added to the utility of a piano that is not fit to be bought: it ranks behind all that are, and is never counted."""


def weighted_sum(values: ArrayLike, weights: ArrayLike) -> Array:
    """Plain weighted sum of each row of ``values``.

    Parameters
    ----------
    values : array, shape (alternatives, criteria); larger is better
    weights : array, shape (criteria,)

    Returns
    -------
    ndarray, shape (alternatives,)

    Examples
    --------
    >>> [round(float(x), 3) for x in weighted_sum([[5, 8], [7, 6]], [0.25, 0.75])]
    [7.25, 6.25]
    """
    return np.asarray(values, dtype=float) @ np.asarray(weights, dtype=float)


def dominators(low: ArrayLike, high: ArrayLike) -> NDArray[np.bool_]:
    """Which alternative dominates which, on intervals: surely no worse in all criteria, better in one.

    Parameters
    ----------
    low, high : arrays, shape (alternatives, criteria); larger is better

    Returns
    -------
    ndarray of bool, shape (alternatives, alternatives); ``[i, j]`` says that i dominates j

    Examples
    --------
    >>> dominators([[5.0, 5.0], [4.0, 5.0]], [[5.0, 5.0], [4.0, 5.0]]).tolist()
    [[False, True], [False, False]]
    """
    low, high = np.asarray(low, dtype=float), np.asarray(high, dtype=float)
    never_worse = np.all(low[:, None, :] >= high[None, :, :], axis=2)
    once_better = np.any(low[:, None, :] > high[None, :, :], axis=2)
    dominates: NDArray[np.bool_] = never_worse & once_better
    return dominates


def rank_shares(utility: Array, fit: NDArray[np.bool_] | None = None) -> Array:
    """Share of the draws in which each piano takes each rank and is fit to be bought.

    Parameters
    ----------
    utility : ndarray, shape (pianos, draws)
    fit : ndarray of bool, shape (pianos, draws), where each may be bought; everywhere if not given

    Returns
    -------
    ndarray, shape (pianos, pianos); ``[i, r]`` for piano i at rank r + 1 of those that are fit. A row sums to the share
    in which the piano is fit at all, a column to the share in which so many are; what is left of the first
    column is the share in which none of them is fit to buy.

    Examples
    --------
    >>> rank_shares(np.array([[3.0, 1.0], [2.0, 2.0]])).tolist()
    [[0.5, 0.5], [0.5, 0.5]]
    >>> rank_shares(np.array([[3.0, 1.0], [2.0, 2.0]]), np.array([[True, False], [False, False]])).tolist()
    [[0.5, 0.0], [0.0, 0.0]]
    """
    count, draws = utility.shape
    fit = np.ones(utility.shape, dtype=bool) if fit is None else fit
    order = np.argsort(-(utility + STOPPED * ~fit), axis=0, kind="stable")
    shares = np.zeros((count, count))
    for rank in range(count):
        counted = fit[order[rank], np.arange(draws)]
        shares[:, rank] = np.bincount(order[rank][counted], minlength=count) / draws
    return shares


def share_of_none(fit: NDArray[np.bool_]) -> float:
    """Share of the draws in which not one of the pianos is fit to buy; ``fit`` has shape (pianos, draws).

    Examples
    --------
    >>> share_of_none(np.array([[True, False], [False, False]]))
    0.5
    """
    return float(1.0 - fit.any(axis=0).mean())


def central_weights(
    utility: Array, weights: Array, fit: NDArray[np.bool_] | None = None
) -> list[Array | None]:
    """For each piano the mean weights of the draws in which it comes first and is fit; None where it never does."""
    fit = np.ones(utility.shape, dtype=bool) if fit is None else fit
    first = np.where(fit.any(axis=0), np.argmax(utility + STOPPED * ~fit, axis=0), -1)
    return [weights[first == i].mean(axis=0) if (first == i).any() else None for i in range(len(utility))]


def confidence(
    criteria: Sequence[Array],
    besides: Array,
    piano: int,
    weights: Array,
    fit: NDArray[np.bool_] | None = None,
) -> float:
    """Share of the draws in which a piano comes first and is fit if exactly these weights hold.

    Parameters
    ----------
    criteria : for each piano its values, shape (criteria, draws)
    besides : ndarray, shape (pianos, draws); added to the weighted sums (what parts ties)
    piano : int
    weights : ndarray, shape (criteria,)
    fit : ndarray of bool, shape (pianos, draws), where each may be bought; everywhere if not given
    """
    utility = np.stack([weights @ c for c in criteria]) + besides
    fit = np.ones(utility.shape, dtype=bool) if fit is None else fit
    first = np.argmax(utility + STOPPED * ~fit, axis=0) == piano
    return float((first & fit[piano]).mean())
