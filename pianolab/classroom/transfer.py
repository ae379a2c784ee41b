"""Real notes to which nothing was done: what a class hears on them before the course and after it.

What is so was measured by pianolab's own listening on these very notes, and only pairs are asked that lie far beyond
what the measure may be off. A higher note usually dies sooner; the pairs are drawn so that it does so in half of them.
"""

from __future__ import annotations

from functools import cache

from pianolab.classroom.altering import let_go
from pianolab.classroom.blows import HOLD_S, Recorded, recorded_note
from pianolab.classroom.confirm import SAID, heard_alone
from pianolab.classroom.draws import two_blows
from pianolab.classroom.drills import CONFIRMED, Drill, Recipe, Truth
from pianolab.classroom.sounds import level_over_time, struck
from pianolab.keyboard import note_name

SURELY, APART_KEYS = 1.25, 7
"""The longer fall by 20 dB over the shorter, at least; how far apart the two keys may be."""


@cache
def fall_s(key: int, which: int) -> tuple[float, str]:
    """Time to fall by 20 dB as measured on a recorded note, s, and how it is to be taken: ``=``, ``>`` at least, ``<`` at most."""
    row = heard_alone(let_go(recorded_note(key, which), HOLD_S), key).row(key)
    return float(row["decay_20_s"]), str(row["decay_20_bound"])


def surely_sooner(one: tuple[float, str], other: tuple[float, str]) -> bool:
    """Whether the first note surely dies sooner: by far, and no bound is on the wrong side.

    Examples
    --------
    >>> surely_sooner((1.0, "="), (2.0, ">")), surely_sooner((1.0, ">"), (2.0, "=")), surely_sooner((1.0, "="), (1.1, "="))
    (True, False, False)
    """
    return one[1] in ("=", "<") and other[1] in ("=", ">") and other[0] > SURELY * one[0]


@cache
def pairs_by_order(
    first: int, second: int
) -> tuple[tuple[tuple[int, int], ...], tuple[tuple[int, int], ...]]:
    """Keys no more than a fifth apart that surely differ, struck as blows ``first`` and ``second``, each as (sooner, later):
    those of which the lower dies sooner, and those of which the higher does."""
    keys = Recorded().keys
    lower: list[tuple[int, int]] = []
    higher: list[tuple[int, int]] = []
    for low, high in ((a, b) for a in keys for b in keys if 0 < b - a <= APART_KEYS):
        for one, other, found in ((low, high, lower), (high, low, higher)):
            if surely_sooner(fall_s(one, first), fall_s(other, second)):
                found.append((one, other))
    return tuple(lower), tuple(higher)


def which_real_note(recipe: Recipe) -> Drill:
    """Two neighbouring keys as they were recorded: which dies sooner?"""
    answer, higher_first = divmod(recipe.answer(4), 2)
    which = two_blows(recipe)
    groups = pairs_by_order(*which)
    sooner, later = groups[higher_first][int(recipe.rng.integers(len(groups[higher_first])))]
    bad = "AB"[answer]
    keys = {bad: sooner, "BA"[answer]: later}
    blows = {bad: which[0], "BA"[answer]: which[1]}
    sounds = {label: let_go(recorded_note(keys[label], blows[label]), HOLD_S) for label in "AB"}
    falls = {label: fall_s(keys[label], blows[label]) for label in "AB"}
    told = {label: f"{SAID.get(bound, '')}{seconds:.2f} s" for label, (seconds, bound) in falls.items()}
    return Drill(
        task=recipe.task,
        kind="which of two real notes dies sooner",
        choices=("A", "B"),
        clips=tuple(struck(label, [sounds[label]], rng=recipe.rng) for label in "AB"),
        question=f"A is {note_name(keys['A'])}, B is {note_name(keys['B'])}, as they were recorded. Which dies sooner?"
        " Count until it is hardly there.",
        truth=Truth(
            answer=bad,
            level=None,
            unit="",
            fault="",
            check=lambda: CONFIRMED,
            made_from="recorded notes, unaltered but for level and end",
            credit=Recorded().credit,
            explanation=f"It is {bad}: measured, it falls by 20 dB in {told[bad]}, the other in {told['BA'[answer]]}.",
            curves=tuple(level_over_time(k, x) for k, x in sounds.items()),
        ),
    )
