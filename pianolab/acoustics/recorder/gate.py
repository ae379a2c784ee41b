"""Did the recorder shut between the notes? A noise gate falls to its floor at one level, whatever the note.

Notes end where they were let go, at levels of their own: a treble note that has nearly faded, a bass note that is still
loud. A gate shuts at the same level every time. So the moments are found at which the sound falls steeply to the
recording's floor, and the level that it had shortly before is compared between them.

Limits: a gate that shuts slower than 300 dB a second is not told, nor one that never shuts between notes.
Source: practice.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pianolab.acoustics.judging.tuning import robust_spread
from pianolab.acoustics.limits import limits
from pianolab.acoustics.spectra import Samples
from pianolab.units import FloatArray

STEP_S = 0.005
LAGS = (3, 5, 7, 9, 12, 20, 32)
"""Steps before the floor at which the level is compared: a gate takes about so long to shut."""
NOTHING_DB, FAINTEST_DB = -110.0, -75.0
"""Levels (re 1) that stand for digital silence, and under which an end is one of the fade into rounding."""


@dataclass(frozen=True, kw_only=True)
class Gate:
    """A gate's level (dB re 1, power of all channels), how often it was seen to shut and how much its level varies."""

    level_db: float
    shut: int
    spread_db: float


def find_gate(channels: Samples, *, rate_hz: int, notes: int) -> Gate | None:
    """The noise gate of a recording of so many notes; None where none is heard.

    Examples
    --------
    >>> t = np.arange(8000) / 8000
    >>> loud = np.random.default_rng(1).uniform(0.3, 0.9, 12)
    >>> notes = [a * np.exp(-5 * t) * np.sin(2500 * t) for a in loud]
    >>> open_till = [int(8000 * np.log(a / 0.02) / 5) for a in loud]
    >>> for note, i in zip(notes, open_till): note[i:] = 0.0
    >>> gate = find_gate(np.concatenate(notes)[None], rate_hz=8000, notes=12)
    >>> bool(abs(gate.level_db - 10 * np.log10(0.02**2 / 2)) < 6.0)
    True
    >>> for note, a in zip(notes, loud): note[4000:] = 0.0
    >>> find_gate(np.concatenate(notes)[None], rate_hz=8000, notes=12) is None
    True
    """
    lim = limits()["gate"]
    level = step_levels_db(channels, rate_hz=rate_hz)
    floor = max(float(np.percentile(level, 3)), NOTHING_DB)
    at = _falls_to(level, floor + 3.0)
    least = max(6.0, lim["least_share"] * notes)
    best: Gate | None = None
    for lag in LAGS:
        # A power over the whole 10 ms before: what a fall or a rise is like within them counts little.
        before = np.array([level[max(0, i - lag - 2) : i - lag].max() for i in at if i > lag + 2])
        drop_db = max(lim["drop_db"], lim["drop_db_per_s"] * lag * STEP_S)
        steep = before[(before > floor + drop_db) & (before > FAINTEST_DB)]
        if len(steep) < least:
            continue
        spread = robust_spread(steep)
        if spread < lim["spread_db"] and (best is None or spread < best.spread_db):
            best = Gate(level_db=float(np.median(steep)), shut=len(steep), spread_db=spread)
    return best


def step_levels_db(channels: Samples, *, rate_hz: int) -> FloatArray:
    """Power of all channels together in steps of 5 ms, dB re 1."""
    step = max(1, round(STEP_S * rate_hz))
    count = channels.shape[1] // step
    power = np.zeros(count)
    for channel in channels:
        blocks = channel[: count * step].reshape(count, step)
        power += np.einsum("ij,ij->i", blocks, blocks, dtype=np.float64) / step
    return np.asarray(10.0 * np.log10(power + 1e-14))


def _falls_to(level: FloatArray, floor_db: float) -> NDArray[np.int64]:
    """Steps at which the level reaches the floor and stays there for 50 ms."""
    low = level <= floor_db
    stays = 10
    padded = np.concatenate([low, np.zeros(stays, dtype=bool)])
    runs = np.lib.stride_tricks.sliding_window_view(padded, stays)[: len(low)].mean(axis=1) >= 0.8
    begins = np.flatnonzero(low & runs & ~np.concatenate([[True], low[:-1]]))
    return begins[np.concatenate([[True], np.diff(begins) > stays])] if len(begins) else begins
