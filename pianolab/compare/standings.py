"""Where each piano stands: ranks, scores, money, what to offer, what dominates it.

Stochastic multicriteria acceptability analysis in the sense of the field: in every draw the pianos are
ranked by a weighted sum; the shares of the ranks say how firm the order is. A piano that is not fit to be bought in a
draw takes no rank in it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pianolab.assess import Assessment
from pianolab.compare.comparison import Standing
from pianolab.compare.learning import Field
from pianolab.compare.price import PriceAdvice
from pianolab.compare.simulate import Array, PianoDraws, money_value
from pianolab.compare.weights import middle_weights
from pianolab.model import ASPECTS, Buyer
from pianolab.statements import Statement

STOPPED = -1000.0
"""Added to the utility of a piano that is not fit to be bought: it ranks behind all that are, and is never counted."""
MOST_CONFIDENCES = 10
"""Confidence is simulated again for each piano; on longer shortlists it is left out."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Ranking:
    """The simulation over all pianos: ``merit`` and ``ties`` (pianos, draws), ``weights`` (draws, 7), ``criteria``
    (7, draws; none on long shortlists); ``obstacles`` and ``fit`` (draws) say where each may be bought; ``scale`` is
    the money that counts as a whole aspect.
    """

    obstacles: Sequence[tuple[Statement, ...]]
    criteria: Sequence[Array]
    merit: Array
    ties: Array
    fit: NDArray[np.bool_]
    weights: Array
    scale: float

    @property
    def utility(self) -> Array:
        """What the pianos are ranked by where they are fit to buy, shape (pianos, draws)."""
        return self.merit + self.ties


def make_standings(
    given: Sequence[Assessment],
    field: Field,
    ranking: Ranking,
    *,
    profile: Buyer,
    advice: Sequence[PriceAdvice],
) -> list[Standing]:
    """A standing for each piano, in the order given."""
    shares = rank_shares(ranking.utility, ranking.fit)
    central = central_weights(ranking.utility, ranking.weights, ranking.fit)
    beaten = _dominated(given, field.draws)
    middle = middle_weights(profile)
    standings = []
    for i, a in enumerate(given):
        total = _percentiles(field.draws[i])
        standings.append(
            Standing(
                piano_id=a.piano.id,
                name=a.piano.name,
                rank_shares=tuple(float(x) for x in shares[i]),
                score_low=_aspect_mean([x.low for x in a.aspects], middle),
                score_middle=_aspect_mean(list(field.draws[i].scores.mean(axis=1)), middle),
                score_high=_aspect_mean([x.high for x in a.aspects], middle),
                total_p10=total[0],
                total_p50=total[1],
                total_p90=total[2],
                vetoed=bool(a.vetoes),
                dominated_by=tuple(sorted(given[int(j)].piano.id for j in np.flatnonzero(beaten[:, i]))),
                weighted_sum=_plain_sum(a, total[1], middle, ranking.scale),
                central_weights=_named(central[i]),
                confidence=_confidence(ranking, i, central[i]),
                barred_by=next(iter(ranking.obstacles[i]), None),
                obstacles=ranking.obstacles[i],
                price=advice[i],
            )
        )
    return standings


def _percentiles(draws: PianoDraws) -> tuple[Decimal, Decimal, Decimal] | tuple[None, None, None]:
    if not draws.price_known:
        return None, None, None
    p10, p50, p90 = (Decimal(round(float(q))) for q in np.percentile(draws.total, (10, 50, 90)))
    return p10, p50, p90


def _aspect_mean(values: Sequence[float], middle: Array) -> float:
    return float(np.dot(values, middle[:-1]) / middle[:-1].sum())


def _plain_sum(a: Assessment, total: Decimal | None, middle: Array, scale: float) -> float | None:
    if total is None:
        return None
    values = [x.middle for x in a.aspects] + [float(money_value(np.array(float(total)), scale))]
    return float(weighted_sum([values], middle)[0])


def _named(weights: Array | None) -> dict[str, float]:
    if weights is None:
        return {}
    return dict(zip([*ASPECTS, "money"], (float(w) for w in weights), strict=True))


def _confidence(ranking: Ranking, piano: int, central: Array | None) -> float | None:
    if central is None or not ranking.criteria:
        return None
    return confidence(ranking.criteria, ranking.ties, piano, central, ranking.fit)


def _dominated(given: Sequence[Assessment], draws: Sequence[PianoDraws]) -> NDArray[np.bool_]:
    """``[i, j]``: piano i surely beats j in every aspect and in money (its 90 % under the other's 10 %)."""
    low = np.array([[x.low for x in a.aspects] for a in given])
    high = np.array([[x.high for x in a.aspects] for a in given])
    worst = np.array([-np.percentile(d.total, 90) if d.price_known else -np.inf for d in draws])
    best = np.array([-np.percentile(d.total, 10) if d.price_known else np.inf for d in draws])
    found = dominators(np.column_stack([low, worst]), np.column_stack([high, best]))
    found[[bool(a.vetoes) for a in given], :] = False
    return found


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
