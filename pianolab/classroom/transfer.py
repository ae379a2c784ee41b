"""Real notes to which nothing was done: what a class hears on them before the course and after it.

What is so is read off the level of these very notes, and only pairs are asked that lie far apart. A higher note usually
dies sooner, and so does one whose blow is less peaked or darker; the pairs are drawn so that each of the three holds
in half of them, whichever way the other two are.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, lru_cache
from itertools import product

import numpy as np

from pianolab.classroom.altering import RATE_HZ, crest, let_go
from pianolab.classroom.blows import HOLD_S, RepeatedKeys, recorded_note
from pianolab.classroom.confirm import NOT, SAID, SHORTER, heard_alone
from pianolab.classroom.drills import CONFIRMED, Drill, Recipe, Truth
from pianolab.classroom.sounds import centroid_hz, level_over_time, struck
from pianolab.io import real_notes, second_blows
from pianolab.keyboard import note_name
from pianolab.sound_model.truth import fall_time, level_curve

Blow = tuple[int, int]
"""A key, and which of its recorded blows."""

SURELY, APART_KEYS, LEAST_S = 1.25, 10, 0.4
"""The longer fall by 20 dB over the shorter, at least; how far apart the two keys may be; and the shortest fall that
one can follow while it lasts [practice]."""

ALIKE_DB = 2.1
"""So much the peaks of two blows of one level may differ: no more than moving them by chance hides [practice]."""

LET_GO_S = 0.05
"""A fall that ends so shortly before the key is let go, or after, would have gone on: at least so long."""


@dataclass(frozen=True, kw_only=True)
class NoteFall:
    """How long a note takes to fall by 20 dB, s, how that is to be taken (``=``, or ``>`` at least), and its looks."""

    seconds: float
    bound: str
    peak_db: float
    centroid_hz: float


@cache
def fall_of(key: int, which: int) -> NoteFall:
    """The fall of a recorded note while its key is held, from its loudest 30 ms to the last time within 20 dB of that."""
    note = let_go(recorded_note(key, which), HOLD_S)
    time_s, level_db = level_curve(note.astype(np.float32), rate_hz=RATE_HZ)
    start = int(np.argmax(level_db))
    seconds = fall_time(time_s, level_db, start=start, drop_db=20.0)
    ended = time_s[start] + seconds > HOLD_S - LET_GO_S
    return NoteFall(
        seconds=round(float(seconds), 3),
        bound=">" if ended else "=",
        peak_db=crest(note),
        centroid_hz=centroid_hz(note),
    )


def surely_sooner(one: NoteFall, other: NoteFall) -> bool:
    """Whether the first note surely dies sooner: by far, its own fall known, and both slow enough to be followed.

    Examples
    --------
    >>> known, long = (NoteFall(seconds=s, bound=b, peak_db=6.0, centroid_hz=500.0) for s, b in ((1.0, "="), (1.96, ">")))
    >>> surely_sooner(known, long), surely_sooner(long, known), surely_sooner(known, known)
    (True, False, False)
    """
    return one.bound == "=" and other.seconds > SURELY * one.seconds and one.seconds >= LEAST_S


@cache
def pairs_by_looks() -> tuple[tuple[tuple[Blow, Blow], ...], ...]:
    """Blows of keys less than an octave apart that surely differ, each as (sooner, later), in eight groups: whether the
    one that dies sooner is the higher, the more peaked, the brighter."""
    blows = [(k, which) for which, keys in enumerate((real_notes(), second_blows())) for k in keys]
    found: dict[tuple[bool, ...], list[tuple[Blow, Blow]]] = {
        looks: [] for looks in product((False, True), repeat=3)
    }
    for one, other in product(blows, blows):
        a, b = fall_of(*one), fall_of(*other)
        near = 0 < abs(one[0] - other[0]) <= APART_KEYS and abs(a.peak_db - b.peak_db) <= ALIKE_DB
        if near and surely_sooner(a, b):
            looks = (one[0] > other[0], a.peak_db > b.peak_db, a.centroid_hz > b.centroid_hz)
            found[looks].append((one, other))
    return tuple(tuple(group) for group in found.values())


def which_real_note(recipe: Recipe) -> Drill:
    """Two neighbouring keys as they were recorded: which dies sooner?"""
    bad, groups = "AB"[recipe.answer(2)], pairs_by_looks()
    good, group = "BA"["AB".index(bad)], groups[recipe.answer(len(groups), purpose=1)]
    sooner, later = group[int(recipe.rng.integers(len(group)))]
    blows = {label: {bad: sooner, good: later}[label] for label in "AB"}
    names = {label: note_name(key) for label, (key, _) in blows.items()}
    sounds = {label: let_go(recorded_note(*blow), HOLD_S) for label, blow in blows.items()}
    falls = {label: fall_of(*blow) for label, blow in blows.items()}
    told = {label: f"{SAID.get(f.bound, '')}{f.seconds:.2f} s" for label, f in falls.items()}
    return Drill(
        task=recipe.task,
        kind="which of two real notes dies sooner",
        choices=("A", "B"),
        clips=tuple(struck(label, [sounds[label]], rng=recipe.rng) for label in "AB"),
        question=f"A is {names['A']}, B is {names['B']}, as they were recorded. Which dies sooner?"
        " Count until it is hardly there.",
        truth=Truth(
            answer=bad,
            level=None,
            unit="",
            fault="",
            check=lambda: heard_sooner(sooner, later),
            made_from="recorded notes, unaltered but for level and end",
            credit=RepeatedKeys().credit,
            explanation=f"It is {bad}: its level falls by 20 dB in {told[bad]}, that of the other in {told[good]}.",
            curves=tuple(level_over_time(k, x) for k, x in sounds.items()),
        ),
    )


def heard_sooner(sooner: Blow, later: Blow) -> str:
    """Confirmed where the listening, which knows nothing of the pair, hears the same order of the two blows."""
    (one, below), (other, above) = _heard_s(*sooner), _heard_s(*later)
    if below in ("=", "<") and above in ("=", ">") and one < SHORTER * other:
        return CONFIRMED
    return f"{NOT}: {SAID.get(below, '')}{one:.2f} s beside {SAID.get(above, '')}{other:.2f} s heard"


@lru_cache(maxsize=64)
def _heard_s(key: int, which: int) -> tuple[float, str]:
    row = heard_alone(let_go(recorded_note(key, which), HOLD_S), key).row(key)
    return float(row["decay_20_s"]), str(row["decay_20_bound"])
