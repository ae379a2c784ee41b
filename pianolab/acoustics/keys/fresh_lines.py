"""What a blow added to the sound: the fresh lines of its spectrum, those that what rang before hides, and their power."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d

from pianolab.acoustics.limits import limits
from pianolab.acoustics.spectra import Samples, fast_size, line_spectra, standing_out_db
from pianolab.acoustics.threads import at_once, runs
from pianolab.units import CENTS_PER_NEPER, FloatArray

TOP_HZ = 9000.0
SPECTRUM_S = 1.5
SIDE_CENTS = 5.5
SHORT_ABOVE_HZ, SHORT_BELOW_DB, SHORT_BETTER_DB = 1200.0, 26.0, 3.0
SHORT_S, SHORT_BESIDE_HZ = 0.3, 200.0
"""Notes of the top are over so soon that a second of sound is noise for the most part: where nothing stands out below,
a shorter stretch is looked at, against the noise farther beside its wider lines, and taken where they stand out more."""

Floats = NDArray[np.float32]
Rows = NDArray[np.bool_] | NDArray[np.int64]


@dataclass(frozen=True)
class FreshLines:
    """What each blow added, shapes (blows, bins): dB over noise and over what rang before, whether what rang before
    hides the place, and the share of the lines' power. ``size`` is the transform's length."""

    out_db: Floats
    hidden: NDArray[np.bool_]
    power: Floats
    size: int

    def __getitem__(self, rows: Rows) -> FreshLines:
        return FreshLines(self.out_db[rows], self.hidden[rows], self.power[rows], self.size)


def fresh_lines(
    channels: Samples, begin_s: FloatArray, end_s: FloatArray, *, rate_hz: int, longest_s: float = 1.1
) -> FreshLines:
    """What each blow added to the sound.

    Parameters
    ----------
    channels : float32, shape (channels, frames)
    begin_s, end_s : shape (blows,), s; when each blow comes, and the next that ends its note
    rate_hz : Hz
    longest_s : s of a note that are looked at

    Returns
    -------
    FreshLines
    """
    frames = channels.shape[1]
    size = fast_size(round(SPECTRUM_S * rate_hz))
    bins = min(size // 2 + 1, int(1.05 * TOP_HZ * size / rate_hz))
    first = np.minimum(((begin_s + 0.03) * rate_hz).astype(np.int64), frames - 1)
    last = (np.minimum(end_s - 0.01, begin_s + 0.03 + longest_s) * rate_hz).astype(np.int64)
    lengths = np.maximum(np.minimum(last, frames) - first, 0)
    previous = np.append(0.0, begin_s[:-1] + 0.03) if len(begin_s) else begin_s
    before = (np.maximum(begin_s - 0.35, np.minimum(previous, begin_s)) * rate_hz).astype(np.int64)
    before_lengths = np.maximum((np.maximum(begin_s - 0.03, 0.0) * rate_hz).astype(np.int64) - before, 0)
    look = {"rate_hz": rate_hz, "size": size}
    blow = np.minimum((begin_s * rate_hz).astype(np.int64), frames - 1)
    short = np.minimum(np.maximum(first + lengths - blow, 0), round(SHORT_S * rate_hz))

    def of(rows: NDArray[np.int64]) -> tuple[Floats, NDArray[np.bool_], Floats]:
        now = line_spectra(channels, starts=first[rows], lengths=lengths[rows], size=size)[:, :bins]
        then = line_spectra(channels, starts=before[rows], lengths=before_lengths[rows], size=size)[:, :bins]
        out = _added(now, then, **look)
        low = int(SHORT_ABOVE_HZ * size / rate_hz)
        brief = np.flatnonzero(out[0][:, :low].max(axis=1, initial=0.0) < SHORT_BELOW_DB)
        if len(brief):
            at = rows[brief]
            now = line_spectra(channels, starts=blow[at], lengths=short[at], size=size)[:, :bins]
            soon = _added(now, then[brief], beside_hz=SHORT_BESIDE_HZ, **look)
            better = soon[0][:, low:].max(axis=1) > out[0][brief, low:].max(axis=1) + SHORT_BETTER_DB
            for whole, part in zip(out, soon, strict=True):
                whole[brief[better]] = part[better]
        return out

    parts = at_once(of, runs(len(begin_s), most=24))
    if not parts:
        empty = np.zeros((0, bins), dtype=np.float32)
        return FreshLines(empty, empty > 0, empty, size)
    out, hidden, power = (np.concatenate(p) for p in zip(*parts, strict=True))
    return FreshLines(out, hidden, power, size)


def _added(
    now: Floats, then: Floats, *, rate_hz: int, size: int, beside_hz: float = 45.0
) -> tuple[Floats, NDArray[np.bool_], Floats]:
    """What is fresh in the spectra of notes, what those of the time before hide, and the share of the power."""
    lim = limits()["path"]
    grown = 10.0 * np.log10((now + 1e-20) / (maximum_filter1d(then, size=5, axis=1) + 1e-20))
    out = standing_out_db(now, rate_hz=rate_hz, size=size, beside_hz=beside_hz)
    sway = lim["sway_db"] * np.clip((out - grown) / lim["rang_db"], 0.0, 1.0)
    fresh = np.minimum(out, np.clip(grown - sway, 0.0, 45.0)).astype(np.float32)
    hidden = (out > lim["hidden_db"]) & (grown < lim["grown_db"])
    power = np.where((fresh > lim["line_db"]) & (grown > lim["grown_db"]), now, np.float32(0.0))
    # Next to a loud string, faint lines may be anything: other strings it sets ringing, the board, the room.
    loudest = power.max(axis=1, keepdims=True)
    under_db = 10.0 * np.log10((now + 1e-20) / (loudest + 1e-20))
    told = np.clip((under_db + lim["faint_db"]) / lim["faint_range_db"], 0.0, 1.0)
    fresh = np.where(loudest > 0, fresh * told, fresh).astype(np.float32)
    return fresh, hidden, (power / (power.sum(axis=1, keepdims=True) + 1e-20)).astype(np.float32)


def widened(spectrum: Floats) -> Floats:
    """Greatest value near each bin: within two thirds to the whole of `SIDE_CENTS`, at least 2 bins."""
    out = spectrum.copy()
    count = spectrum.shape[1]
    half, begin = 2, 0
    while begin < count:
        stop = min(count, max(begin + 1, int(1.5 * half / (SIDE_CENTS / CENTS_PER_NEPER))))
        low, high = max(0, begin - half), min(count, stop + half)
        out[:, begin:stop] = maximum_filter1d(spectrum[:, low:high], size=2 * half + 1, axis=1)[
            :, begin - low : stop - low
        ]
        half, begin = max(half + 1, int(1.5 * half)), stop
    return out


def half_width(index: NDArray[np.int64], side_cents: float) -> NDArray[np.int64]:
    """Bins to each side of a bin that so many cents are, 3 at least."""
    return np.maximum(3, np.round(index * side_cents / CENTS_PER_NEPER)).astype(np.int64)


def boxed(power: Floats, *, side_cents: float) -> Floats:
    """Share of the lines' power within the window about each bin."""
    low, high = _box(power.shape[1], side_cents)
    summed = np.concatenate([np.zeros((len(power), 1)), np.cumsum(power, axis=1, dtype=np.float64)], axis=1)
    return (np.take(summed, high, axis=1) - np.take(summed, low, axis=1)).astype(np.float32)


@lru_cache(maxsize=8)
def _box(bins: int, side_cents: float) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """First bin of the window about each bin, and the one after its last."""
    at = np.arange(bins)
    half = half_width(at, side_cents)
    return np.maximum(at - half, 0), np.minimum(at + half + 1, bins)
