"""What stands between a piano and buying it: looks worth their cost, a price, a promise, what like ones cost."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from pianolab.compare.price import MORE_WORK, PriceAdvice
from pianolab.compare.steps import FINISH, NextStep
from pianolab.model import BuyerProfile, Piano
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
    piano: Piano, steps: Sequence[NextStep], *, advice: PriceAdvice, profile: BuyerProfile
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


def _agree(piano: Piano, advice: PriceAdvice, profile: BuyerProfile) -> list[Statement]:
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


def _money(amount: Decimal, profile: BuyerProfile) -> Money:
    return Money(amount, profile.currency, profile.locale)
