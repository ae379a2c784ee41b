"""What the bench listens to: takes, each a recording with what is known to be true about it.

A `NoteSource` is one instrument that can sound any of its keys by itself: a modelled piano, real notes, a
soundfont. `benchmarks.playing` strings its notes together as somebody plays them, in a room and with noise;
`benchmarks.telephones` does to the result what recorders do. The outcome is a `Take`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np
import pandas as pd
from numpy.typing import NDArray

Sound = NDArray[np.float32]

TRUTH_COLUMNS = (
    "key",
    "f1_hz",
    "cents",
    "inharmonicity",
    "unison_cents",
    "strings",
    "decay_20_s",
    "damped",
    "faults",
)
"""What a source says of a key, NaN where nobody knows: partial 1 of the mean of the strings by themselves (Hz, and
cents from equal temperament at A4 = 440 Hz), B, widest distance of its strings in cents, their number, time in s for
the dry note's level (30 ms window) to fall 20 dB for good while the key stays down, whether it has a damper, and
its seeded faults (``;``-separated, the survey's names)."""


class NoteSource(Protocol):
    """One instrument, a key at a time."""

    name: str
    rate_hz: int
    channels: int
    keys: tuple[int, ...]
    """Keys that can be played, rising; A0 is 1."""

    def note(
        self, key: int, *, hold_s: float, blow_db: float = 0.0, seed: int = 0, pedal: bool = False
    ) -> Sound:
        """The dry sound of one press from its attack on, shape (frames, channels), without noise.

        The key is let go after ``hold_s``; what follows is the release, or the note ringing on where there is no
        damper or the ``pedal`` lifts them all. The same arguments give the same sound; another ``seed`` is another
        blow of the same hammer.
        """
        ...

    def truth(self, key: int) -> Mapping[str, object]:
        """`TRUTH_COLUMNS` of one key.

        A source whose blows differ takes ``blow_db`` and ``seed`` as `note` does; its time to fall is that of this blow.
        """
        ...


@dataclass(frozen=True, kw_only=True)
class Press:
    """One press of a key: when it was struck and let go, s from the beginning; whether anything sounded."""

    key: int
    onset_s: float
    release_s: float
    sounds: bool = True


@dataclass(frozen=True, kw_only=True, eq=False)
class Take:
    """One recording and what is true of it.

    ``family`` is where the sound comes from, ``case`` what was done to it, ``name`` which of them; ``samples`` has
    shape (frames,) or (frames, channels); ``truth`` has a row per key from ``first_key`` to ``last_key`` with
    `TRUTH_COLUMNS`; ``t60_s`` is the room that was added, None for none or not known; ``asked`` are keywords for
    `pianolab.acoustics.listen`; ``healthy`` says that every fault found is false; ``knows`` names what truth the
    source carries: any of pitch, inharmonicity, unison, decay, faults.
    """

    family: str
    case: str
    name: str
    samples: Sound
    rate_hz: int
    presses: tuple[Press, ...]
    truth: pd.DataFrame
    first_key: int = 1
    last_key: int = 88
    t60_s: float | None = None
    healthy: bool = True
    knows: frozenset[str] = frozenset()
    asked: Mapping[str, object] = field(default_factory=dict)

    @property
    def seconds(self) -> float:
        """Length."""
        return len(self.samples) / self.rate_hz
