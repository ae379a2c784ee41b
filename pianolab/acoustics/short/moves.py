"""A chord held, a note repeated, the damper pedal moved: a few numbers each, from the level of the sound over time."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import find_peaks

from pianolab.acoustics.envelope.levels import quiet_power, whole_levels
from pianolab.acoustics.keys.onsets import find_onsets
from pianolab.acoustics.keys.strikes import Strikes
from pianolab.acoustics.short.power import enough_sound, power_in_hops
from pianolab.acoustics.spectra import Samples
from pianolab.show import Row, Showable

FALLS_DB = (20.0, 40.0)
OVER_NOISE_DB = 6.0
FAST_S = 0.05
"""Blows closer together than this are one: no action repeats 20 times a second [practice]."""

BLOW_SHARE = 0.3
LEAST_BLOWS = 8
MISSED_FROM = 1.6
"""An interval this much longer than its neighbours' holds a blow that did not speak [practice]."""


@dataclass(frozen=True, kw_only=True, repr=False)
class ChordFall(Showable):
    """How long a held chord takes to fall 20 and 40 dB, s; None where noise hides it."""

    fall_20_s: float | None
    fall_40_s: float | None
    over_noise_db: float

    def headline(self) -> str:
        told = [
            f"{f:.0f} dB in {t:.1f} s"
            for f, t in zip(FALLS_DB, (self.fall_20_s, self.fall_40_s), strict=True)
            if t
        ]
        return "the chord falls " + " and ".join(told) if told else "how the chord falls is hidden by noise"

    def rows(self) -> list[Row]:
        why = "noise hides it, or the recording ends before"
        return [
            ("time to fall 20 dB", self.fall_20_s, "s", "" if self.fall_20_s else why),
            ("time to fall 40 dB", self.fall_40_s, "s", "" if self.fall_40_s else why),
            ("loudest moment over the noise", self.over_noise_db, "dB", ""),
        ]


@dataclass(frozen=True, kw_only=True, repr=False)
class Repetition(Showable):
    """Blows of one key in quick turn: the fastest rate that was kept up, and how many did not speak.

    The rate is that of the player on this action: what it could do faster stays unknown.
    """

    per_s: float | None
    blows: int
    missed: int
    why: str = ""

    def headline(self) -> str:
        if self.per_s is None:
            return f"the repetition is not known: {self.why}"
        return f"{self.blows} blows, up to {self.per_s:.1f} a second, {self.missed} did not speak"

    def rows(self) -> list[Row]:
        return [
            ("fastest rate kept up", self.per_s, "1/s", self.why),
            ("blows heard", self.blows, "", ""),
            ("blows that did not speak", None if self.per_s is None else self.missed, "", self.why),
        ]


@dataclass(frozen=True, kw_only=True, repr=False)
class PedalNoise(Showable):
    """How loud the damper pedal's own noises are beside the chord before them, dB (negative is softer)."""

    noise_db: float | None
    moves: int
    why: str = ""

    def headline(self) -> str:
        if self.noise_db is None:
            return f"the pedal's noise is not known: {self.why}"
        return f"the pedal's noises reach {-self.noise_db:.0f} dB under the chord ({self.moves} heard)"

    def rows(self) -> list[Row]:
        return [
            ("loudest noise of the pedal re the chord", self.noise_db, "dB", self.why),
            ("noises heard", self.moves, "", self.why),
        ]


def _sound(samples: NDArray[np.floating], rate_hz: int) -> Samples:
    return enough_sound(
        samples, rate_hz=rate_hz, what="recording", need="some seconds", hint="Stopped at once?"
    )


def chord_fall(samples: NDArray[np.floating], *, rate_hz: int) -> ChordFall:
    """How a chord that is held fades.

    Parameters
    ----------
    samples : shape (frames,) or (frames, channels), full scale 1
    rate_hz : int, Hz

    Returns
    -------
    ChordFall

    Examples
    --------
    >>> t = np.arange(8 * 16000) / 16000
    >>> tone = np.sin(2 * np.pi * 440 * t) * 10 ** (-0.5 * t)
    >>> fall = chord_fall(np.concatenate([np.zeros(8000), tone]), rate_hz=16000)
    >>> abs(fall.fall_20_s - 2.0) < 0.1
    True
    """
    channels = _sound(samples, rate_hz)
    one = np.zeros(1)
    whole = Strikes(np.array([49]), np.array([0.0]), np.array([channels.shape[1] / rate_hz]), one, one)
    level = whole_levels(channels, whole, rate_hz=rate_hz)[0]
    top = int(np.argmax(level.power))
    db = 10.0 * np.log10(np.maximum(level.power[top:], 1e-20) / max(float(level.power[top]), 1e-20))
    over = float(10.0 * np.log10(max(float(level.power[top]), 1e-20) / max(level.noise, 1e-18)))
    falls: list[float | None] = []
    for depth in FALLS_DB:
        still = np.flatnonzero(db > -depth)
        seen = len(still) and still[-1] + 1 < len(db) and over > depth + OVER_NOISE_DB
        falls.append(float(level.time_s[top + still[-1] + 1] - level.time_s[top]) if seen else None)
    return ChordFall(fall_20_s=falls[0], fall_40_s=falls[1], over_noise_db=over)


def repetition(samples: NDArray[np.floating], *, rate_hz: int) -> Repetition:
    """How fast one key was repeated, and how often it did not speak.

    Parameters
    ----------
    samples : shape (frames,) or (frames, channels), full scale 1
    rate_hz : int, Hz

    Returns
    -------
    Repetition
    """
    found = find_onsets(_sound(samples, rate_hz), rate_hz=rate_hz)
    strength = found.strength
    at, _ = find_peaks(
        strength, height=BLOW_SHARE * float(strength.max()), distance=max(round(FAST_S / found.hop_s), 1)
    )
    if len(at) < LEAST_BLOWS:
        return Repetition(
            per_s=None, blows=len(at), missed=0, why=f"fewer than {LEAST_BLOWS} blows were heard"
        )
    steps = np.diff(at) * found.hop_s
    runs = np.lib.stride_tricks.sliding_window_view(steps, LEAST_BLOWS - 1)
    near = np.array([np.median(steps[max(0, i - 3) : i + 4]) for i in range(len(steps))])
    ratio = steps / near
    missed = int(np.sum((ratio > MISSED_FROM) & (ratio < 2.5)))
    return Repetition(per_s=float(1.0 / np.median(runs, axis=1).min()), blows=len(at), missed=missed)


def pedal_noise(samples: NDArray[np.floating], *, rate_hz: int) -> PedalNoise:
    """How loud the damper pedal is by itself, after a chord that was let fade.

    Parameters
    ----------
    samples : shape (frames,) or (frames, channels), full scale 1
    rate_hz : int, Hz

    Returns
    -------
    PedalNoise
    """
    channels = _sound(samples, rate_hz)
    power = power_in_hops(channels, round(0.01 * rate_hz))
    smooth = np.convolve(power, np.full(5, 0.2), mode="same")
    chord, noise = int(np.argmax(smooth)), quiet_power(power)
    after = smooth[chord:]
    faded = np.flatnonzero(after < 1e-4 * smooth[chord])
    if not len(faded):
        return PedalNoise(noise_db=None, moves=0, why="the chord had not faded by 40 dB")
    rest = after[int(faded[0]) :]
    peaks, _ = find_peaks(rest, height=4.0 * max(noise, 1e-18), distance=20)
    if not len(peaks):
        return PedalNoise(noise_db=None, moves=0, why="nothing stood out of the noise after the chord")
    loud = float(rest[peaks].max())
    return PedalNoise(noise_db=float(10.0 * np.log10(loud / smooth[chord])), moves=len(peaks))
