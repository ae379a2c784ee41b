"""Where the blows of a drill come from: recorded keys, or those of the modelled piano.

Two blows of one key are never copies: the recorded ones were struck twice, at two levels, and differ a little more by
what no two blows have alike; the modelled piano is struck anew. Which blow a clip gets is drawn, whatever is true.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import gcd
from typing import Literal, Protocol, get_args

import numpy as np
from numpy.typing import NDArray
from scipy.signal import resample_poly

from pianolab.classroom.altering import RATE_HZ, brighter
from pianolab.errors import BadInput
from pianolab.io import read_real_note, second_blows
from pianolab.io.real_notes import ATTRIBUTION
from pianolab.sound_model import PianoModel, render_note
from pianolab.units import key_to_hz

FloatArray = NDArray[np.float64]
HOLD_S, AFTER_S = 2.0, 0.7
"""Held, and still heard after the key is let go. The same in every drill: the length of a sound tells nothing."""

NOTE_S = HOLD_S + AFTER_S
COLOUR_DB = 1.0
"""How much brighter or duller two blows of one key are beside each other, standard deviation [practice]."""

SourceName = Literal["recorded", "modelled"]
SOURCES: tuple[SourceName, ...] = get_args(SourceName)


class Blows(Protocol):
    """Keys that can be struck; ``words`` say what the sound is made from, ``credit`` whom to name with it."""

    @property
    def words(self) -> str: ...
    @property
    def credit(self) -> str: ...
    @property
    def keys(self) -> tuple[int, ...]: ...
    def blow(self, key: int, which: int, *, rng: np.random.Generator) -> FloatArray:
        """A blow of a key, shape (`NOTE_S` · `RATE_HZ`,), ringing on; ``which`` is 0 or 1."""


@dataclass(frozen=True)
class RepeatedKeys:
    """The keys of the shipped real piano that were struck twice."""

    words: str = "a recorded note"
    credit: str = ATTRIBUTION

    @property
    def keys(self) -> tuple[int, ...]:
        return tuple(second_blows())

    def blow(self, key: int, which: int, *, rng: np.random.Generator) -> FloatArray:
        return brighter(recorded_note(key, which), COLOUR_DB * float(rng.normal()), float(key_to_hz(key)))


@dataclass(frozen=True)
class Modelled:
    """A well kept grand of the modelled piano, one for each seed."""

    seed: int
    words: str = "a modelled piano"
    credit: str = ""

    @property
    def keys(self) -> tuple[int, ...]:
        return tuple(range(31, 65))

    @property
    def model(self) -> PianoModel:
        return PianoModel(
            seed=self.seed,
            kind="grand",
            unison_spread_cents=0.3,
            tuning_spread_cents=0.2,
            voicing_spread_db=0.4,
            false_beat_cents=0.05,
        )

    def blow(self, key: int, which: int, *, rng: np.random.Generator) -> FloatArray:
        seed, level = int(rng.integers(1, 2**31)), -4.0 * which + float(rng.normal())
        note = render_note(self.model, key, seconds=NOTE_S, rate_hz=RATE_HZ, blow_db=level, seed=seed)
        return np.asarray(note, np.float64)


def blows_of(source: SourceName, *, seed: int) -> Blows:
    """The blows of that name; a modelled piano is another one for every seed.

    Examples
    --------
    >>> blows_of("recorded", seed=1).keys[:3]
    (31, 34, 37)
    """
    if source not in SOURCES:
        raise BadInput("source", repr(source), "one of " + ", ".join(SOURCES))
    return RepeatedKeys() if source == "recorded" else Modelled(seed % 2**31 or 1)


@lru_cache(maxsize=48)
def recorded_note(key: int, which: int) -> FloatArray:
    """One of the real notes from its first moment on: one channel, at the drills' rate; faded where its file ends."""
    sound = read_real_note(key, blow=which, longest_s=NOTE_S + 1.0)
    one = sound.samples[:, 0].astype(np.float64)
    common = gcd(RATE_HZ, sound.rate_hz)
    return from_first_moment(resample_poly(one, RATE_HZ // common, sound.rate_hz // common))


def from_first_moment(sound: FloatArray) -> FloatArray:
    """A blow from 4 ms before its level first comes within 26 dB of its highest, exactly `NOTE_S` long."""
    begin = max(0, int(np.argmax(np.abs(sound) > 0.05 * np.abs(sound).max())) - round(0.004 * RATE_HZ))
    count = round(NOTE_S * RATE_HZ)
    note = sound[begin : begin + count]
    return np.concatenate([note, np.zeros(count - len(note))])
