"""What is drawn for a drill before anything sounds: the piano, the key, and which faults it can have."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pianolab.classroom.drills import Recipe
from pianolab.classroom.faults import HeardFault
from pianolab.classroom.sounds import AROUND, true_rate_db_per_s
from pianolab.sound_model import PianoModel

KEYS, FAULT_KEYS, RINGING_KEYS = range(38, 61), range(34, 61), range(34, 46)
"""Where drills of one fault lie, and those of several; a damper leaks only where enough is left after two seconds."""

USUAL, USUAL_IN_OCTAVE, PIANOS = 0.75, 0.7, 12
"""Least share of its neighbours' fall by 20 dB that a sound key has, alone and where thirteen must have it [practice];
how many pianos are tried."""


def drawn_piano(recipe: Recipe, *, unison: float = 0.3) -> PianoModel:
    """A well kept grand, another one in every drill."""
    seed = int(recipe.rng.integers(1, 2**31))
    return PianoModel(
        seed=seed, kind="grand", unison_spread_cents=unison, tuning_spread_cents=0.2, voicing_spread_db=0.4, false_beat_cents=0.05
    )  # fmt: skip


def even_piano(recipe: Recipe, first: int, last: int, *, least: float) -> PianoModel:
    """A well kept grand on which none of these keys falls by 20 dB much sooner than its neighbours by nature.

    A key that is short without having been made so would be a right answer that counts as wrong.
    """
    tried: list[tuple[float, PianoModel]] = []
    while len(tried) < PIANOS and (not tried or tried[-1][0] < least):
        model = drawn_piano(recipe)
        fall = {k: 1.0 / true_rate_db_per_s(model, k) for k in range(first - AROUND, last + AROUND + 1)}
        shares = [fall[k] / np.median([fall[j] for j in _neighbours(k)]) for k in range(first, last + 1)]
        tried.append((float(min(shares)), model))
    return max(tried, key=lambda found: found[0])[1]


def _neighbours(key: int) -> list[int]:
    return [k for k in range(key - AROUND, key + AROUND + 1) if k != key]


def drawn_key(recipe: Recipe) -> int:
    """A key for a drill of one fault."""
    return int(recipe.rng.choice(KEYS))


def possible(recipe: Recipe, key: int, every: Sequence[HeardFault]) -> list[HeardFault]:
    """What can be the matter with a key. The key is drawn first, so that it tells nothing of the fault."""
    return [f for f in recipe.among(every) if f != "damper" or key in RINGING_KEYS]


def low_only(recipe: Recipe, every: Sequence[HeardFault]) -> bool:
    """Whether a drill is about dampers more than others: further up it would have nothing to ask."""
    faults = recipe.among(every)
    return "damper" in faults and len(faults) < len(every)
