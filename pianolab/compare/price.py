"""What to offer for a piano: three figures where comparable prices carry them, each with its reasons in money.

Worth by like instruments, less the work that is needed and a share for what nobody knows: that is the sum above which
to walk away. What is asked and what the budget leaves only lower it. How much under it one aims and opens is common
practice (``data/pricing.toml``) [practice].
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal

import numpy as np

from pianolab.assess import Assessment, PriceList
from pianolab.compare.price_terms import (
    LOOK,
    Purse,
    Work,
    conditions_of,
    in_the_way,
    lacking,
    needed_work,
    promises_of,
    terms_of,
)
from pianolab.compare.simulate import Array
from pianolab.compare.worth import Adjusted, Subject, Worth, load_pricing, rounded, usable, value
from pianolab.model import Buyer, Comparable
from pianolab.statements import Statement, statement
from pianolab.words import Told, say

MORE_WORK = "price.more work than worth"
"""The kind of what is missing where the work that is needed costs more than the piano is worth with it done."""

OVER_BUDGET = "price.over budget"


@dataclass(frozen=True, kw_only=True)
class PriceAdvice(Told):
    """What may be offered, and why; where nothing carries a price, what is missing.

    Parameters
    ----------
    open_with, aim_at, walk_away_above : Decimal in the buyer's currency, each at most what is asked and none above
        the next; all None where no price is named
    worth_low, worth_mid, worth_high : Decimal, what like instruments say that such a one is worth in playing order,
        middle and ends of the middle 80 %; None without enough comparables
    terms : what the figures are made of, in order, each with its amount
    missing : what a price needs and is not there; empty where figures are named
    conditions : what to agree on before paying, as the buyer can say it
    promises : what the seller has said will be put right, to be put in writing, with what it is worth
    chance_over_budget : chance from 0 to 1 that the price aimed at, needed work, moving and first tunings together
        exceed the budget; None without a budget or a price
    budget_limit : Decimal, the price at which the budget is used up in half of the cases; a limit, never a value;
        None without a budget
    beside : what the budget has to say: that limit, and the chance that all of it exceeds the budget
    adjusted : the comparable prices, each brought over to this piano step by step
    """

    open_with: Decimal | None = None
    aim_at: Decimal | None = None
    walk_away_above: Decimal | None = None
    worth_low: Decimal | None = None
    worth_mid: Decimal | None = None
    worth_high: Decimal | None = None
    terms: tuple[Statement, ...] = ()
    missing: tuple[Statement, ...] = ()
    conditions: tuple[Statement, ...] = ()
    promises: tuple[Statement, ...] = ()
    chance_over_budget: float | None = None
    budget_limit: Decimal | None = None
    beside: tuple[Statement, ...] = ()
    adjusted: tuple[Adjusted, ...] = ()

    @property
    def named(self) -> bool:
        """Whether figures are named."""
        return self.aim_at is not None

    @property
    def why(self) -> tuple[Statement, ...]:
        """What the figures rest on, or what a price needs and is not there."""
        return self.terms if self.named else self.missing

    @property
    def reasons(self) -> tuple[str, ...]:
        """That in words."""
        return tuple(say(reason) for reason in self.why)

    @property
    def more_work_than_worth(self) -> bool:
        """Whether the work that is needed costs more than the piano is worth with it done."""
        return any(m.kind == MORE_WORK for m in self.missing)

    def held_back(self, because: Iterable[Statement]) -> PriceAdvice:
        """The same without figures, for something that has to be settled first; itself where there is nothing.

        Examples
        --------
        >>> advice = PriceAdvice(aim_at=Decimal(900), walk_away_above=Decimal(1000), open_with=Decimal(800))
        >>> advice.held_back([]).aim_at, advice.held_back([statement("price.none asked")]).aim_at
        (Decimal('900'), None)
        """
        reasons = tuple(because)
        if not reasons:
            return self
        return replace(
            self,
            open_with=None,
            aim_at=None,
            walk_away_above=None,
            chance_over_budget=None,
            terms=(),
            conditions=(),
            missing=(*self.missing, *reasons),
            beside=tuple(b for b in self.beside if b.kind != OVER_BUDGET),
        )


def advise_price(
    assessment: Assessment,
    *,
    profile: Buyer,
    extras: Array,
    comparables: Iterable[Comparable] = (),
    prices: PriceList | None = None,
    on: date | None = None,
) -> PriceAdvice:
    """What to offer for one piano.

    Read it as: what like ones say it is worth, what has to be spent on it, what nobody knows; hence where to begin,
    where to end, and where to leave. Without comparables, before enough has been looked at, or under a stop there is
    no figure, and ``missing`` says why.

    Parameters
    ----------
    assessment : the piano, judged
    profile : the buyer: budget, currency, what moving costs
    extras : ndarray, shape (draws,); the money that the purchase takes beside its price (needed work, moving, first
        tunings), in each draw
    comparables : what like instruments were offered or sold for; those of another kind or currency, looked up for
        another piano, or seen too long ago are left aside
    prices : what jobs cost, for the tunings that a price may hold; without them such tunings count for nothing
    on : the day of the valuation; today if not given

    Returns
    -------
    PriceAdvice

    Examples
    --------
    >>> from pianolab.assess import assess_piano, load_prices
    >>> from pianolab.checklist import load_checklist
    >>> from pianolab.model import Piano
    >>> unseen = assess_piano(
    ...     Piano(name="A", asking_price=900), [], survey=None, checklist=load_checklist(), prices=load_prices())
    >>> buyer = Buyer(name="x", budget=2000)
    >>> advice = advise_price(unseen, profile=buyer, extras=np.full(100, 500.0))
    >>> advice.aim_at, advice.budget_limit, advice.missing[-1].kind
    (None, Decimal('1500'), 'price.no comparables')
    """
    day, all_of_them = on or date.today(), tuple(comparables)
    work = needed_work(assessment)
    kept = extras - sum(w.known for w in work if w.promised)
    fitting = usable(all_of_them, assessment.piano, on=day)
    worth = value(fitting, _subject(assessment, profile, prices, day))
    barred = in_the_way(assessment)
    missing = [*barred, *(lacking(all_of_them, fitting, assessment.piano) if worth is None else [])]
    limit = _limit(profile, kept)
    purse = Purse(assessment=assessment, profile=profile, limit=limit)
    bare = PriceAdvice(
        worth_low=None if worth is None else Decimal(round(worth.low)),
        worth_mid=None if worth is None else Decimal(round(worth.mid)),
        worth_high=None if worth is None else Decimal(round(worth.high)),
        missing=tuple(missing),
        conditions=() if barred else conditions_of(assessment),
        promises=promises_of(assessment, work, profile),
        budget_limit=limit,
        beside=_beside(limit, purse),
        adjusted=() if worth is None else worth.adjusted,
    )
    if worth is None:
        return bare
    return _figures(bare, worth, work, purse, kept)


def _figures(
    bare: PriceAdvice, worth: Worth, work: Sequence[Work], purse: Purse, extras: Array
) -> PriceAdvice:
    """The three figures; none where the work costs more than the piano is worth."""
    terms, net = terms_of(worth, work, purse)
    if rounded(net) <= 0:
        work_and_risk = purse.money(worth.mid - net)
        said = statement(MORE_WORK, worth=purse.money(worth.mid), work=work_and_risk)
        return replace(bare, missing=(*bare.missing, said), conditions=())
    if bare.missing:
        return bare
    if bare.budget_limit is not None and bare.budget_limit <= 0:
        return replace(bare, missing=bare.beside, beside=(), conditions=())
    shares = load_pricing()["offer"]
    asked = purse.assessment.piano.asking_price
    whole = float(rounded(net))
    most = whole if asked is None else min(whole, float(asked))
    walk = most if bare.budget_limit is None else min(most, float(bare.budget_limit))
    aim = min(shares["aim"] * most, walk)
    figures = [_said(amount, asked) for amount in (min(shares["open"] * most, aim), aim, walk)]
    over = _over_budget(figures[1], extras, purse.profile)
    return replace(
        bare,
        open_with=figures[0],
        aim_at=figures[1],
        walk_away_above=figures[2],
        terms=terms,
        conditions=(*bare.conditions, *_deposit(figures[1], bare.conditions, purse)),
        chance_over_budget=over,
        beside=(*(b for b in bare.beside if not _said_already(terms)), *_over(over, purse)),
    )


def _beside(limit: Decimal | None, purse: Purse) -> tuple[Statement, ...]:
    """What the budget leaves for the price."""
    if limit is None:
        return ()
    if limit <= 0:
        return (statement("price.no limit left"),)
    return (statement("price.limit", amount=purse.money(limit)),)


def _said_already(terms: Sequence[Statement]) -> bool:
    """Whether the budget ends the price itself, among its terms."""
    return any(term.kind == "price.budget below" for term in terms)


def _over(chance: float | None, purse: Purse) -> list[Statement]:
    budget = purse.profile.budget
    if chance is None or budget is None:
        return []
    return [statement(OVER_BUDGET, chance=chance, budget=purse.money(budget))]


def _said(amount: float, asked: Decimal | None) -> Decimal:
    """A round figure; the price asked itself is said as it is."""
    return asked if asked is not None and amount >= float(asked) else rounded(amount)


def _deposit(aim: Decimal, conditions: Sequence[Statement], purse: Purse) -> list[Statement]:
    """A deposit only where a look is still to settle something, and never a large one."""
    share = rounded(load_pricing()["offer"]["deposit"] * float(aim))
    waits = any(c.kind == LOOK for c in conditions)
    return [statement("price.deposit", amount=purse.money(share))] if waits and share else []


def _subject(assessment: Assessment, profile: Buyer, prices: PriceList | None, on: date) -> Subject:
    piano = assessment.piano
    tuning = prices.jobs.get("tuning") if prices is not None else None
    return Subject(
        piano=piano,
        age_years=None if piano.year is None else float(max(on.year - piano.year, 0)),
        looks=assessment.aspect("appearance").middle,
        tuning=float(tuning.usual) if tuning is not None else 0.0,
        moving=float(sum(profile.moving_cost, Decimal(0))) / 2,
        on=on,
    )


def _limit(profile: Buyer, extras: Array) -> Decimal | None:
    if profile.budget is None:
        return None
    return rounded(float(profile.budget) - float(np.median(extras)))


def _over_budget(price: Decimal, extras: Array, profile: Buyer) -> float | None:
    if profile.budget is None:
        return None
    return float(np.mean(float(price) + extras > float(profile.budget)))
