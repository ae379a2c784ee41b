"""What stands between a piano and buying it: what bars it as things stand, and on what conditions it may be bought.

Stops, floors, the budget and too much that is wrong bar it; looks worth their cost, a price, a promise are conditions.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

import numpy as np

from pianolab.assess import AspectResult, Assessment
from pianolab.compare.looked import load_floors, missing_looks
from pianolab.compare.price import MORE_WORK, PriceAdvice
from pianolab.compare.simulate import PianoDraws
from pianolab.compare.steps import FINISH, NextStep
from pianolab.compare.weights import middle_weights
from pianolab.model import ASPECTS, Buyer, Piano
from pianolab.statements import Money, Statement, statement

WORTH_SAYING = 0.02
"""Under this chance a step that is worth its cost still stands before nothing; own choice."""

COULD_CHANGE = 0.10
"""From this chance on, something unknown of another piano stands before buying the first; own choice."""

HAGGLING = Decimal("1.1")
"""A price asked that lies no more than a tenth above what it is worth is haggled over, no condition; own choice."""

MOST_NAMED = 2
"""So many things can stand in one condition, if all but one of them seldom change anything. Own choice."""

MOST_POINTS = 3
"""So many points to look at again can be named in one breath; with more, too little is known. Own choice."""
GOOD_ENOUGH = 4.0
"""A piano whose weighted score can't even reach this at best is not worth buying; own choice."""

SURE_ENOUGH = 0.5
"""From this chance on a job that was found counts as due; own choice."""

FOUND_SHARE = 0.5
"""Work bars a purchase only where what was found asks for more than this share of the worth; own choice."""

LEAST_COST = 0.5
"""What cost a score fewer points is no cause of its standing under a floor; own choice."""

MOST_CAUSES = 3
"""So many things that lowered a score are named where it stands in the way."""


def obstacles_of(
    assessment: Assessment, draws: PianoDraws, *, profile: Buyer, advice: PriceAdvice | None = None
) -> tuple[Statement, ...]:
    """Everything that stands in the way, worst first; empty where the piano may be bought.

    Stops come first, in the order of their severity; then aspects under their floor, work beyond its worth, the
    budget, and a mean that is too low. The budget stands in the way only if even the 10 % point of all the money it
    takes lies above it, at the price asked or at what it is worth, whichever is less; before enough has been looked
    at, only if what is known by then does.
    """
    found = [statement("obstacle.stop", v.source, stop=v.says) for v in assessment.vetoes]
    found += _floors(assessment, profile)
    found += _work(assessment, draws, advice)
    found += _budget(assessment, draws, profile, advice)
    return tuple(found) or tuple(_too_much(assessment, profile))


def may_be_lifted(assessment: Assessment, obstacles: tuple[Statement, ...]) -> bool:
    """Whether an answer still to be had could clear the way: nothing but stops, and none of them final."""
    stops = assessment.vetoes
    return bool(stops) and len(obstacles) == len(stops) and not any(v.final for v in stops)


def _floors(assessment: Assessment, profile: Buyer) -> list[Statement]:
    floors = load_floors()
    level = floors.level_of(profile.level)
    limits = dict(zip(ASPECTS, floors.of(profile.level), strict=True))
    low = [a for a in assessment.aspects if a.high < limits[a.aspect]]
    named = {source for stop in assessment.vetoes for source in stop.sources}
    found = []
    for a in sorted(low, key=lambda a: a.high / limits[a.aspect]):
        causes = causes_of(a, besides=named)
        values: dict[str, Any] = {"aspect": a.aspect, "best": a.high, "floor": float(limits[a.aspect])}
        values |= {"reason": floors.reasons[level]} | ({"because": causes} if causes else {})
        kind = "obstacle.floor, because" if causes else "obstacle.floor"
        found.append(statement(kind, a.aspect, **values))
    return found


def _work(assessment: Assessment, draws: PianoDraws, advice: PriceAdvice | None) -> list[Statement]:
    """Work beyond its worth in half of the cases, and more than half of it found: once enough is known to say so.

    Before that, or where it is the unlikely jobs or what nobody has looked at that make it so, much may prove not to
    be needed: a quote or a look tells.
    """
    if advice is None or missing_looks(assessment) or advice.worth_mid is None:
        return []
    settling = sum(float(j.usual) for j in assessment.repairs.jobs if j.kind == "settling in")
    beyond = float(np.median(draws.repairs)) - settling > float(advice.worth_mid)
    if not beyond or _work_found(assessment) <= FOUND_SHARE * float(advice.worth_mid):
        return []
    return [
        statement("obstacle.work", "price", worth=m.number("worth"), work=m.number("work"))
        for m in advice.missing
        if m.kind == MORE_WORK
    ]


def _work_found(assessment: Assessment) -> float:
    """What the jobs come to that something found asks for, without bringing it home."""
    due = [part for j in assessment.repairs.jobs if j.found and j.kind == "work" and (part := j.forced)]
    return sum(float(part.usual) for part in due if part.known_chance >= SURE_ENOUGH)


def causes_of(aspect: AspectResult, *, besides: Collection[str] = ()) -> tuple[Statement, ...]:
    """The first few things that cost a score most, without those that a stop has named."""
    weighty = [c for c in aspect.made_by if c.low <= -LEAST_COST]
    return tuple(c.says for c in weighty if c.source not in besides)[:MOST_CAUSES]


def _budget(
    assessment: Assessment, draws: PianoDraws, profile: Buyer, advice: PriceAdvice | None
) -> list[Statement]:
    price = assessment.piano.asking_price
    if profile.budget is None or price is None:
        return []
    # Of what nobody has looked at most may prove not to be needed: it can't be what breaks the budget.
    least = (
        _known_so_far(assessment, profile) if missing_looks(assessment) else np.percentile(draws.total, 10)
    )
    least = float(least) - _asked_too_much(price, advice)
    if least <= float(profile.budget):
        return []
    return [statement("obstacle.budget", "budget", takes=Money(least, profile.currency, profile.locale))]


def _known_so_far(assessment: Assessment, profile: Buyer) -> float:
    """The least that the price, the move and what has been found come to; nothing for what may turn up."""
    due = [part for job in assessment.repairs.jobs if job.found and (part := job.forced)]
    moved = 0 if assessment.piano.delivery_included else profile.moving_cost[0]
    work = sum(float(part.low) for part in due if part.known_chance >= SURE_ENOUGH)
    return float(assessment.piano.asking_price or 0) + float(moved) + work


def _asked_too_much(price: Decimal, advice: PriceAdvice | None) -> float:
    """By how much the price asked lies above what it is worth to this buyer: so much comes off, or nobody buys it."""
    worth = None if advice is None else net_worth(advice)
    if worth is None and advice is not None and advice.worth_mid is not None:
        worth = float(advice.worth_mid)
    return 0.0 if worth is None else max(0.0, float(price) - worth)


def net_worth(advice: PriceAdvice) -> float | None:
    """What a piano is worth to this buyer as it stands, work and risk taken off; None where no price is named."""
    return next((float(t.number("amount").amount) for t in advice.terms if t.kind == "price.net"), None)


def _too_much(assessment: Assessment, profile: Buyer) -> list[Statement]:
    weights = middle_weights(profile)[:-1]
    best = float(np.dot([a.high for a in assessment.aspects], weights) / weights.sum())
    if best >= GOOD_ENOUGH:
        return []
    worst = min(assessment.aspects, key=lambda a: a.high)
    return [statement("obstacle.too much wrong", worst.aspect, best=best, because=causes_of(worst))]


@dataclass(frozen=True, kw_only=True)
class Before:
    """What stands before buying one piano: steps of one kind that belong together, and what is to be agreed.

    ``looks`` holds groups of its own steps, each done in one go; ``rivals`` steps at other pianos; ``agree`` what is
    settled with the seller at one table: price, promises, and what like instruments cost.
    """

    looks: tuple[tuple[NextStep, ...], ...]
    rivals: tuple[NextStep, ...]
    agree: tuple[Statement, ...]

    @property
    def too_many(self) -> bool:
        """Whether more stands between than one thing that could be settled by itself.

        What is to be agreed is one thing, done at one table; a look that seldom changes anything may be named beside
        one other thing, and beside no more. Work that may be beyond its worth is a doubt, and no condition.
        """
        weighty = sum(max(s.chance_to_change for s in group) >= COULD_CHANGE for group in self.looks)
        unnameable = any(len(group) > MOST_POINTS for group in self.looks)
        named = len(self.looks) + bool(self.agree)
        quote = any(agreed.kind == QUOTE for agreed in self.agree)
        return (
            bool(self.rivals) or unnameable or quote or weighty + bool(self.agree) > 1 or named > MOST_NAMED
        )

    @property
    def outcomes(self) -> tuple[tuple[Statement, ...], ...]:
        """What the answers lead to, each pair once."""
        return tuple(dict.fromkeys(s.then for s in self.first_looks if s.then))

    @property
    def first_looks(self) -> tuple[NextStep, ...]:
        """All looks, as they stand in order."""
        return (*(s for group in self.looks for s in group), *self.rivals)


def what_stands_before(
    piano: Piano, steps: Sequence[NextStep], *, advice: PriceAdvice, profile: Buyer
) -> Before:
    """What stands before buying a piano that enough was looked at, and that nothing bars."""
    mine = [s for s in steps if s.piano_id == piano.id and s.source != ASKING]
    return Before(
        looks=_in_one_go([s for s in mine if s.pays and s.chance_to_change >= WORTH_SAYING]),
        rivals=tuple(
            s for s in steps if s.piano_id != piano.id and s.pays and s.chance_to_change >= COULD_CHANGE
        ),
        agree=tuple(_agree(piano, advice, profile)),
    )


LIKE_ONES = frozenset(
    ("price.no comparables", "price.too few comparables", "price.too old", "price.other currency")
)
"""Kinds of what a price lacks where like instruments have not been looked up."""

QUOTE = "condition.quote"
"""The kind of what is open where the work may cost more than the piano is worth with it done."""

ASKING = "asking price"
"""The source of the step that asks what a piano costs."""


def _in_one_go(steps: Sequence[NextStep]) -> tuple[tuple[NextStep, ...], ...]:
    """Steps of the same effort belong together; finishing the walk takes its single points in."""
    groups: dict[str, list[NextStep]] = {}
    for step in steps:
        groups.setdefault(step.effort, []).append(step)
    for effort, group in groups.items():
        if walk := [s for s in group if s.action.kind == FINISH]:
            groups[effort] = walk
    return tuple(tuple(group) for group in groups.values())


def _agree(piano: Piano, advice: PriceAdvice, profile: Buyer) -> list[Statement]:
    """What is to be agreed with the seller, or looked up, before anything is signed."""
    asked, most = piano.asking_price, advice.walk_away_above
    found = []
    lacking = tuple(m for m in advice.missing if m.kind in LIKE_ONES)
    if lacking:
        found += [statement("condition.comparables", "comparables", missing=lacking)]
    elif most is None:
        # Whatever else keeps the price back stands before buying by itself.
        work = [m for m in advice.missing if m.kind == MORE_WORK]
        found += [statement(QUOTE, "price", worth=m.number("worth")) for m in work]
    elif asked is None:
        found += [statement("condition.no price asked", "price", amount=_money(most, profile))]
    elif asked > most * HAGGLING:
        values: dict[str, Any] = {"asked": _money(asked, profile), "amount": _money(most, profile)}
        found += [statement("condition.price", "price", **values)]
    if advice.promises:
        said = tuple(dict.fromkeys(p.number("promise") for p in advice.promises))
        found += [statement("condition.promises", "promise", promises=said)]
    return found


def condition_of(step: NextStep) -> Statement:
    """A step as a condition of buying."""
    if step.effort == "technician" and step.what is not None:
        return statement("condition.technician", step.source, what=step.what)
    return statement("condition.look", step.source, step=step.says)


def _money(amount: Decimal, profile: Buyer) -> Money:
    return Money(amount, profile.currency, profile.locale)
