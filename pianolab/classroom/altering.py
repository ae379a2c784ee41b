"""What is done to a note so that it has a fault: arrays in, arrays out, each by a known amount.

Every alteration works on one blow of one key, recorded or modelled alike (shape (frames,), at `RATE_HZ`, ringing on),
so that two clips differ in what was altered and in nothing else that one could go by.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.fft import next_fast_len
from scipy.ndimage import map_coordinates
from scipy.signal import fftconvolve, hilbert, resample_poly

from pianolab.classroom.faults import Fault
from pianolab.sound_model.hammer_and_body import buzz_pulses, voicing_gain
from pianolab.sound_model.room import RecordingRoom, impulse_response
from pianolab.units import db_to_amplitude, key_to_hz, shift_cents

FloatArray = NDArray[np.float64]
RATE_HZ = 32000
COPY = 0.8
"""Amplitude of the second string beside the first: its beat is deep, and never quite silent."""

UP = 0.65
"""Share of beats whose first swing goes up: it takes two of them to make up for what one that goes down loses."""

DAMPED_T60_S, LANDING_S = 0.28, 0.03
"""How fast a sound damper in the middle takes the tone away, and how long it takes to land [practice]."""

LITTLE_DB, WINDOW_S, BLOW_S, TALLEST_S = 3.0, 0.03, 0.15, 0.4
"""So little brightness needs no turned phases; over how long a blow's level is taken, where its strongest such part is
looked for, and where its tallest sample [practice]."""

PARTIALS, APART_S = 20, 0.004
TRIES, MOVED, NEAR_DB = 100, 0.3, 0.1
"""Partials, from the second on, whose phases may be turned in what makes a note brighter, and how far parts of a blow
may come apart by it, far closer than an ear tells [practice]; how many turns are tried, of what share of the partials
each, and how near to the peaks of the note as it was is near enough."""

BUZZ_RANGE_DB = 18.0
"""A buzz falls silent when the tone has fallen so far."""


def altered(sound: FloatArray, fault: Fault | None, key: int, *, rng: np.random.Generator) -> FloatArray:
    """A blow of a key with a fault that shows while the key is held (dampers: `let_go`).

    Examples
    --------
    >>> tone = np.sin(2 * np.pi * 440 * np.arange(RATE_HZ) / RATE_HZ)
    >>> altered(tone, Fault(kind="short_sustain", amount=20.0), 49, rng=np.random.default_rng(1)).shape
    (32000,)
    """
    if fault is None or fault.kind == "damper":
        return sound
    f1_hz = float(key_to_hz(key))
    if fault.kind == "unison":
        return beating(sound, fault.amount, rng=rng)
    if fault.kind == "short_sustain":
        return dying_faster(sound, fault.amount)
    if fault.kind == "buzz":
        return buzzing(sound, fault.amount, f1_hz, rng=rng)
    if fault.kind == "off_pitch":
        return out_of_tune(sound, fault.amount * float(rng.choice([-1.0, 1.0])))
    return brighter(sound, fault.amount, f1_hz)


def dying_faster(sound: FloatArray, db_per_s: float) -> FloatArray:
    """The same blow, dying away so much faster, in dB/s."""
    return sound * db_to_amplitude(-db_per_s * np.arange(len(sound)) / RATE_HZ)


def beating(sound: FloatArray, cents: float, *, rng: np.random.Generator) -> FloatArray:
    """The note with a copy of itself so much higher, as a second string.

    The copy starts a quarter of a period beside the note, before or behind it by chance: at the blow it makes the
    note neither louder nor softer than without, and the first swing of the beat goes up or down, in such shares that
    the sound's whole energy tells nothing.
    """
    up = 1.0 if rng.random() < UP else -1.0
    aside = up * np.imag(hilbert(sound, next_fast_len(len(sound) + RATE_HZ // 4)))
    return sound + COPY * out_of_tune(aside[: len(sound)], cents)


def out_of_tune(sound: FloatArray, cents: float) -> FloatArray:
    """The same sound played faster by so many cents, as a tape would be: a cubic spline through four times the samples."""
    fine = resample_poly(sound, 4, 1)
    at = np.arange(len(sound)) * 4.0 * float(shift_cents(1.0, cents))
    at = np.minimum(at, len(fine) - 1.0)
    return np.asarray(map_coordinates(fine, [at], order=3, mode="mirror"))


def buzzing(sound: FloatArray, level_db: float, f1_hz: float, *, rng: np.random.Generator) -> FloatArray:
    """Something loose that rattles along while the tone is loud; ``level_db`` beside the tone's first 0.3 s."""
    pulses = buzz_pulses(rng, rate_hz=RATE_HZ, frames=len(sound), f1_hz=f1_hz, periodic=True)
    smooth = np.sqrt(np.maximum(fftconvolve(sound**2, _window(0.03), "same"), 1e-20))
    loud = smooth / smooth.max()
    gone = float(db_to_amplitude(-BUZZ_RANGE_DB))
    buzz = pulses * loud * np.clip((loud - gone) / 0.2, 0.0, 1.0)
    first = slice(0, round(0.3 * RATE_HZ))
    level = np.sqrt(np.mean(sound[first] ** 2)) * db_to_amplitude(level_db)
    return np.asarray(sound + buzz * level / max(float(np.sqrt(np.mean(buzz[first] ** 2))), 1e-12))


def brighter(sound: FloatArray, gain_db: float, f1_hz: float) -> FloatArray:
    """The partials from the fifth up so much stronger (below 0: weaker), the first two as they were.

    The upper partials are turned in phase, so that the blow is as peaked as it was: brightness is heard by its colour
    and not by its tallest sample. Turning changes no partial's level.

    Examples
    --------
    >>> ten = np.sin(2 * np.pi * 2200 * np.arange(RATE_HZ) / RATE_HZ)
    >>> softer = brighter(ten, -10.0, 220.0)[8000:24000]
    >>> round(float(20 * np.log10(softer.std() / ten[8000:24000].std())), 1)
    -10.0
    """
    if not gain_db:
        return sound
    turns = np.zeros(PARTIALS) if abs(gain_db) <= LITTLE_DB else _turns(sound, gain_db, f1_hz)
    return coloured(sound, gain_db, f1_hz, turns)


def _turns(sound: FloatArray, gain_db: float, f1_hz: float) -> FloatArray:
    """Phases, in rad for each partial from the second on, with which the blow is about as peaked as it was: tried by
    chance, each from the best so far, and always the same for the same sound."""
    rng, wanted_db = np.random.default_rng(PARTIALS), crest(sound)
    short = sound[: round((TALLEST_S + 0.05) * RATE_HZ)]

    def off_db(turns: FloatArray) -> float:
        return abs(crest(coloured(short, gain_db, f1_hz, turns)) - wanted_db)

    most, best = np.pi * f1_hz * APART_S, np.zeros(PARTIALS)
    least_db = off_db(best)
    for _ in range(TRIES):
        if least_db <= NEAR_DB:
            break
        step = rng.exponential() * rng.standard_normal(PARTIALS) * (rng.random(PARTIALS) < MOVED)
        tried = np.clip(best + step, -most, most)
        now_db = off_db(tried)
        if now_db < least_db:
            best, least_db = tried, now_db
    return best


def coloured(sound: FloatArray, gain_db: float, f1_hz: float, turns: FloatArray) -> FloatArray:
    """Partials from the fifth up by ``gain_db`` stronger and turned in phase; from the second to the fifth both come in
    by degrees."""
    size = next_fast_len(len(sound) + RATE_HZ // 4, real=True)
    at = np.fft.rfftfreq(size, 1.0 / RATE_HZ) / f1_hz
    gain = voicing_gain(40, np.maximum(at, 0.5), brightness_db=gain_db)
    share = 20.0 * np.log10(gain) / gain_db
    turned = share * np.interp(at, np.arange(2, 2 + len(turns)), turns)
    return np.asarray(np.fft.irfft(np.fft.rfft(sound, size) * gain * np.exp(1j * turned), size)[: len(sound)])


def crest(note: FloatArray) -> float:
    """Tallest sample of a blow over the mean of its strongest 30 ms, dB.

    Examples
    --------
    >>> round(crest(np.sin(np.arange(RATE_HZ) / 10.0)), 1)
    3.0
    """
    tallest = max(float(np.max(note[: round(TALLEST_S * RATE_HZ)] ** 2)), 1e-20)
    return float(10.0 * np.log10(tallest)) - blow_level(note)


def blow_level(note: ArrayLike, *, rate_hz: int = RATE_HZ) -> float:
    """Level of a blow, dB re full scale: its strongest 30 ms within the first 150."""
    power = np.asarray(note, float)[: round(BLOW_S * rate_hz)] ** 2
    return float(10.0 * np.log10(max(strongest_mean(power, round(WINDOW_S * rate_hz)), 1e-20)))


def strongest_mean(power: FloatArray, count: int) -> float:
    """The largest mean of so many values in a row.

    Examples
    --------
    >>> strongest_mean(np.array([0.0, 1.0, 3.0, 0.0]), 2)
    2.0
    """
    sums = np.concatenate([[0.0], np.cumsum(power)])
    return float(np.max(sums[count:] - sums[:-count])) / count


def let_go(sound: FloatArray, hold_s: float, *, leak: float = 0.0) -> FloatArray:
    """The key let go after ``hold_s``: a damper takes the tone away, but for a share that leaks past it.

    The leak never silences the tone at once nor makes it louder: it is the note itself, so much softer.
    """
    t = np.maximum(np.arange(len(sound)) / RATE_HZ - hold_s, 0.0)
    landed = np.minimum(t / LANDING_S, 1.0)
    kept = np.exp(-np.log(1000.0) / DAMPED_T60_S * (t - 0.5 * LANDING_S * landed))
    return sound * (leak + (1.0 - leak) * np.minimum(kept, 1.0))


def in_room(sound: FloatArray, t60_s: float, *, seed: int) -> FloatArray:
    """The note in a room that rings ``t60_s``; each seed is another place in it."""
    response = _response(round(t60_s, 3), seed)
    return np.asarray(fftconvolve(sound, response)[: len(sound)])


@lru_cache(maxsize=8)
def _response(t60_s: float, seed: int) -> FloatArray:
    return impulse_response(RecordingRoom(t60_s=t60_s), rate_hz=RATE_HZ, seed=seed)[:, 0]


def _window(seconds: float) -> FloatArray:
    window = np.hanning(round(seconds * RATE_HZ))
    return np.asarray(window / window.sum())
