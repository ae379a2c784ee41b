"""Independent analysis, how far strings can be apart: beats of each partial's envelope, and how wide its cluster is.

Two strings d cents apart beat in partial n at n f0 (2^(d/1200) - 1): a beat at one distance in cents in several
partials belongs to strings, any other is a false beat of one string and bounds nothing. A string that sounds must
stand in the cluster of most partials: what is wider than the cluster isn't there.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from benchmarks.independent_levels import Noise, Strike
from benchmarks.independent_lines import Line

Floats = NDArray[np.float64]

CENTS = 1200 / np.log(2)
LEAST_DEPTH = 0.12
"""A beat counts from this share of the power, about 1 dB up and down: shallower ones are polarisation and noise."""
STANDS_OUT = 5.0
"""A beat stands so many times above the median of the modulation spectrum."""
FIRST_CYCLES = 2.5
"""Slower beats can't be told from a two-stage fall that a cubic doesn't quite follow."""
SURE_DEPTH = 0.4
"""A beat of one partial alone is called clear from this share of the power (3.7 dB from loud to soft)."""
SKIRT_DB = 26.0
"""A cluster ends where it is so far below its peak: a string 26 dB down makes beats of 0.9 dB, nobody's unison."""


@dataclass(frozen=True)
class Unison:
    """Slowest clear beat (Hz, depth in dB from loud to soft, its partial), and cents between which strings can lie."""

    beat_hz: float
    beat_db: float
    beat_partial: float
    low_cents: float
    high_cents: float
    why: str = ""


@dataclass(frozen=True)
class Beat:
    """One beat of one partial: per second, as cents of that partial, share of the power."""

    n: int
    hz: float
    cents: float
    share: float


def band_of(
    lines: NDArray[np.complex128], step_hz: float, middle_hz: float, half_hz: float
) -> tuple[NDArray[np.complex128], float]:
    """A band (cosine edges) shifted to about 0 Hz, and its sampling rate; ``lines`` is the note's spectrum."""
    half = max(int(half_hz / step_hz), 4)
    middle = round(middle_hz / step_hz)
    a, b = max(middle - half, 1), min(middle + half, len(lines))
    shape = np.cos(np.pi / 2 * (np.arange(a, b) - middle) / half)
    size = fft.next_fast_len(2 * (b - a))
    room = np.zeros(size, complex)
    room[: b - a] = lines[a:b] * shape
    return fft.ifft(room) * size, size * step_hz


def modulation(power: Floats, rate_hz: float) -> tuple[Floats, Floats]:
    """Spectrum of an envelope about its smooth fall: Hz and share of the power.

    The fall is a cubic in the logarithm, fitted so that minima of beats weigh no more than maxima.
    """
    t = np.linspace(-1, 1, len(power))
    log = np.log(power + 1e-30 * power.max())
    weight = np.ones(len(t))
    for _ in range(4):
        trend = np.polynomial.Polynomial.fit(t, log, 3, w=weight)(t)
        weight = np.clip(np.exp((log - trend) / 2), 0.05, 1.5)
    rest = np.clip(power / np.exp(trend), 0, 6)
    rest = rest / rest.mean() - 1
    window = np.hanning(len(rest))
    size = fft.next_fast_len(4 * len(rest), real=True)
    share = 2 * np.abs(fft.rfft(rest * window, size)) / window.sum()
    return np.arange(len(share)) * rate_hz / size, share


def beats_of(power: Floats, rate_hz: float, line: Line, most_hz: float) -> list[Beat]:
    """Clear beats of one partial, slowest first."""
    seconds = len(power) / rate_hz
    hz, share = modulation(power, rate_hz)
    inside = (hz >= FIRST_CYCLES / seconds) & (hz <= most_hz)
    if inside.sum() < 5:
        return []
    limit = max(LEAST_DEPTH, STANDS_OUT * float(np.median(share[inside])))
    top = np.flatnonzero((share[1:-1] > share[:-2]) & (share[1:-1] >= share[2:]) & (share[1:-1] > limit)) + 1
    # side lobes of the window (31 dB) and what two beats make together are no beats
    tall = share[top].max() if len(top) else 0.0
    top = top[inside[top] & (share[top] > 0.2 * tall)]
    return [Beat(line.n, hz[i], CENTS * hz[i] / line.centroid_hz, min(share[i], 0.99)) for i in top]


def width_hz(band: NDArray[np.complex128], rate_hz: float, fallen: int) -> float:
    """Widest distance of two strings in a partial that its spectrum allows, Hz.

    The window (Hann) is as long as the partial takes to fall 20 dB (``fallen`` frames) and half that, so that
    strings that fall faster are still seen; the narrower cluster counts. What the window alone makes of one line
    (2 / length of its 3.3 / length at -26 dB) is taken off.
    """
    widths = []
    for frames in (fallen, fallen // 2):
        frames = min(frames, len(band))
        if frames < 8:
            continue
        size = fft.next_fast_len(8 * frames)
        power = np.abs(fft.fftshift(fft.fft(band[:frames] * np.hanning(frames), size))) ** 2
        wide = np.flatnonzero(power >= power.max() * 10 ** (-SKIRT_DB / 10))
        widths.append((wide[-1] - wide[0]) * rate_hz / size - 2 * rate_hz / frames)
    return min(widths) if widths else np.nan


def _agreeing(beats: list[Beat], partials: int, key: int) -> float:
    """Greatest distance in cents at which enough partials beat, NaN if there is none."""
    need = max(3, partials // 2) if key <= 64 else max(2, partials // 2)
    best = np.nan
    for beat in beats:
        near = {b.n for b in beats if abs(np.log(b.cents / beat.cents)) < 0.15}
        if len(near) >= need and not best > beat.cents:
            best = beat.cents
    return best


def _slowest_clear(beats: list[Beat]) -> Beat | None:
    """The slowest beat that stands in three partials at one distance in cents, or is deep."""
    clear = [
        beat
        for beat in beats
        if beat.share >= SURE_DEPTH
        or len({b.n for b in beats if abs(np.log(b.cents / beat.cents)) < 0.1}) >= 3
    ]
    return min(clear, key=lambda beat: beat.hz) if clear else None


def unison_of(
    samples: Floats, rate_hz: int, strike: Strike, noise: Noise, lines: list[Line], apart_hz: float
) -> Unison:
    """Beats and bounds of one note from its lines."""
    if not lines:
        return Unison(np.nan, np.nan, np.nan, np.nan, np.nan, "no clear line")
    start = int((strike.onset_s + 0.02) * rate_hz)
    piece = samples[start : start + int((strike.hold_s - 0.02) * rate_hz)]
    spectrum = fft.rfft(piece, axis=0)
    step_hz = rate_hz / len(piece)
    beats: list[Beat] = []
    widths: list[float] = []
    for line in lines:
        half = min(max(line.centroid_hz * 0.03, 8 * step_hz), 0.42 * apart_hz)
        bands = [band_of(spectrum[:, c], step_hz, line.centroid_hz, half) for c in range(piece.shape[1])]
        band, fine_hz = max(bands, key=lambda pair: float(np.sum(np.abs(pair[0]) ** 2)))
        power = np.abs(band) ** 2
        level = np.interp(line.centroid_hz, noise.hz, noise.psd) * half * len(piece) ** 2 / 4
        edge = int(0.6 * fine_hz / half) + 1
        smooth = np.convolve(power, np.ones(2 * edge + 1) / (2 * edge + 1), "same")
        heard = np.flatnonzero(smooth > np.maximum(8 * level, 1e-5 * smooth.max()))
        stop = min(int(heard[-1]) if len(heard) else 0, len(power) - edge)
        if stop - edge > 12:
            beats += beats_of(power[edge:stop], fine_hz, line, 0.7 * half)
        if 10 ** (SKIRT_DB / 10 + 0.5) * level < smooth.max():
            fallen = int(np.flatnonzero(smooth > 0.01 * smooth.max())[-1]) + edge
            widths.append(CENTS * width_hz(band, fine_hz, fallen) / line.centroid_hz)
    return _bounds(beats, np.array(widths), len(lines), strike.key)


def _bounds(beats: list[Beat], widths: Floats, partials: int, key: int) -> Unison:
    distance = _agreeing(beats, partials, key)
    # modes of coupled strings may lie 1.4 times as far apart as the strings (equal coupling and distance)
    low = 0.7 * distance if distance > 0 else 0.0
    seen = np.sort(widths[np.isfinite(widths)])
    high = float(seen[min(len(seen) // 4 + 1, len(seen) - 1)]) + 0.3 if len(seen) else np.inf
    if distance > 0:
        high = max(high, 1.3 * distance)
    why = "" if len(seen) else "noise hides how wide the partials are"
    first = _slowest_clear(beats)
    if first is None:
        return Unison(np.nan, np.nan, np.nan, low, high, why or "no clear beat")
    depth = 10 * np.log10((1 + first.share) / (1 - first.share))
    return Unison(first.hz, float(depth), float(first.n), low, high, why)
