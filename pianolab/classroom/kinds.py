"""Every kind of drill by name: its maker, the sizes it asks for, and the features of its sound that carry its question."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from functools import cache
from importlib.resources import files

from pianolab.classroom.drills import Drill, DrillKind, Recipe
from pianolab.classroom.pairs import (
    FURTHER,
    SOONER,
    limen,
    order_by_sustain,
    same_or_different,
    which_is_better,
    which_pedal,
    which_room,
)
from pianolab.classroom.rows import can_you_judge, find_the_bad_key, name_the_fault
from pianolab.classroom.transfer import which_real_note

MAKERS: dict[DrillKind, Callable[[Recipe], Drill]] = {
    "name the fault": name_the_fault,
    "which is better": which_is_better,
    "order by sustain": order_by_sustain,
    "same or different": same_or_different,
    "find the bad key": find_the_bad_key,
    "can you judge the sustain": can_you_judge,
    "which is further out": lambda recipe: limen(recipe, FURTHER),
    "which dies sooner": lambda recipe: limen(recipe, SOONER),
    "which room rings longer": which_room,
    "which has the left pedal down": which_pedal,
    "which of two real notes dies sooner": which_real_note,
}
LEVELS: dict[DrillKind, tuple[float, float]] = {FURTHER.kind: FURTHER.levels, SOONER.kind: SOONER.levels}
"""Kinds with a level of their own (cents, dB/s), and how far it goes."""

UNITS: dict[DrillKind, str] = {FURTHER.kind: FURTHER.unit, SOONER.kind: SOONER.unit}


@cache
def carriers() -> dict[str, tuple[str, ...]]:
    """Simple features of a sound by which a fault, a room or a pedal may be told, since they are what is asked.

    Every other one (peak, level of the blow, energy, centroid, length, size) tells nothing: ``python -m
    benchmarks.class_cues`` tries it.

    Examples
    --------
    >>> carriers()["unison"], carriers()["short_sustain"]
    ((), ('energy',))
    """
    text = (files("pianolab.classroom") / "data" / "carriers.toml").read_text(encoding="utf-8")
    return {name: tuple(entry["features"]) for name, entry in tomllib.loads(text).items()}
