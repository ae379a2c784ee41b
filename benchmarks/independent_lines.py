"""Independent analysis, lines: long-window spectra of a note, peaks and energy centroids in them.

Powers are of amplitude: a steady line has the same height in a short and in a long spectrum, so what rang before
the blow is compared at sight.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from benchmarks.independent_levels import Noise, Strike

Floats = NDArray[np.float64]

CLEAR_DB = 12.0
"""A line counts this far above what lies beside it and what rang there before: by chance fewer than 1 in 10^6 noise bins."""
LEAST_SE_CENTS = 0.05
"""What no spectrum tells: recorder clocks, bridge and false beats (common practice: 20-50 ppm is 0.03-0.09 cents)."""


def equal_hz(key: int) -> float:
    """Equal temperament, A4 (key 49) = 440 Hz."""
    return float(440 * 2 ** ((key - 49) / 12))


def cents_of(hz: float | Floats, base_hz: float | Floats) -> Floats:
    """Interval in cents."""
    return np.asarray(1200 * np.log2(np.asarray(hz) / base_hz))


@dataclass(frozen=True)
class Spectrum:
    """Power of amplitude on ``step_hz`` from 0, channels added; its lines are ``width_hz`` wide (1 / length)."""

    power: Floats
    step_hz: float
    width_hz: float

    def cut(self, low_hz: float, high_hz: float) -> tuple[Floats, Floats]:
        """Frequencies and powers between two frequencies."""
        a, b = max(int(np.ceil(low_hz / self.step_hz)), 0), int(high_hz / self.step_hz) + 1
        power = self.power[a : max(b, a)]
        return (a + np.arange(len(power))) * self.step_hz, power

    def at(self, hz: Floats) -> Floats:
        """Power at any frequencies."""
        return np.interp(hz / self.step_hz, np.arange(len(self.power)), self.power)

    def floor(self, hz: float, reach_hz: float) -> float:
        """What lies about a frequency without its lines: the median of exponentially spread power, as a mean."""
        _, power = self.cut(hz - reach_hz, hz + reach_hz)
        return float(np.median(power) / np.log(2)) if len(power) else 0.0


def spectrum_of(piece: Floats, rate_hz: int, window: Floats, pad: int = 4) -> Spectrum:
    """Spectrum of (frames, channels) under a window, zero padded."""
    size = fft.next_fast_len(pad * len(piece), real=True)
    lines = fft.rfft(piece * window[:, None], size, axis=0) / max(window.sum(), 1e-12)
    return Spectrum(np.sum(np.abs(lines) ** 2, axis=1), rate_hz / size, rate_hz / len(piece))


def blow_window(frames: int, rise: int) -> Floats:
    """Full from the blow on, so that energy is weighted as it was heard; falls over the last half."""
    window = np.ones(frames)
    rise = max(min(rise, frames // 4), 1)
    window[:rise] = np.sin(np.pi / 2 * (np.arange(rise) + 0.5) / rise) ** 2
    half = frames // 2
    window[-half:] *= np.cos(np.pi / 2 * (np.arange(half) + 0.5) / half) ** 2
    return window


@dataclass(frozen=True)
class Views:
    """One note seen three ways: whole hold (Hann), weighted from the blow on, and the stretch before the blow."""

    hann: Spectrum
    blow: Spectrum
    before: Spectrum | None
    noise: Noise
    top_hz: float

    def beside(self, hz: Floats, reach_hz: float) -> Floats:
        """Power that a line must stand out of: what lies beside it, what rang there before, and rounding."""
        local = np.array([self.hann.floor(f, reach_hz) for f in hz])
        rang = self.before.at(hz) if self.before is not None else np.zeros(len(hz))
        noise = np.interp(hz, self.noise.hz, self.noise.psd) * 0.75 * self.hann.width_hz
        return np.maximum.reduce(
            [local, rang, noise, np.full(len(hz), self.hann.power.max() * 1e-12 + 1e-30)]
        )


def views_of(samples: Floats, rate_hz: int, strike: Strike, noise: Noise, useful_s: float) -> Views:
    """Spectra of a note of which ``useful_s`` can be heard."""
    start = int(strike.onset_s * rate_hz)
    frames = int(min(useful_s, strike.hold_s) * rate_hz)
    piece = samples[start : start + frames]
    frames = len(piece)
    before = samples[max(0, int(max(strike.before_s, strike.onset_s - 0.5) * rate_hz)) : start][
        : -rate_hz // 100
    ]
    top_hz = min(0.45 * rate_hz, 12_000.0)
    return Views(
        spectrum_of(piece, rate_hz, np.hanning(frames)),
        spectrum_of(piece, rate_hz, blow_window(frames, rate_hz // 100)),
        spectrum_of(before, rate_hz, np.hanning(len(before))) if len(before) > 0.08 * rate_hz else None,
        noise,
        top_hz,
    )


@dataclass(frozen=True)
class Line:
    """One partial: number, loudest peak and energy centroid (Hz), standard error of the latter in cents, dB clear."""

    n: int
    peak_hz: float
    centroid_hz: float
    se_cents: float
    clear_db: float
    late_cents: float
    """Centroid of the Hann window (the middle of the hold) from that of the blow."""


def _peak(views: Views, hz: float, reach_hz: float) -> tuple[float, float]:
    """Highest local peak near a frequency (parabola through its logarithm): Hz and power; NaN if at the edge."""
    f, power = views.hann.cut(hz - reach_hz, hz + reach_hz)
    if len(power) < 3:
        return np.nan, 0.0
    top = int(np.argmax(power))
    if top in (0, len(power) - 1):
        return np.nan, 0.0
    a, b, c = np.log(power[top - 1 : top + 2] + 1e-300)
    return float(f[top] + 0.5 * (a - c) / min(a - 2 * b + c, -1e-12) * views.hann.step_hz), float(power[top])


def centroid(spectrum: Spectrum, hz: float, reach_hz: float, beside_hz: float) -> tuple[float, float]:
    """Energy centroid of a cluster and its standard error from noise, Hz; the window is set about the centroid."""
    floor = spectrum.floor(hz, beside_hz)
    middle = hz
    for _ in range(4):
        f, power = spectrum.cut(middle - reach_hz, middle + reach_hz)
        net = power - floor
        total = net.sum()
        if total <= 0:
            return np.nan, np.nan
        moved = float(np.sum(f * net) / total)
        middle = float(np.clip(moved, hz - reach_hz, hz + reach_hz))
    f, power = spectrum.cut(middle - reach_hz, middle + reach_hz)
    # zero padding makes about width/step neighbours one: noise of their sum grows by that factor
    many = 1.5 * spectrum.width_hz / spectrum.step_hz
    spread = np.sqrt(many * np.sum((f - middle) ** 2 * (2 * floor * power)))
    return middle, float(spread / max(total, 1e-30))


def _spread_cents(spectrum: Spectrum, hz: float, reach_hz: float) -> float:
    """Rms spread of a cluster's energy beyond that of one line under a Hann window (0.58 / length), in cents."""
    f, power = spectrum.cut(hz - reach_hz, hz + reach_hz)
    net = np.where(power > 0.003 * power.max(), power, 0.0)
    middle = np.sum(f * net) / net.sum()
    square = np.sum((f - middle) ** 2 * net) / net.sum() - spectrum.width_hz**2 / 3
    return float(1731 * np.sqrt(max(square, 0.0)) / hz)


def measure_line(views: Views, n: int, near_hz: float, reach_hz: float, apart_hz: float) -> Line | None:
    """The partial near a frequency, or None where nothing clear stands there."""
    peak_hz, power = _peak(views, near_hz, reach_hz)
    if not np.isfinite(peak_hz):
        return None
    beside = views.beside(np.array([peak_hz]), max(0.45 * apart_hz, 8 * views.hann.width_hz))[0]
    clear_db = 10 * np.log10(power / beside)
    if clear_db < CLEAR_DB:
        return None
    around = min(max(peak_hz * (2 ** (25 / 1200) - 1), 3 * views.hann.width_hz), 0.4 * apart_hz)
    early, early_se = centroid(views.blow, peak_hz, around, 0.45 * apart_hz)
    late, _ = centroid(views.hann, peak_hz, around, 0.45 * apart_hz)
    if not (np.isfinite(early) and np.isfinite(late)):
        return None
    rang = 0.0
    if views.before is not None:
        # a line that rang here before pulls the centroid by its share of the energy, by up to the window
        _, was = views.before.cut(peak_hz - around, peak_hz + around)
        rang = float(was.max() / power) if len(was) else 0.0
    noise_hz = np.hypot(early_se, around * 0.5 * min(rang, 1.0))
    moved = float(cents_of(late, early))
    # where the cluster is lopsided or moves, its centroid depends on how time is weighted
    lopsided = float(cents_of(peak_hz, early))
    # a room weighs the strings of a cluster by chance
    weighed = 0.25 * _spread_cents(views.hann, peak_hz, around)
    se = float(np.linalg.norm([noise_hz / peak_hz * 1731, 0.25 * moved, 0.2 * lopsided, weighed, 0.02]))
    return Line(n, peak_hz, early, se, float(clear_db), moved)
