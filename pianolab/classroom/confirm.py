"""Whether pianolab's own listening hears what a drill says is true; where it can't, the drill is marked.

The margins are those beyond which the listening tells two notes apart on its own measured error (unison
0.35 cents, decay a few percent; see the benchmarks): a smaller difference is true, but not confirmed.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pianolab.classroom.altering import RATE_HZ
from pianolab.classroom.blows import HOLD_S
from pianolab.classroom.draws import Note
from pianolab.classroom.drills import CONFIRMED
from pianolab.classroom.faults import HeardFault
from pianolab.classroom.sounds import Played, listened

NOT = "not confirmed by measurement"
COLUMN: dict[HeardFault, tuple[str, str]] = {
    "unison": ("unison_cents", "cents"),
    "short_sustain": ("decay_20_s", "s"),
    "damper": ("release_20_s", "s"),
    "off_pitch": ("cents", "cents"),
    "voicing": ("brightness_db", "dB"),
}
PROVES: dict[str, tuple[str, str, str]] = {
    "short_sustain": ("decay_20_bound", "=<", "=>"),
    "damper": ("release_bound", "=>", "=<"),
}
"""Column of the bound of a time, and what the worse and the better note's may be for the order to be proven."""
SAID = {"<": "at most ", ">": "at least "}
SOUND_CENTS = 2.0
"""Strings that are heard to be no further apart are in tune [practice]."""

APART_CENTS, ALIKE_CENTS, SHORTER, LONGER_RELEASE, BESIDE_CENTS, BRIGHTER_DB = 0.7, 0.5, 0.93, 1.3, 2.0, 2.0


def by_measure(note: Note) -> str:
    """Confirmed where the listening hears a note's fault beside the same blow without it; or, without a fault, hears it sound."""
    heard = heard_alone(note.sound, note.key)
    if note.fault is None:
        return _sound(heard, note.key)
    if note.fault.kind == "damper":
        return _by_release(note)
    if note.fault.kind not in COLUMN:
        return f"{NOT}: the listening tells this only among many keys of one piano"
    return by_order(note.fault.kind, heard, heard_alone(note.plain, note.key), note.key)


def _by_release(note: Note) -> str:
    """When the note was let go is known: how long until it is 20 dB softer, beside the same blow well damped."""
    bad, good = (release_s(sound) for sound in (note.sound, note.plain))
    if bad > LONGER_RELEASE * good:
        return CONFIRMED
    return f"{NOT}: {bad:.2f} s beside {good:.2f} s until it is 20 dB softer"


def release_s(sound: NDArray[np.float64], hold_s: float = HOLD_S) -> float:
    """Time from letting go until the level in 30 ms has fallen by 20 dB; the rest of the sound where it never does."""
    hop = round(0.005 * RATE_HZ)
    power = np.convolve(sound**2, np.ones(6 * hop) / (6 * hop), "valid")[::hop]
    at = round(hold_s / 0.005) - 6
    low = np.flatnonzero(power[at:] < 0.01 * power[at])
    return float((low[0] if low.size else power.size - at) * 0.005)


def heard_alone(sound: NDArray[np.float64], key: int) -> Played:
    """What pianolab hears in one note by itself."""
    return listened(sound / max(float(np.abs(sound).max()), 1e-9) * 0.5, key, rate_hz=RATE_HZ, seed=1)


def _sound(heard: Played, key: int) -> str:
    """Confirmed where the strings are heard to agree."""
    cents = float(heard.row(key)["unison_cents"])
    if not np.isfinite(cents):
        return f"{NOT}: whether its strings agree can't be measured here"
    return CONFIRMED if cents < SOUND_CENTS else f"{NOT}: its strings are heard {cents:.1f} cents apart"


def by_order(fault: HeardFault, worse: Played, better: Played, key: int, *, alike: bool = False) -> str:
    """Confirmed where the measure of this fault puts the two notes in the true order (``alike``: no order)."""
    column, unit = COLUMN[fault]
    bounds = _bounds(fault, worse, better, key)
    if fault == "short_sustain" and not _may_prove(fault, bounds):
        return _by_slope(worse, better, key)
    bad, good = (float(p.row(key)[column]) for p in (worse, better))
    if not (np.isfinite(bad) and np.isfinite(good)):
        return f"{NOT}: {column} can't be measured here"
    told = {
        "unison": bad - good > max(APART_CENTS, _sd(worse, better, key, column)),
        "short_sustain": bad < SHORTER * good,
        "damper": bad > LONGER_RELEASE * good,
        "off_pitch": abs(bad - good) > BESIDE_CENTS,
        "voicing": bad - good > BRIGHTER_DB,
    }[fault]
    if alike:
        told = abs(bad - good) < ALIKE_CENTS and bounds == ("=", "=")
    if told and _may_prove(fault, bounds):
        return CONFIRMED
    said = [f"{SAID.get(b, '')}{value:.2f} {unit}" for b, value in zip(bounds, (bad, good), strict=True)]
    return f"{NOT}: {' beside '.join(said)} measured"


def _sd(worse: Played, better: Played, key: int, column: str) -> float:
    """Standard deviation of the difference of two measures, 0 where none is stated."""
    stated = [float(p.row(key).get(f"{column}_sd", 0.0)) for p in (worse, better)]
    return float(np.hypot(*np.nan_to_num(stated)))


def _bounds(fault: HeardFault, worse: Played, better: Played, key: int) -> tuple[str, str]:
    """How the two values are to be taken: ``=`` measured, ``>`` at least, ``<`` at most, empty where there is none."""
    if fault not in PROVES:
        return "=", "="
    column = PROVES[fault][0]
    return str(worse.row(key)[column]), str(better.row(key)[column])


def _may_prove(fault: HeardFault, bounds: tuple[str, str]) -> bool:
    """Whether values with these bounds can show which note is worse: a bound counts where what it leaves open makes them differ more."""
    _, of_worse, of_better = PROVES.get(fault, ("", "=", "="))
    return all(b and b in ways for b, ways in zip(bounds, (of_worse, of_better), strict=True))


def _by_slope(worse: Played, better: Played, key: int) -> str:
    """Where a fall by 20 dB isn't known, the first slope tells which note dies faster."""
    bad, good = (float(p.row(key)["early_db_per_s"]) for p in (worse, better))
    if not (np.isfinite(bad) and np.isfinite(good)):
        return f"{NOT}: neither the fall by 20 dB nor the first slope can be measured here"
    return CONFIRMED if SHORTER * bad > good else f"{NOT}: {bad:.0f} dB/s beside {good:.0f} dB/s measured"
