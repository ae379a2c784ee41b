"""Where something begins: candidate strikes from the rise of many bands at once.

A blow on a key raises the level in many frequency bands within some 20 ms. The rises of the logarithm of
band power over the band's own noise floor are summed; peaks of that sum are candidates. Being generous
here costs little: the key path (`pianolab.acoustics.keys.keypath`) throws away what is no note, such as the
knock of a key let go. A rise that is over at once, such as the tick of a clock, counts as a weak one. Noise rises all the
time: a band's floor is the mean of its noise, and what rises no more than most peaks do is left out. A short high
note raises a band or two and is lost in the sum; it comes in where one band alone rises far over all it held a moment ago.
Limits: blows closer together than 0.15 s become one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d, uniform_filter1d
from scipy.signal import find_peaks
from scipy.special import gammaincinv

from pianolab.acoustics.limits import limits
from pianolab.acoustics.spectra import Samples, fast_size, frame_blocks, power_of_frames
from pianolab.acoustics.threads import at_once
from pianolab.units import FloatArray

NEAR_FRAMES = 4
"""A band's own rise may come so many frames from that of all."""
STRONG_SHARE = 0.4
"""A candidate that rises by so much of a typical blow rises like one."""
QUIET_SHARE, FREE_BINS, LEAST_OVER_QUIET = 0.05, 0.67, 4.0
"""A band's quietest share of the time, bins of it that are free of each other, and how far its noise stands over the former
at least (`_noise_over_quiet`)."""


@dataclass(frozen=True)
class Onsets:
    """Candidate strikes: ``times_s`` of each, its ``rise`` (band sum, less where it does not last), and the whole
    ``strength`` curve."""

    times_s: FloatArray
    rise: FloatArray
    strength: FloatArray
    level_db: FloatArray
    hop_s: float


def _band_edges(size: int, rate_hz: int, *, per_octave: int = 6) -> NDArray[np.int64]:
    top_hz = min(12000.0, 0.45 * rate_hz)
    edges_hz = 50.0 * 2.0 ** (np.arange(0, per_octave * np.log2(top_hz / 50.0) + 1) / per_octave)
    bins = np.unique(np.round(edges_hz * size / rate_hz).astype(np.int64))
    return bins[(bins >= 1) & (bins <= size // 2)]


def band_power(channels: Samples, *, rate_hz: int) -> tuple[NDArray[np.float32], float]:
    """Power in sixth-octave bands over time, shape (frames, bands), and the hop in s."""
    lim = limits()["segment"]
    size, hop = fast_size(round(lim["window_s"] * rate_hz)), round(lim["hop_s"] * rate_hz)
    edges = _band_edges(size, rate_hz)

    def of_block(rows: slice) -> NDArray[np.float32]:
        power = power_of_frames(channels, size=size, hop=hop, rows=rows)
        return np.add.reduceat(power, edges, axis=1)[:, :-1]

    return np.concatenate(at_once(of_block, frame_blocks(channels, size=size, hop=hop))), hop / rate_hz


def _noise_over_quiet(count: int, *, rate_hz: int) -> FloatArray:
    """How far a band's noise stands on average over its quietest twentieth of the time, shape (bands,).

    The power of noise in n free bins is gamma distributed: of one bin the mean is 19.5 times that quantile, of many
    hardly more. Under a Hann window two bins in three are free of each other [practice].
    """
    size = fast_size(round(limits()["segment"]["window_s"] * rate_hz))
    free = np.maximum(FREE_BINS * np.diff(_band_edges(size, rate_hz))[:count], 1.0)
    return np.maximum(free / gammaincinv(free, QUIET_SHARE), LEAST_OVER_QUIET)


def _lasting(compressed: NDArray[np.float32], rise: FloatArray, *, hop_s: float) -> FloatArray:
    """Share of each frame's rise that is still there a little later, as a weight: 1 for notes, little for a tick.

    A string sounds on after its blow; the tick of a clock, a click or a tap is over within some 10 ms.
    """
    lim = limits()["segment"]
    early, late = (round(lim[name] / hop_s) for name in ("lasts_from_s", "lasts_to_s"))
    summed = np.cumsum(np.pad(compressed, ((1, 0), (0, 0))), axis=0, dtype=np.float64)
    at = np.arange(len(compressed))
    first, last = np.minimum(at + early, len(at) - 1), np.minimum(at + late, len(at))
    count = np.maximum(last - first, 1)[:, None]
    after = (summed[np.maximum(last, first + 1)] - summed[first]) / count
    kept = np.maximum(after - compressed[np.maximum(at - 3, 0)], 0.0).sum(axis=1) / np.maximum(rise, 1e-9)
    weight = (kept - lim["brief_share"]) / (lim["lasting_share"] - lim["brief_share"])
    return np.asarray(np.clip(weight, lim["brief_weight"], 1.0))


def _narrow_rise(compressed: NDArray[np.float32], *, hop_s: float) -> FloatArray:
    """Greatest lasting rise of any single band at each frame, in units of that band's own scatter.

    A short high note raises one band or two, which is lost among all that noise does in the others; in its own band it
    stands far out of what the noise does there. What a band held a moment ago already, as one that beats does, is no rise.
    """
    lim = limits()["segment"]
    gap, count, held = 2, round(lim["lasts_to_s"] / hop_s), round(lim["held_s"] / hop_s)
    level = uniform_filter1d(
        compressed, size=count - gap, axis=0, origin=-((count - gap) // 2), mode="nearest"
    )
    after = np.roll(level, -gap, axis=0)
    after[-gap:] = level[-1]
    # The greatest of the levels that end a gap before the frame and begin no earlier than `held`.
    before = maximum_filter1d(level, size=held, axis=0, origin=(held - 1) // 2, mode="nearest")
    before = np.roll(before, count, axis=0)
    before[:count] = np.minimum(level[:1], before[:count])
    rises = after - before
    scatter = 1.4826 * np.median(np.abs(rises - np.median(rises, axis=0)), axis=0)
    over = np.where(rises >= lim["narrow_rise"], rises, 0.0) / np.maximum(scatter, lim["least_scatter"])
    return np.asarray(over.max(axis=1), dtype=float)


def _least_rise(rises: FloatArray, typical: float, *, share: float) -> float:
    """Rise below which a peak is not looked at: a share of a blow's, and above what the noise does all the time.

    In a flood of noise the typical rise is the noise's; the greatest ones are blows.
    """
    least, great = share * typical, _blows_rise(rises)
    if len(rises) > 2.5 * np.sum(rises > 0.5 * great):
        middle = float(np.median(rises))
        least = max(least, min(middle + 2.5 * float(np.median(np.abs(rises - middle))), 0.5 * great))
    return least


def _with_narrow(
    peaks: NDArray[np.int64], lasting: FloatArray, narrow: FloatArray, *, distance: int
) -> tuple[NDArray[np.int64], FloatArray]:
    """Candidates and rises, with those that one band alone bears out."""
    lim = limits()["segment"]
    near = maximum_filter1d(narrow, size=2 * NEAR_FRAMES + 1)
    more, _ = find_peaks(narrow, height=lim["narrow_clear"], distance=distance)
    free = np.ones(len(narrow), dtype=bool)
    for peak in peaks:
        free[max(0, peak - distance) : peak + distance + 1] = False
    peaks = np.sort(np.concatenate([peaks, more[free[more]]]))
    least = lim["narrow_share"] * _blows_rise(lasting[peaks])
    lasting = lasting.copy()
    clear = peaks[near[peaks] >= lim["narrow_clear"]]
    lasting[clear] = np.maximum(lasting[clear], least)
    return peaks, lasting


def find_onsets(channels: Samples, *, rate_hz: int) -> Onsets:
    """Candidate strikes of a recording.

    Parameters
    ----------
    channels : float32 array, shape (channels, frames)
    rate_hz : int, Hz

    Returns
    -------
    Onsets
    """
    bands, hop_s = band_power(channels, rate_hz=rate_hz)
    return onsets_in(bands, hop_s=hop_s, rate_hz=rate_hz)


def onsets_in(bands: NDArray[np.float32], *, hop_s: float, rate_hz: int) -> Onsets:
    """Candidate strikes from the power in bands over time, as `band_power` gives it.

    Parameters
    ----------
    bands : shape (frames, bands)
    rate_hz : int, Hz; of the sound behind them
    hop_s : float, s; from one frame to the next

    Returns
    -------
    Onsets; times count from the first frame's beginning
    """
    lim = limits()["segment"]
    quiet = np.percentile(bands, 100.0 * QUIET_SHARE, axis=0)
    floor = quiet * _noise_over_quiet(bands.shape[1], rate_hz=rate_hz) + 1e-12
    compressed = np.log10(1.0 + bands / floor)
    rise = np.zeros(len(bands))
    rise[2:] = np.maximum(compressed[2:] - compressed[:-2], 0.0).sum(axis=1)
    lasting = rise * _lasting(compressed, rise, hop_s=hop_s)
    distance = max(1, round(lim["least_distance_s"] / hop_s))
    padded = np.concatenate([np.zeros(1), lasting, np.zeros(1)])
    peaks, _ = find_peaks(padded, distance=distance)
    peaks = peaks - 1
    level_db = 10.0 * np.log10(bands.sum(axis=1) + 1e-15)
    if len(peaks) == 0:
        return Onsets(np.zeros(0), np.zeros(0), rise, level_db, hop_s)
    typical = float(np.sum(rise[peaks] ** 2) / (np.sum(rise[peaks]) + 1e-12))
    peaks = peaks[rise[peaks] >= _least_rise(rise[peaks], typical, share=lim["candidate_share"])]
    peaks, lasting = _with_narrow(peaks, lasting, _narrow_rise(compressed, hop_s=hop_s), distance=distance)
    # A frame's rise peaks when its middle crosses the blow; its time is that of the middle, less one hop.
    times_s = peaks * hop_s + 0.5 * lim["window_s"] - hop_s
    return Onsets(times_s, lasting[peaks], rise, level_db, hop_s)


def rise_share(rise: FloatArray) -> FloatArray:
    """Rise of each candidate over that of a typical blow."""
    return np.asarray(rise / max(_blows_rise(rise), 1e-12))


def _blows_rise(rises: FloatArray) -> float:
    """Rise of a typical blow among all candidates: a mean in which weak rises hardly count."""
    return float(np.sum(rises**3)) / max(float(np.sum(rises**2)), 1e-12)


def next_strong_s(onsets_s: FloatArray, rise: FloatArray, *, end_s: float) -> FloatArray:
    """When the next candidate comes that rises like a blow, or well over this one; weaker ones don't end a note."""
    strong = rise_share(rise) >= STRONG_SHARE
    out = np.full(len(onsets_s), end_s)
    for i in range(len(onsets_s)):
        after = np.flatnonzero(strong[i + 1 :] | (rise[i + 1 :] > 1.4 * rise[i]))
        if len(after):
            out[i] = onsets_s[i + 1 + int(after[0])]
    return out
