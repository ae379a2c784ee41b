"""Drills made by name: one, or a set with the kinds in turn."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pianolab.classroom.blows import Blows, SourceName, blows_of
from pianolab.classroom.drills import DRILL_KINDS, Drill, DrillKind, Recipe, task_name
from pianolab.classroom.faults import HeardFault
from pianolab.classroom.kinds import LEVELS, MAKERS
from pianolab.errors import BadInput


def make_drill(
    kind: DrillKind,
    *,
    seed: int,
    number: int = 0,
    hardness: float = 0.3,
    level: float | None = None,
    about: Sequence[HeardFault] = (),
    place: tuple[int, int] | None = None,
    source: SourceName | Blows = "recorded",
) -> Drill:
    """One drill; the same arguments give the same drill on every machine.

    Parameters
    ----------
    kind : one of `DRILL_KINDS`
    seed : the set's seed (`set_seed`)
    number : which drill of the set, from 0
    hardness : 0 plain to 1 fine
    level : for "which is further out" (cents) and "which dies sooner" (dB/s): the size of the difference;
        None takes one that suits the hardness
    about : faults to draw from, where the kind of drill has several; empty for all
    place : which task of its kind this is in the set, from 0, and how many of its kind there are: over those every
        answer comes its share of times; None counts by ``number``
    source : "recorded" (the shipped real notes), "modelled", or blows of one's own

    Raises
    ------
    BadInput : an unknown kind or source, a hardness or level outside its range, a seed or number below 0

    Notes
    -----
    What is true is known because it was done to the sound; whether pianolab's own listening hears it too stands in
    ``truth.confirmed``, which listens when it is first asked for.

    Examples
    --------
    >>> drill = make_drill("which dies sooner", seed=7, level=12.0)
    >>> drill.choices, [clip.label for clip in drill.clips]
    (('A', 'B'), ['A', 'B'])
    >>> "truth" in repr(drill)
    False
    """
    if kind not in MAKERS:
        raise BadInput("kind", repr(kind), "one of " + ", ".join(DRILL_KINDS))
    if not 0.0 <= hardness <= 1.0:
        raise BadInput("hardness", hardness, "0 (plain) to 1 (fine)")
    if seed < 0 or number < 0:
        raise BadInput("seed, number", f"{seed}, {number}", "whole numbers from 0 on")
    rng = np.random.default_rng([seed, number, DRILL_KINDS.index(kind)])
    blows = blows_of(source, seed=int(rng.integers(1, 2**31))) if isinstance(source, str) else source
    words = source if isinstance(source, str) else source.words
    task = task_name(kind, seed=seed, number=number, hardness=hardness, level=level, about=(*about, words))
    recipe = Recipe(
        rng=rng,
        seed=seed,
        task=task,
        hardness=hardness,
        level=level,
        blows=blows,
        kind=kind,
        turn=number if place is None else place[0],
        of=None if place is None else place[1],
        about=tuple(about),
    )
    return MAKERS[kind](recipe)


def drill_set(
    kinds: Sequence[DrillKind], *, count: int, seed: int, hardness: float = 0.3
) -> tuple[Drill, ...]:
    """So many drills, the kinds in turn; made when asked for, one after another.

    Parameters
    ----------
    kinds : kinds of drills, by name
    count : how many drills
    seed : int; the same seed gives the same drills
    hardness : 0 plain to 1 fine

    Returns
    -------
    tuple of `Drill`; each is made when it is asked for

    Examples
    --------
    >>> [d.kind for d in drill_set(["which dies sooner"], count=2, seed=5)]
    ['which dies sooner', 'which dies sooner']
    """
    if not kinds or count < 1:
        raise BadInput("drills", f"{count} of {len(kinds)} kinds", "one kind and one drill at least")
    return tuple(
        make_drill(kind, seed=seed, number=n, hardness=hardness, place=(turn, of))
        for n, (kind, turn, of) in enumerate(in_turn(kinds, count))
    )


def in_turn(kinds: Sequence[DrillKind], count: int) -> list[tuple[DrillKind, int, int]]:
    """So many tasks, the kinds in turn: of each its kind, which of its kind it is, and how many there are.

    Examples
    --------
    >>> in_turn(["which dies sooner", "name the fault"], 3)
    [('which dies sooner', 0, 2), ('name the fault', 0, 1), ('which dies sooner', 1, 2)]
    """
    places = [kinds[n % len(kinds)] for n in range(count)]
    return [(kind, places[:n].count(kind), places.count(kind)) for n, kind in enumerate(places)]


PLAIN = 0.2
SPREAD = (0.2, 0.5, 0.35, 0.65, 0.75)
"""How hard the tasks with a level are, in turn, where all get the same: from plain to fine, so that a threshold can be told."""


def hardness_for_all(kinds: Sequence[DrillKind], number: int) -> float:
    """How hard a task is in a set that is the same for all.

    Examples
    --------
    >>> [hardness_for_all(["which dies sooner", "name the fault"], n) for n in range(4)]
    [0.2, 0.2, 0.5, 0.2]
    """
    turn, place = divmod(number, len(kinds))
    return SPREAD[turn % len(SPREAD)] if kinds[place] in LEVELS else PLAIN
