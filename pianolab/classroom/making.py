"""Drills made by name: one, or a set with the kinds in turn."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from pianolab.classroom.drills import DRILL_KINDS, Drill, DrillKind, Recipe, task_name
from pianolab.classroom.faults import HeardFault
from pianolab.classroom.kinds import MAKERS
from pianolab.errors import BadInput


def make_drill(
    kind: DrillKind,
    *,
    seed: int,
    number: int = 0,
    hardness: float = 0.3,
    level: float | None = None,
    about: Sequence[HeardFault] = (),
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

    Raises
    ------
    BadInput : an unknown kind, a hardness or level outside its range, a seed or number below 0

    Notes
    -----
    The truth of the modelled piano is known because it was put there; whether our own listening hears it
    too stands in ``truth.confirmed``.

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
    maker: Callable[[Recipe], Drill] = MAKERS[kind]
    rng = np.random.default_rng([seed, number, DRILL_KINDS.index(kind)])
    task = task_name(kind, seed=seed, number=number, hardness=hardness, level=level, about=about)
    return maker(Recipe(rng=rng, seed=seed, task=task, hardness=hardness, level=level, about=tuple(about)))


def drill_set(
    kinds: Sequence[DrillKind], *, count: int, seed: int, hardness: float = 0.3
) -> tuple[Drill, ...]:
    """So many drills, the kinds in turn; made when asked for, one after another.

    Examples
    --------
    >>> [d.kind for d in drill_set(["which dies sooner"], count=2, seed=5)]
    ['which dies sooner', 'which dies sooner']
    """
    if not kinds or count < 1:
        raise BadInput("drills", f"{count} of {len(kinds)} kinds", "one kind and one drill at least")
    return tuple(
        make_drill(kinds[n % len(kinds)], seed=seed, number=n, hardness=hardness) for n in range(count)
    )
