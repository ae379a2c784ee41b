"""Comparing a shortlist for one buyer: standings, next steps and a verdict from judged pianos."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date
from decimal import Decimal

import numpy as np

from pianolab.assess import Assessment, PriceList
from pianolab.assess.assessment import BEST
from pianolab.compare.comparison import Comparison, Standing
from pianolab.compare.hangs_on import what_it_hangs_on
from pianolab.compare.learning import Field, Outcomes
from pianolab.compare.looked import missing_looks
from pianolab.compare.next_steps import Ground, find_next_steps
from pianolab.compare.obstacles import net_worth, obstacles_of
from pianolab.compare.price import PriceAdvice, advise_price
from pianolab.compare.simulate import Array, PianoDraws, draw_piano, money_scale, money_value
from pianolab.compare.standings import MOST_CONFIDENCES, Ranking, make_standings, share_of_none
from pianolab.compare.verdict import Shortlist, give_verdict
from pianolab.compare.weights import draw_weights
from pianolab.errors import BadInput
from pianolab.model import Buyer, Comparable
from pianolab.statements import statement


def compare_pianos(
    assessments: Iterable[Assessment],
    *,
    profile: Buyer,
    comparables: Iterable[Comparable] = (),
    prices: PriceList | None = None,
    on: date | None = None,
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
    prices : the price list that says what a technician's look and a tuning cost; None: fees are not known
    on : the day on which the prices of like instruments are looked at; today if not given
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
    given, like = tuple(assessments), tuple(comparables)
    _check(given, profile, draws)
    draws_of = _draw_all(given, profile, seed=seed, draws=draws)
    missing = [missing_looks(a) for a in given]
    advice = [
        advise_price(a, profile=profile, extras=d.extras, comparables=like, prices=prices, on=on)
        for a, d in zip(given, draws_of, strict=True)
    ]
    ranking = _rank(given, draws_of, advice, profile, seed=seed)
    field = _field(given, draws_of, advice, ranking)
    advice = [_held_back(a, price) for a, price in zip(given, advice, strict=True)]
    standings = make_standings(given, field, ranking, profile=profile, advice=advice)
    ready = [not m and a.hidden is None for m, a in zip(missing, given, strict=True)]
    outcomes = Outcomes(assessments=given, field=field, advice=advice, ready=ready, profile=profile)
    steps = find_next_steps(Ground(assessments=given, field=field, outcomes=outcomes, prices=prices))
    shortlist = Shortlist(
        assessments=given, standings=standings, steps=steps, missing=missing, advice=advice, profile=profile
    )
    return Comparison(
        profile=profile,
        assessments=given,
        standings=tuple(sorted(standings, key=_order)),
        next_steps=steps,
        verdict=give_verdict(shortlist),
        none_fit=share_of_none(ranking.fit),
        hangs_on=what_it_hangs_on(given, draws_of, ranking),
        seed=seed,
        draws=draws,
        comparables=like,
    )


def _held_back(assessment: Assessment, advice: PriceAdvice) -> PriceAdvice:
    """No figure before what the tuning hides has been heard."""
    hidden = assessment.hidden
    return (
        advice if hidden is None else advice.held_back([statement("price.hidden", "tuning", hidden=hidden)])
    )


def _order(standing: Standing) -> tuple[float, float, str]:
    return -standing.rank_shares[0], -standing.score_middle, standing.piano_id


def _rank(
    given: Sequence[Assessment],
    draws_of: Sequence[PianoDraws],
    advice: Sequence[PriceAdvice],
    profile: Buyer,
    *,
    seed: int,
) -> Ranking:
    draws = len(draws_of[0].total)
    weights = draw_weights(profile, draws=draws, rng=np.random.default_rng([seed, 0]))
    scale = money_scale(given, profile)
    criteria = [_criteria(d, scale) for d in draws_of] if len(given) <= MOST_CONFIDENCES else []
    merit = np.stack([np.einsum("da,ad->d", weights, _criteria(d, scale)) for d in draws_of])
    obstacles = [
        obstacles_of(a, d, profile=profile, advice=price)
        for a, d, price in zip(given, draws_of, advice, strict=True)
    ]
    return Ranking(
        obstacles=obstacles,
        criteria=criteria,
        merit=merit,
        ties=np.stack([d.tie for d in draws_of]),
        fit=np.stack([d.fit & (not o) for d, o in zip(draws_of, obstacles, strict=True)]),
        weights=weights,
        scale=scale,
    )


def _criteria(draws: PianoDraws, scale: float) -> Array:
    return np.vstack([draws.scores, money_value(draws.total, scale)[None]])


def _field(
    given: Sequence[Assessment],
    draws_of: Sequence[PianoDraws],
    advice: Sequence[PriceAdvice],
    ranking: Ranking,
) -> Field:
    mean_weights = ranking.weights.mean(axis=0)
    worth = [net_worth(price) for price in advice]
    asked = [a.piano.asking_price for a in given]
    pairs = zip(worth, asked, strict=True)
    return Field(
        draws=draws_of,
        utility=ranking.merit.mean(axis=1),
        buyable=np.array([not found for found in ranking.obstacles]),
        weights=mean_weights,
        money_per_point=ranking.scale / (BEST * max(float(mean_weights[-1]), 1e-3)),
        spare=np.array([np.nan if w is None or a is None else w - float(a) for w, a in pairs]),
    )


def _check(given: Sequence[Assessment], profile: Buyer, draws: int) -> None:
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


def _draw_all(given: Sequence[Assessment], profile: Buyer, *, seed: int, draws: int) -> list[PianoDraws]:
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


def _price_span(given: Sequence[Assessment], profile: Buyer) -> tuple[float, float]:
    """Between which prices an unknown asking price is drawn: nothing to the budget, else to the dearest."""
    return 0.0, money_scale(given, profile)
