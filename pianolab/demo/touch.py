"""What the demonstration's players say of touch: it follows the condition an instrument is in, not its name."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from typing import Any

from pianolab.model import TouchOpinion, TouchTrial
from pianolab.shipped import shipped

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
