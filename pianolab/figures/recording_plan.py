"""A recording over time and pitch, with the keys that were played: planned as plain data."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pianolab.acoustics.spectra import as_channels, fast_size, power_of_frames
from pianolab.errors import BadInput
from pianolab.keyboard import note_name
from pianolab.units import key_to_hz
from pianolab.words import keys_in_words

WINDOW_S, MOST_COLUMNS, PER_KEY = 0.19, 1200, 2
LOW_KEY, HIGH_KEY = 1, 112
"""A0 to four octaves above A6: the strings' first partials and those above them, to about 16 kHz."""

RANGE_DB = 75.0


@dataclass(frozen=True)
class Struck:
    """One blow that was read: when, which key, and the pitch of its first partial in Hz where that is known."""

    time_s: float
    key: int
    note: str
    f1_hz: float | None


@dataclass(frozen=True)
class RecordingPlan:
    """``level_db`` has shape (times, pitches), 0 for the loudest and not below -`RANGE_DB`; NaN above what was recorded.

    ``hz`` are the middles of the pitches, two to a semitone; ``alt`` says in words what is to be seen.
    """

    seconds: float
    time_s: NDArray[np.float64]
    hz: NDArray[np.float64]
    level_db: NDArray[np.float32]
    struck: tuple[Struck, ...]
    gaps_s: tuple[tuple[float, float], ...]
    alt: str


def plan_recording(
    samples: NDArray[np.floating],
    *,
    rate_hz: int,
    table: pd.DataFrame | None = None,
    gaps_s: tuple[tuple[float, float], ...] = (),
) -> RecordingPlan:
    """What a picture of a recording shows.

    Parameters
    ----------
    samples : shape (frames,) or (frames, channels), full scale 1
    rate_hz : int, Hz
    table : survey table of the recording; None where none was made: then no key is marked
    gaps_s : stretches that are not what the microphone heard

    Returns
    -------
    RecordingPlan

    Raises
    ------
    BadInput
        less than a window of sound

    Examples
    --------
    >>> tone = np.sin(2 * np.pi * 440.0 * np.arange(32000) / 16000)
    >>> plan = plan_recording(tone, rate_hz=16000)
    >>> loudest = plan.hz[int(np.nanargmax(plan.level_db[10]))]
    >>> bool(abs(loudest / 440.0 - 1.0) < 0.03), len(plan.struck)
    (True, 0)
    """
    channels = as_channels(samples)
    size = fast_size(round(WINDOW_S * rate_hz))
    if channels.shape[1] < size:
        raise BadInput("recording", f"{channels.shape[1] / rate_hz:.2f} s of sound", f"{WINDOW_S} s or more")
    hop = max(round(0.02 * rate_hz), -(-(channels.shape[1] - size) // MOST_COLUMNS), 1)
    hz = key_to_hz(np.arange(LOW_KEY, HIGH_KEY + 1, 1.0 / PER_KEY))
    power = _by_pitch(channels, hz, size=size, hop=hop, rate_hz=rate_hz)
    level = 10.0 * np.log10(
        np.maximum(power / max(float(np.nanmax(power)), 1e-20), 10.0 ** (-0.1 * RANGE_DB))
    )
    time_s = (np.arange(len(level)) * hop + 0.5 * size) / rate_hz
    struck, seconds = _struck(table), channels.shape[1] / rate_hz
    return RecordingPlan(
        seconds, time_s, hz, level.astype(np.float32), struck, gaps_s, _alt(seconds, struck, gaps_s)
    )


def _by_pitch(
    channels: NDArray[np.float32], hz: NDArray[np.float64], *, size: int, hop: int, rate_hz: int
) -> NDArray[np.float64]:
    """The strongest line within each pitch's band, shape (times, pitches)."""
    half = 2.0 ** (0.5 / (12.0 * PER_KEY))
    nearest = np.round(hz * size / rate_hz).astype(int)
    low = np.minimum(np.ceil(hz / half * size / rate_hz).astype(int), nearest)
    high = np.maximum(np.floor(hz * half * size / rate_hz).astype(int), nearest)
    heard = high <= size // 2
    count = 1 + (channels.shape[1] - size) // hop
    out = np.full((count, len(hz)), np.nan)
    for first in range(0, count, 256):
        rows = slice(first, min(first + 256, count))
        power = power_of_frames(channels, size=size, hop=hop, rows=rows)
        for pitch in np.flatnonzero(heard):
            out[rows, pitch] = power[:, low[pitch] : high[pitch] + 1].max(axis=1)
    return out


def _struck(table: pd.DataFrame | None) -> tuple[Struck, ...]:
    if table is None:
        return ()
    rows = table[(table["status"] == "measured") & table["onset_s"].notna()].sort_values("onset_s")
    return tuple(
        Struck(float(t), int(k), note_name(int(k)), None if pd.isna(f) else float(f))
        for t, k, f in zip(rows["onset_s"], rows["key"], rows["f1_hz"], strict=True)
    )


def _alt(seconds: float, struck: tuple[Struck, ...], gaps_s: tuple[tuple[float, float], ...]) -> str:
    keys = keys_in_words([s.key for s in struck], most=None) if struck else "none"
    holes = f" Stretches missing or silent: {len(gaps_s)}." if gaps_s else ""
    return f"Recording of {seconds:.0f} s, level over time and pitch. Keys read: {keys}.{holes}"
