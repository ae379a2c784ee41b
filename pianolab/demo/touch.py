"""What others say and ask in the demonstration: players' opinions of touch, prices of like instruments.

Opinions follow the condition an instrument is in, not its name; prices follow the instrument, not its condition.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from typing import Any

from pianolab.model import Comparable, Piano, TouchOpinion, TouchTrial
from pianolab.shipped import shipped

PRICES = "datasets/scenario/comparables.toml"
FILE = "datasets/scenario/touch.toml"


def demo_opinions(visit_of: Mapping[str, str]) -> tuple[TouchOpinion, ...]:
    """The players' opinions; ``visit_of`` gives the visit at which each condition was found.

    Examples
    --------
    >>> [o.player for o in demo_opinions({"masked treble": "v"})]
    ['Ada', 'Ben', 'Cato']
    """
    return tuple(
        TouchOpinion(
            id=f"{visit_of[o['condition']]}-touch-{o['player'].lower()}",
            visit_id=visit_of[o["condition"]],
            player=o["player"],
            taste=o["taste"],
            faults=o["faults"],
            liking=o["liking"],
        )
        for o in _entries("opinion")
        if o["condition"] in visit_of
    )


def demo_trials(piano_of: Mapping[str, str]) -> tuple[TouchTrial, ...]:
    """Which of two pianos the players would rather play; ``piano_of`` gives the piano in each condition."""
    return tuple(
        TouchTrial(
            id=f"{piano_of[t['rather']]}-{piano_of[t['than']]}-{player.lower()}",
            player=player,
            piano_id=piano_of[t["rather"]],
            other_piano_id=piano_of[t["than"]],
        )
        for t in _entries("trial")
        if t["rather"] in piano_of and t["than"] in piano_of
        for player in t["players"]
    )


def _entries(kind: str) -> list[dict[str, Any]]:
    entries: list[dict[str, Any]] = tomllib.loads(shipped(FILE).read_text(encoding="utf-8"))[kind]
    return entries


def demo_comparables(pianos: Iterable[Piano]) -> tuple[Comparable, ...]:
    """The noted prices, each beside the instrument that it was looked up for.

    Examples
    --------
    >>> mine = Piano(id="m", name="Mill Lane grand", kind="grand")
    >>> [c.price for c in demo_comparables([mine])][:2]
    [Decimal('5200'), Decimal('4600')]
    """
    entries = tomllib.loads(shipped(PRICES).read_text(encoding="utf-8"))["comparable"]
    by_name = {piano.name: piano for piano in pianos}
    found = []
    for number, entry in enumerate(entries, start=1):
        piano = by_name.get(entry.pop("instrument"))
        if piano is not None:
            identity = f"{piano.id}-like-{number}"
            found.append(Comparable(id=identity, piano_id=piano.id, kind=piano.kind, **entry))
    return tuple(found)
