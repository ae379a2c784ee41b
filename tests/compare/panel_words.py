"""What statements mean in the panel's words: which reasons they name, and what they ask the buyer to do next.

A statement is read by its kind and its subject, never by its sentence. A kind that comes into being needs a line in one
of these tables; ``python -m benchmarks.panel`` lists those of a verdict that told nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import cache
from typing import Any

from pianolab.checklist import load_checklist
from pianolab.statements import Statement
from tests.compare.panel_expected import GENERAL_REASONS, STEPS

HEARD = {
    "sustain treble": ("sound.short",),
    "sustain middle": ("sound.short",),
    "sustain bass": ("sound.short",),
    "sustain top": ("sound.short",),
    "sustain": ("sound.masked", "sound.unisons_wide", "sound.decay"),
    "tuning": ("sound.masked", "sound.unisons_wide"),
    "pitch": ("sound.pitch_cents",),
    "buzz": ("sound.buzz",),
    "silent": ("sound.silent",),
    "damper": ("sound.dampers",),
    "slipped strings": ("sound.slipped",),
}
"""What a statement about something heard names, by its subject."""

REASONS = {
    "obstacle.budget": ("budget",),
    "obstacle.work": ("price",),
    "condition.price": ("price",),
    "condition.quote": ("price",),
    "condition.no price asked": ("price",),
    "condition.comparables": ("comparables",),
    "condition.promises": ("promise",),
    "price.no comparables": ("comparables",),
    "price.too few comparables": ("comparables",),
    "price.budget below": ("budget",),
    "price.promise": ("promise",),
    "price.promise worth": ("promise",),
    "unknown.no price": ("price",),
    "step.ask the price": ("price",),
    "step.finish the walk": ("little looked at",),
    "verdict.not looked at": ("little looked at",),
    "verdict.not looked at, in": ("little looked at",),
}
"""The general reasons that a statement names by its kind; a kind that comes into being needs a line here."""

ASKED = {
    "step.technician": ("technician",),
    "step.tune and record": ("tune first", "recording"),
    "step.tune and record again": ("tune first", "recording"),
    "step.record": ("recording",),
    "step.record again": ("recording",),
    "step.finish the walk": ("second visit",),
    "step.look again": ("second visit",),
    "step.play and listen": ("second visit",),
    "step.ask the price": ("asking price",),
    "condition.technician": ("technician",),
    "condition.price": ("negotiate",),
    "condition.quote": ("quote",),
    "condition.no price asked": ("negotiate", "asking price"),
    "condition.comparables": ("comparables",),
    "condition.promises": ("in writing",),
    "price.no comparables": ("comparables",),
    "price.too few comparables": ("comparables",),
    "price.none asked": ("asking price",),
    "price.promise": ("in writing",),
    "price.promise worth": ("in writing",),
    "price.warranty in writing": ("in writing",),
    "price.ask for a warranty": ("in writing",),
    "price.delivery in writing": ("in writing",),
    "price.tunings in writing": ("in writing",),
    "price.subject to a look": ("technician",),
    "verdict.work": ("quote",),
}
"""What a statement asks the buyer to do next, by its kind."""

CONFIRMED_BY = {
    "technician": ("technician",),
    "a pest expert or technician": ("pest expert", "technician"),
    "papers from the seller": ("seller's papers",),
    "papers from the seller or the lender": ("seller's papers",),
    "the authority where you live": ("authority",),
    "the mover": ("mover",),
}


def all_in(statements: Iterable[Any]) -> Iterator[Statement]:
    """Statements with all that stand in them, at any depth."""
    for said in statements:
        if isinstance(said, Statement):
            yield said
            yield from all_in([value for _, value in said.numbers])
        elif isinstance(said, tuple):
            yield from all_in(said)


def named_by(statements: Iterable[Statement]) -> frozenset[str]:
    words: set[str] = set()
    for said in all_in(statements):
        words.update(HEARD.get(said.subject, (said.subject,)), REASONS.get(said.kind, ()))
        if said.kind == "unknown.not looked at" and said.number("state") == "not allowed":
            words.add("not opened")
        if said.subject.startswith("access-"):
            words.add("home" if said.subject == "access-home" else "way out")
        if said.subject.startswith("claims-"):
            words.add("seller's claim")
    return frozenset(words) & panel_words()


def asked_by(statements: Iterable[Statement]) -> Iterator[str]:
    for said in all_in(statements):
        yield from ASKED.get(said.kind, ())
        if said.kind == "step.confirm":
            yield from CONFIRMED_BY.get(said.number("by"), ())


@cache
def panel_words() -> frozenset[str]:
    """The words that a case can use: points, what is heard, general reasons and steps."""
    heard = {word for words in HEARD.values() for word in words}
    return frozenset({point.id for point in load_checklist()} | heard | {*GENERAL_REASONS, *STEPS})
