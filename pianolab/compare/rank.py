"""Comparing a shortlist for one buyer: standings, next steps and a verdict from judged pianos.

A veto, the budget, or too much that is wrong with it says why a piano can't be bought as things stand.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal

import numpy as np

from pianolab.assess import Assessment
from pianolab.assess.results import BEST
from pianolab.compare.next_steps import Field, find_next_steps, learn
from pianolab.compare.ranking import STOPPED
from pianolab.compare.results import Comparison, Standing
from pianolab.compare.simulate import Array, PianoDraws, draw_piano, money_scale, money_value
from pianolab.compare.standings import MOST_CONFIDENCES, Ranking, make_standings
from pianolab.compare.verdict import Shortlist, give_verdict
from pianolab.compare.weights import draw_weights, middle_weights
from pianolab.errors import BadInput
from pianolab.model import BuyerProfile, Comparable
from pianolab.statements import Money, Statement, statement

GOOD_ENOUGH = 4.0
"""A piano whose weighted score can't even reach this at best is not worth buying; own choice."""


def obstacle_of(assessment: Assessment, draws: PianoDraws, *, profile: BuyerProfile) -> Statement | None:
    """The obstacle; None where the piano may be bought.

    The budget stands in the way only if even the 10 % point of all the money it takes lies above it.
    """
    if assessment.vetoes:
        return statement("obstacle.stop", stop=assessment.vetoes[0].says)
    least = float(np.percentile(draws.total, 10))
    if profile.budget is not None and draws.price_known and least > float(profile.budget):
        return statement("obstacle.budget", takes=Money(least, profile.currency, profile.locale))
    weights = middle_weights(profile)[:-1]
    best = float(np.dot([a.high for a in assessment.aspects], weights) / weights.sum())
    if best < GOOD_ENOUGH:
        return statement("obstacle.too much wrong", best=best)
    return None


def compare_pianos(
    assessments: Iterable[Assessment],
    *,
    profile: BuyerProfile,
    comparables: Iterable[Comparable] = (),
    seed: int = 0,
    draws: int = 20000,
) -> Comparison:
    """Compare judged pianos for one buyer.

    Read it as: in which share of all cases, within what matters to the buyer and what is still unknown, each
    piano comes first; what would be worth finding out; and what follows.

    Parameters
    ----------
    assessments : one `Assessment` for each piano, in any order
    profile : the buyer: weight ranges, budget, currency
    comparables : what like instruments were offered or sold for; without them no price is named
    seed : int; the same seed gives the same result
    draws : int, how many cases are simulated

    Returns
    -------
    Comparison; standings in the order in which the pianos come first

    Raises
    ------
    BadInput
        For an empty shortlist, the same piano twice, another currency, weights that exclude each other,
        or fewer than 100 draws.

    Notes
    -----
    Weights are drawn evenly from all that the ranges allow, each unknown between fine and failed, money from
    the simulated repairs; what an unknown does to scores and to repairs goes together. Stochastic
    multicriteria acceptability analysis.

    Examples
    --------
    >>> from pianolab.assess import assess_piano, load_prices
    >>> from pianolab.checklist import load_checklist
    >>> from pianolab.model import Piano, load_profiles
    >>> unseen = assess_piano(
    ...     Piano(name="A", asking_price=Decimal(900)), [], survey=None,
    ...     checklist=load_checklist(), prices=load_prices())
    >>> compare_pianos([unseen], profile=load_profiles()["first piano"]).verdict.kind
    'find out first'
    """
    given = tuple(assessments)
    _check(given, profile, draws)
    draws_of = _draw_all(given, profile, seed=seed, draws=draws)
    ranking = _rank(given, draws_of, profile, seed=seed, draws=draws)
    field = _field(draws_of, ranking)
    standings = make_standings(given, field, ranking, profile=profile)
    steps = find_next_steps(given, field)
    everything = [learn(field, i, d.unknown).chance for i, d in enumerate(draws_of)]
    shortlist = Shortlist(
        assessments=given, standings=standings, steps=steps, all_unknown_chance=everything, profile=profile
    )
    return Comparison(
        profile=profile,
        assessments=given,
        standings=tuple(sorted(standings, key=_order)),
        next_steps=steps,
        verdict=give_verdict(shortlist),
        seed=seed,
        draws=draws,
        comparables=tuple(comparables),
    )


def _order(standing: Standing) -> tuple[float, float, str]:
    return -standing.rank_shares[0], -standing.score_middle, standing.piano_id


def _rank(
    given: Sequence[Assessment],
    draws_of: Sequence[PianoDraws],
    profile: BuyerProfile,
    *,
    seed: int,
    draws: int,
) -> Ranking:
    weights = draw_weights(profile, draws=draws, rng=np.random.default_rng([seed, 0]))
    scale = money_scale(given, profile)
    criteria = [_criteria(d, scale) for d in draws_of] if len(given) <= MOST_CONFIDENCES else []
    merit = np.stack([np.einsum("da,ad->d", weights, _criteria(d, scale)) for d in draws_of])
    obstacles = [obstacle_of(a, d, profile=profile) for a, d in zip(given, draws_of, strict=True)]
    stopped = np.stack([d.stopped | (o is not None) for d, o in zip(draws_of, obstacles, strict=True)])
    ties = np.stack([d.tie for d in draws_of])
    return Ranking(
        obstacles=obstacles,
        criteria=criteria,
        utility=merit + STOPPED * stopped + ties,
        ties=ties,
        stopped=stopped,
        weights=weights,
        scale=scale,
    )


def _criteria(d: PianoDraws, scale: float) -> Array:
    """The six aspects and money of one piano, shape (7, draws)."""
    return np.vstack([d.scores, money_value(d.total, scale)])


def _field(draws_of: Sequence[PianoDraws], ranking: Ranking) -> Field:
    mean_weights = ranking.weights.mean(axis=0)
    merit = ranking.utility - STOPPED * ranking.stopped
    return Field(
        draws=draws_of,
        utility=merit.mean(axis=1),
        buyable=np.array([obstacle is None for obstacle in ranking.obstacles]),
        weights=mean_weights,
        money_per_point=ranking.scale / (BEST * max(float(mean_weights[-1]), 1e-3)),
    )


def _check(given: Sequence[Assessment], profile: BuyerProfile, draws: int) -> None:
    profile.check()
    if not given:
        raise BadInput("shortlist", "no pianos", "one or more", "Nothing examined yet?")
    ids = [a.piano.id for a in given]
    if len(set(ids)) < len(ids):
        raise BadInput("shortlist", "the same piano twice", "each piano once")
    for a in given:
        if a.repairs.currency != profile.currency or a.piano.currency != profile.currency:
            raise BadInput(
                f"money of {a.piano.name}",
                f"{a.piano.currency}, repairs in {a.repairs.currency}",
                f"{profile.currency}, the currency of the budget",
            )
    if draws < 100:
        raise BadInput("draws", draws, "100 or more")


def _draw_all(
    given: Sequence[Assessment], profile: BuyerProfile, *, seed: int, draws: int
) -> list[PianoDraws]:
    """Each piano gets random numbers of its own by its content, so that the order given plays no part."""
    span = _price_span(given, profile)
    order = sorted(range(len(given)), key=lambda i: _content(given[i]))
    made: dict[int, PianoDraws] = {}
    for stream, i in enumerate(order, start=1):
        rng = np.random.default_rng([seed, stream])
        made[i] = draw_piano(given[i], profile=profile, price_span=span, draws=draws, rng=rng)
    return [made[i] for i in range(len(given))]


def _content(a: Assessment) -> tuple[object, ...]:
    scores = tuple((round(x.low, 9), round(x.high, 9)) for x in a.aspects)
    return scores, a.repairs.p50, a.piano.asking_price or Decimal(-1), a.piano.id


def _price_span(given: Sequence[Assessment], profile: BuyerProfile) -> tuple[float, float]:
    """Between which prices an unknown asking price is drawn: nothing to the budget, else to the dearest."""
    return 0.0, money_scale(given, profile)
