"""Comparing a shortlist for one buyer: standings, next steps and a verdict from judged pianos."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal

import numpy as np

from pianolab.assess import Assessment
from pianolab.compare.next_steps import Field, find_next_steps, learn
from pianolab.compare.offer import highest_offer
from pianolab.compare.ranking import (
    STOPPED,
    central_weights,
    confidence,
    dominators,
    rank_shares,
    weighted_sum,
)
from pianolab.compare.results import Comparison, Standing
from pianolab.compare.simulate import (
    Array,
    PianoDraws,
    draw_piano,
    draw_weights,
    middle_weights,
    money_scale,
    money_value,
)
from pianolab.compare.verdict import Shortlist, give_verdict
from pianolab.errors import BadInput
from pianolab.model import ASPECTS, BuyerProfile

MOST_CONFIDENCES = 10
"""Confidence is simulated again for each piano; beyond this many it is left out."""


def compare_pianos(
    assessments: Iterable[Assessment], *, profile: BuyerProfile, seed: int = 0, draws: int = 20000
) -> Comparison:
    """Compare judged pianos for one buyer.

    Read it as: in which share of all cases, within what matters to the buyer and what is still unknown, each
    piano comes first; what would be worth finding out; and what follows.

    Parameters
    ----------
    assessments : one `Assessment` for each piano, in any order
    profile : the buyer: weight ranges, budget, currency
    seed : int; the same seed gives the same result
    draws : int, how many cases are simulated

    Returns
    -------
    Comparison; standings in the order in which the pianos come first

    Raises
    ------
    BadInput
        For an empty shortlist, the same piano twice, another currency, or fewer than 100 draws.

    Notes
    -----
    Weights are drawn evenly from their ranges and scaled to sum 1, each unknown evenly between fine and
    failed, money from the simulated repairs. Stochastic multicriteria acceptability analysis.

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
    weights = draw_weights(profile, draws=draws, rng=np.random.default_rng([seed, 0]))
    scale = money_scale(given, profile)
    criteria = [np.vstack([d.scores, money_value(d.total, scale)]) for d in draws_of]
    merit = np.stack([np.einsum("da,ad->d", weights, c) for c in criteria])
    vetoed = np.array([bool(a.vetoes) for a in given])
    stopped = np.stack([d.stopped for d in draws_of]) | vetoed[:, None]
    utility = merit + STOPPED * stopped
    mean_weights = weights.mean(axis=0)
    field = Field(
        draws=draws_of,
        utility=merit.mean(axis=1),
        buyable=~vetoed,
        weights=mean_weights,
        money_per_point=scale / (10.0 * max(float(mean_weights[-1]), 1e-3)),
    )
    standings = _standings(given, field, profile, criteria, utility, stopped, weights, scale)
    steps = find_next_steps(given, field)
    everything = [learn(field, i, d.unknown).chance for i, d in enumerate(draws_of)]
    shortlist = Shortlist(
        assessments=given, standings=standings, steps=steps, all_unknown_chance=everything, profile=profile
    )
    return Comparison(
        profile=profile,
        assessments=given,
        standings=tuple(sorted(standings, key=lambda s: (-s.rank_shares[0], -s.score_middle))),
        next_steps=steps,
        verdict=give_verdict(shortlist),
        seed=seed,
        draws=draws,
    )


def _check(given: Sequence[Assessment], profile: BuyerProfile, draws: int) -> None:
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


def _standings(
    given: Sequence[Assessment],
    field: Field,
    profile: BuyerProfile,
    criteria: Sequence[Array],
    utility: Array,
    stopped: np.ndarray,
    weights: Array,
    scale: float,
) -> list[Standing]:
    shares = rank_shares(utility)
    central = central_weights(utility, weights)
    beaten = _dominated(given, field.draws)
    middle = middle_weights(profile)
    standings = []
    for i, a in enumerate(given):
        own = central[i]
        firm = own is not None and len(given) <= MOST_CONFIDENCES
        total = _percentiles(field.draws[i])
        offer = highest_offer(a, profile=profile, lead=_lead(field, i), money_per_point=field.money_per_point)
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
                highest_offer=offer.amount,
                offer_reason=offer.reason,
                vetoed=bool(a.vetoes),
                dominated_by=tuple(given[j].piano.id for j in np.flatnonzero(beaten[:, i])),
                weighted_sum=_plain_sum(a, total[1], middle, scale),
                central_weights={} if own is None else _named(own),
                confidence=confidence(criteria, stopped, i, own) if firm and own is not None else None,
                cost_per_year=_per_year(total[1], profile),
            )
        )
    return standings


def _lead(field: Field, piano: int) -> float | None:
    other = field.best_other(piano)
    return float(field.utility[piano]) - other if np.isfinite(other) else None


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


def _named(weights: Array) -> dict[str, float]:
    return dict(zip([*ASPECTS, "money"], (float(w) for w in weights), strict=True))


def _per_year(total: Decimal | None, profile: BuyerProfile) -> Decimal | None:
    if total is None or profile.years_of_use <= 0:
        return None
    return (total / Decimal(str(profile.years_of_use))).quantize(Decimal(1))


def _dominated(given: Sequence[Assessment], draws: Sequence[PianoDraws]) -> np.ndarray:
    """``[i, j]``: piano i surely beats j in every aspect and in money (its 90 % under the other's 10 %)."""
    low = np.array([[x.low for x in a.aspects] for a in given])
    high = np.array([[x.high for x in a.aspects] for a in given])
    worst = np.array([-np.percentile(d.total, 90) if d.price_known else -np.inf for d in draws])
    best = np.array([-np.percentile(d.total, 10) if d.price_known else np.inf for d in draws])
    found = dominators(np.column_stack([low, worst]), np.column_stack([high, best]))
    found[[bool(a.vetoes) for a in given], :] = False
    return found
