"""Which currency a shortlist is reckoned in, and how it is judged where money can't be reckoned at all."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from decimal import Decimal

from pianolab.assess import Assessment, Price, PriceList, RepairEstimate
from pianolab.assess.prices import usual_prices
from pianolab.compare import Comparison, PriceAdvice
from pianolab.model import Buyer, Piano
from pianolab.show import Row
from pianolab.statements import statement
from pianolab.upkeep import MoneyOverYears

NOTHING, UNKNOWN = Decimal(0), Decimal("NaN")
LEAST = 1e-6
"""A buyer who cares for nothing but money is taken to care for the aspects alike, as far as the ranges go."""


@dataclass(frozen=True, kw_only=True)
class Reckoning:
    """What a shortlist is judged with: pianos, buyer and prices in one currency.

    ``why_none`` says why money can't be reckoned; then all amounts here are 0, so that money parts nobody, and
    `without_money` takes them out of the result. ``notes`` says what was left aside.
    """

    pianos: tuple[Piano, ...]
    buyer: Buyer
    prices: PriceList
    why_none: str = ""
    notes: tuple[str, ...] = ()


def reckon(pianos: Sequence[Piano], buyer: Buyer, prices: PriceList) -> Reckoning:
    """One currency for the shortlist, or why there is none.

    That of the prices asked decides: a piano without a price has no say, a buyer's budget in another currency is left
    aside. Without a price list in that currency, or with prices asked in several, money is left aside altogether.
    """
    priced = [p for p in pianos if p.asking_price is not None]
    codes = sorted({p.currency for p in priced or pianos})
    if len(codes) > 1:
        why = f"the pianos are priced in {' and '.join(codes)}"
        return _without(pianos, buyer, prices, why, "give all pianos one currency")
    if codes[0] != prices.currency:
        why = f"the pianos are priced in {codes[0]}, and {prices.file} is a list in {prices.currency}"
        return _without(
            pianos,
            buyer,
            prices,
            why,
            f"--prices FILE names one in {codes[0]}, in Python Settings(prices=...)",
        )
    notes = []
    if buyer.currency != codes[0]:
        if buyer.budget is not None or any(buyer.moving_cost):
            notes = [_budget_aside(buyer, codes[0])]
        buyer = replace(buyer, currency=codes[0], budget=None, moving_cost=(NOTHING, NOTHING))
    return Reckoning(
        pianos=tuple(replace(p, currency=codes[0]) for p in pianos),
        buyer=buyer,
        prices=prices,
        notes=tuple(notes),
    )


def _budget_aside(buyer: Buyer, code: str) -> str:
    own = f"budget and moving cost of {buyer.name} are in {buyer.currency}"
    return f"{own} and were left aside: prices are asked in {code}"


def _without(pianos: Sequence[Piano], buyer: Buyer, prices: PriceList, why: str, remedy: str) -> Reckoning:
    jobs = {**usual_prices().jobs, **prices.jobs}
    free = {job: replace(p, low=NOTHING, usual=NOTHING, high=NOTHING, of_kind={}) for job, p in jobs.items()}
    code = prices.currency
    known = {field.name: getattr(prices, field.name) for field in fields(prices)}
    return Reckoning(
        pianos=tuple(replace(p, asking_price=NOTHING, currency=code) for p in pianos),
        buyer=indifferent_to_money(buyer, currency=code),
        prices=_AnyJob(**known | {"jobs": free, "lent": (), "missing": ()}),
        why_none=why,
        notes=(f"compared without money: {why}; {remedy}",),
    )


class _AnyJob(PriceList):
    """Prices in which every job costs nothing, one that no list knows too: only its name is needed."""

    def __getitem__(self, job: str) -> Price:
        free = Price(job=job, title=job, low=NOTHING, usual=NOTHING, high=NOTHING, hours=0.0)
        return self.jobs.get(job, free)


def indifferent_to_money(buyer: Buyer, *, currency: str) -> Buyer:
    """The same buyer, to whom money is all the same: what the aspects weigh beside each other stays as it is.

    The six weights of a buyer add up to what money leaves; here they add up to the whole.

    Examples
    --------
    >>> free = indifferent_to_money(Buyer(name="x", money_weight=(0.2, 0.2)), currency="EUR")
    >>> free.money_weight, free.weights["tone"]
    ((0.0, 0.0), (0.0625, 0.3125))
    """
    low, high = (max(1.0 - share, LEAST) for share in buyer.money_weight)
    weights = {a: (min(1.0, w[0] / low), min(1.0, w[1] / high)) for a, w in buyer.weights.items()}
    return replace(
        buyer,
        weights=weights,
        money_weight=(0.0, 0.0),
        budget=None,
        moving_cost=(NOTHING, NOTHING),
        currency=currency,
    )


def without_money(comparison: Comparison, pianos: Sequence[Piano], *, buyer: Buyer, why: str) -> Comparison:
    """The comparison of a shortlist judged without money, with every amount in it unknown and none of them 0.

    Parameters
    ----------
    comparison : what came of `Reckoning` with ``why_none``
    pianos, buyer : as they are in the casebook, prices asked and all
    why : what to say where an amount would stand
    """
    asked, verdict = {p.id: p for p in pianos}, comparison.verdict
    said, aside = (statement(kind, why=why) for kind in ("verdict.without money", "price.without money"))
    return replace(
        comparison,
        verdict=replace(verdict, reasons=(*verdict.reasons, said)),
        profile=replace(comparison.profile, currency=buyer.currency),
        assessments=tuple(_unpriced(a, asked[a.piano.id], why) for a in comparison.assessments),
        standings=tuple(
            replace(
                s,
                total_p10=None,
                total_p50=None,
                total_p90=None,
                price=PriceAdvice(missing=(aside,)),
                weighted_sum=None,
            )
            for s in comparison.standings
        ),
        next_steps=tuple(replace(s, worth=None, fee=None, cost=None) for s in comparison.next_steps),
    )


@dataclass(frozen=True, kw_only=True, repr=False)
class UnpricedRepairs(RepairEstimate):
    """The jobs of one piano where nobody knows what they cost; every amount is NaN, and ``why`` says why."""

    why: str = ""

    def headline(self) -> str:
        return f"{len(self.jobs)} repairs come into question, without prices: {self.why}"

    def rows(self) -> list[Row]:
        return [
            (j.title, None, None, None, f"{j.chance:.0%}", j.need, "; ".join(j.reasons)) for j in self.jobs
        ]


def _unpriced(a: Assessment, piano: Piano, why: str) -> Assessment:
    jobs = tuple(replace(j, low=UNKNOWN, usual=UNKNOWN, high=UNKNOWN) for j in a.repairs.jobs)
    repairs = UnpricedRepairs(
        jobs=jobs,
        p10=UNKNOWN,
        p50=UNKNOWN,
        p90=UNKNOWN,
        currency=piano.currency,
        note="no prices",
        locale=a.repairs.locale,
        why=why,
    )
    return replace(a, piano=piano, repairs=repairs)


def years_unknown(piano: Piano, buyer: Buyer, why: str) -> MoneyOverYears:
    """The money over the years where it isn't reckoned."""
    return MoneyOverYears(
        piano=piano.name,
        lines=(),
        years=buyer.years_of_use,
        currency=piano.currency,
        a_year=None,
        why_unknown=why,
        origin="nobody",
    )
