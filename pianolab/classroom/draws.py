"""What is drawn for a drill before anything sounds: the key, the blows, and how they are altered."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pianolab.classroom.altering import altered, let_go
from pianolab.classroom.blows import HOLD_S
from pianolab.classroom.drills import Recipe
from pianolab.classroom.faults import Fault, HeardFault

FloatArray = NDArray[np.float64]
LAST_RINGING_KEY, LAST_COLOUR_KEY = 49, 52
"""Above the one too little is left after two seconds for a damper to leak; above the other two blows of unlike strength
are further apart in colour, 5 to 8 dB on the shipped notes, than a hard hammer is from a sound one."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Note:
    """One note of a drill as it sounds, and the same blow without its fault."""

    key: int
    fault: Fault | None
    sound: FloatArray
    plain: FloatArray


def keys_for(recipe: Recipe, faults: Sequence[HeardFault], *, beside: int = 0) -> tuple[int, ...]:
    """Keys at which every one of these faults can be heard, so that the key tells nothing of the fault.

    ``beside`` so many keys of the instrument are needed on either side.
    """
    keys = recipe.blows.keys
    inner = keys[beside : len(keys) - beside]
    return tuple(k for k in inner if k <= last_key(faults))


def last_key(faults: Sequence[HeardFault]) -> int:
    """The highest key at which every one of these faults can be heard.

    Examples
    --------
    >>> last_key(["unison"]), last_key(["unison", "damper"]), last_key(["voicing"])
    (88, 49, 52)
    """
    last = {"damper": LAST_RINGING_KEY, "voicing": LAST_COLOUR_KEY}
    return min((last.get(f, 88) for f in faults), default=88)


def drawn_key(recipe: Recipe, faults: Sequence[HeardFault], *, beside: int = 0) -> int:
    """A key for a drill of these faults; in a set every key comes about as often as any other."""
    keys = keys_for(recipe, faults, beside=beside)
    return keys[recipe.answer(len(keys), purpose=1)]


def neighbours(recipe: Recipe, key: int, beside: int) -> tuple[int, ...]:
    """A key of the instrument with so many on either side."""
    at = recipe.blows.keys.index(key)
    return recipe.blows.keys[at - beside : at + beside + 1]


def two_blows(recipe: Recipe) -> tuple[int, int]:
    """Which blow the first and the second of two clips get, whatever is true."""
    first = int(recipe.rng.integers(2))
    return first, 1 - first


def played(
    recipe: Recipe,
    key: int,
    fault: Fault | None,
    *,
    which: int,
    more: Callable[[FloatArray], FloatArray] | None = None,
) -> Note:
    """A blow of a key with a fault, or without, let go after `HOLD_S`; ``more`` is done to it with the fault or without."""
    blow = recipe.blows.blow(key, which, rng=recipe.rng)
    blow = more(blow) if more else blow
    leak = fault.amount if fault and fault.kind == "damper" else 0.0
    plain = let_go(blow, HOLD_S)
    if fault is None:
        return Note(key=key, fault=None, sound=plain, plain=plain)
    sound = let_go(altered(blow, fault, key, rng=recipe.rng), HOLD_S, leak=leak)
    return Note(key=key, fault=fault, sound=sound, plain=plain)
