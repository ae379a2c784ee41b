"""Where each piano stands: ranks, scores, money, what to offer, what dominates it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np
from numpy.typing import NDArray

from pianolab.assess import Assessment
from pianolab.compare.learning import Field
from pianolab.compare.price import PriceAdvice
from pianolab.compare.ranking import (
    central_weights,
    confidence,
    dominators,
    rank_shares,
    weighted_sum,
)
from pianolab.compare.results import Standing
from pianolab.compare.simulate import Array, PianoDraws, money_value
from pianolab.compare.weights import middle_weights
from pianolab.model import ASPECTS, BuyerProfile
from pianolab.statements import Statement

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
    profile: BuyerProfile,
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
