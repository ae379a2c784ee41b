"""From reasons to jobs: each job once, with its chance, its price and why one has it done.

Jobs by key or string give way to the job for the whole instrument where there are many of them, or where that is the
cheaper; and never cost more than it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from math import prod

from pianolab.assess.assessment import RepairJob
from pianolab.assess.price_list import Amounts, Price, PriceList
from pianolab.assess.proposals import Extra, Proposal
from pianolab.assess.scoring import load_scoring
from pianolab.checklist.points import NEEDS, Need
from pianolab.model import Buyer, Piano
from pianolab.model.records import PianoKind
from pianolab.statements import Statement, statement
from pianolab.words import say

ALMOST_SURE = 0.999
FIRST_TUNINGS = "first tunings"


@dataclass(frozen=True)
class _Prices:
    """The price list for one kind of piano and one buyer."""

    prices: PriceList
    piano_kind: PianoKind
    profile: Buyer | None
    wholes: Mapping[str, tuple[str, int]]
    """By job for a key or string: the job for the whole instrument, and from how many on it is done."""

    tunings_to_pay: Decimal
    """Part of the first tunings that the seller's price does not hold, 0 to 1."""

    def __getitem__(self, job: str) -> Price:
        price = self.prices[job].for_kind(self.piano_kind)
        if job != FIRST_TUNINGS:
            return price
        low, usual, high = (self.tunings_to_pay * a for a in (price.low, price.usual, price.high))
        return replace(price, low=low, usual=usual, high=high)


def jobs_from(
    proposals: Sequence[Proposal],
    *,
    prices: PriceList,
    profile: Buyer | None,
    piano: Piano | None = None,
) -> tuple[RepairJob, ...]:
    """Each job once, with the chance that at least one of its reasons needs it; needs first.

    What is seldom worth repairing counts only where it has been found: until then it is a doubt whether to buy, no
    cost. So does a hard way home: until somebody has walked it, the buyer's own range for the move stands for it. What the seller's price holds already (``piano``: delivery, tunings) costs nothing more.
    """
    wholes = {single: (whole.job, n) for whole in prices for single, n in whole.instead_of.items()}
    kind = piano.kind if piano is not None else "upright"
    own = _Prices(prices, kind, profile, wholes, _tunings_to_pay(piano))
    asked = [p for p in proposals if p.found or _may_turn_up(p.job, prices)]
    asked = [p for p in asked if not (piano is not None and _in_the_price(prices[p.job], piano))]
    groups = _groups([replace(p, need=p.need or prices[p.job].need) for p in asked], own)
    jobs = [_job(mine, own) for mine in groups]
    return tuple(sorted(jobs, key=_place))


def _may_turn_up(job: str, prices: PriceList) -> bool:
    """Whether a job that only something unseen asks for is reckoned with; where it has no price, `PriceList.gaps` tells."""
    if job in prices.missing:
        return False
    return not prices[job].seldom_worth and prices[job].kind != "carrying"


def _place(job: RepairJob) -> tuple[bool, int, float, str]:
    """What was found before what may turn up, needs before wishes, then the dearest first."""
    return not job.found, NEEDS.index(job.need), -float(job.usual) * job.chance, job.job


def _in_the_price(price: Price, piano: Piano) -> bool:
    if price.kind == "carrying":
        return piano.delivery_included is True
    return price.job == FIRST_TUNINGS and _tunings_to_pay(piano) == 0


def _tunings_to_pay(piano: Piano | None) -> Decimal:
    wanted = int(load_scoring().money["first_tunings"])
    held = (piano.tunings_included or 0) if piano is not None else 0
    return Decimal(max(wanted - held, 0)) / wanted


def _groups(proposals: Iterable[Proposal], prices: _Prices) -> list[list[Proposal]]:
    """The proposals of each job; those by key that give way stand with the job that they give way to."""
    by_job: dict[str, list[Proposal]] = {}
    for p in proposals:
        by_job.setdefault(p.job, []).append(p)
    for single in [job for job in by_job if _gives_way(by_job[job], job, prices)]:
        by_job.setdefault(prices.wholes[single][0], []).extend(by_job.pop(single))
    return list(by_job.values())


def _gives_way(mine: Sequence[Proposal], single: str, prices: _Prices) -> bool:
    if single not in prices.wholes:
        return False
    whole, number = prices.wholes[single]
    quantity = _quantity([p for p in mine if p.found], prices[single])
    return quantity >= number or quantity * prices[single].usual > prices[whole].usual


def _job(mine: Sequence[Proposal], prices: _Prices) -> RepairJob:
    """One job; where only some of its reasons make it a need, with that part of it."""
    job, found = _built(mine, prices), [p for p in mine if p.found]
    needed = [p for p in mine if p.need == "needed"]
    job = replace(job, need=_strongest(found or mine))
    if not needed or len(needed) == len(mine):
        return job
    part, waits = _built(needed, prices), dict(job.waits_for)
    kept = tuple((key, waits[key]) for key, _ in part.waits_for if key in waits)
    chance = 1.0 - (1.0 - part.known_chance) * prod(1.0 - p for _, p in kept)
    return replace(job, needed_part=replace(part, waits_for=kept, chance=chance, need="needed"))


def _strongest(mine: Iterable[Proposal]) -> Need:
    return min((p.need or "needed" for p in mine), key=NEEDS.index)


def _built(mine: Sequence[Proposal], prices: _Prices) -> RepairJob:
    """A job from the proposals that stand with it, all for itself or some for what gives way to it."""
    names = {p.job for p in mine}
    name = next(iter(names)) if len(names) == 1 else max(names - set(prices.wholes) or names)
    if name in prices.wholes and _gives_way(mine, name, prices):
        name = prices.wholes[name][0]
    price, found = prices[name], [p for p in mine if p.found]
    quantity = _quantity(found or mine, price)
    extra = _largest([p.extra for p in mine if p.extra is not None])
    low, usual, high = _amounts(price, quantity, extra, prices)
    waits_for = _waits_for([p for p in mine if not p.found])
    return RepairJob(
        job=name,
        what=_what(price, quantity, extra),
        low=low,
        usual=usual,
        high=high,
        chance=1.0 - _missed(found) * prod(1.0 - chance for _, chance in waits_for),
        why=_once(found or mine),
        quantity=quantity,
        includes=price.includes,
        found=bool(found),
        waits_for=waits_for,
        kind=price.kind,
        seldom_worth=price.seldom_worth,
    )


def _quantity(mine: Sequence[Proposal], price: Price) -> int:
    if price.per == "piano" or not mine:
        return min(len(mine), 1)
    if price.per == "way":
        return len({p.why for p in mine if p.found} or {mine[0].why})
    if price.per in ("flight", "kilometre"):
        at_each = {p.why: max(p.count, 1) for p in mine}
        return sum(at_each.values()) if mine[0].found else max(at_each.values())
    return max(len({k for p in mine for k in p.keys}), *(p.count for p in mine), 1)


def _missed(found: Iterable[Proposal]) -> float:
    """The chance that none of what was found needs the job; of one fault its weightiest rule counts."""
    chances: dict[str | Statement, float] = {}
    for p in found:
        fault = p.fault or p.why
        chances[fault] = max(chances.get(fault, 0.0), p.chance)
    return prod(1.0 - chance for chance in chances.values())


def _once(proposals: Sequence[Proposal]) -> tuple[Statement, ...]:
    """Each reason once, in the order in which a reader looks for them."""
    return tuple(sorted({p.why for p in proposals}, key=say))


def _waits_for(guesses: Sequence[Proposal]) -> tuple[tuple[str, float], ...]:
    """The unknowns that may bring a job to light, scaled so that together they reach the likeliest of them.

    Ten unchecked points that each might ask for one and the same job make it no more likely than the
    weightiest of them does: they look at one and the same trouble from several sides.
    """
    by_key: dict[str, dict[Statement, float]] = {}
    for p in guesses:
        reasons = by_key.setdefault(p.unknown, {})
        reasons[p.why] = max(reasons.get(p.why, 0.0), p.chance)
    chances = {key: min(sum(reasons.values()), ALMOST_SURE) for key, reasons in sorted(by_key.items())}
    if not chances or sum(chances.values()) <= 0:
        return ()
    most, total = max(chances.values()), sum(chances.values())
    return tuple((key, 1.0 - (1.0 - most) ** (p / total)) for key, p in chances.items() if p > 0)


def _largest(extras: Sequence[Extra]) -> Extra | None:
    return max(extras, key=lambda e: (e.high, e.usual, e.low), default=None)


def _amounts(price: Price, quantity: int, extra: Extra | None, prices: _Prices) -> Amounts:
    part = Decimal(1)
    if prices.profile is not None and prices.profile.enjoys_projects and price.own_work is not None:
        part = Decimal(str(price.own_work))
    many = part * quantity
    amounts = (many * price.low, many * price.usual, many * price.high)
    if price.job in prices.wholes:
        whole = prices[prices.wholes[price.job][0]]
        amounts = (min(amounts[0], whole.low), min(amounts[1], whole.usual), min(amounts[2], whole.high))
    if extra is None:
        return amounts
    besides = prices[extra.job]
    return (
        amounts[0] + Decimal(str(extra.low)) * besides.low,
        amounts[1] + Decimal(str(extra.usual)) * besides.usual,
        amounts[2] + Decimal(str(extra.high)) * besides.high,
    )


def _what(price: Price, quantity: int, extra: Extra | None) -> Statement:
    what = statement("job.one", title=price.title)
    if quantity > 1:
        what = statement("job.several", title=price.title, quantity=quantity, per=price.per)
    if price.seldom_worth:
        what = statement("job.seldom worth", job=what)
    if extra is None:
        return what
    return statement("job.with more", job=what, low=extra.low, high=extra.high, what=extra.what)
