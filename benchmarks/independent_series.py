"""Independent analysis, the stiff series: which pitch and B explain the lines, lines up the series, the fit.

A stiff string's partials lie at f_n = n f0 sqrt(1 + B n^2) (Fletcher 1964).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import optimize

from benchmarks.independent_lines import Line, Views, cents_of, equal_hz, measure_line

Floats = NDArray[np.float64]

PARTIALS = 16
SEARCHED = 8
"""Partials by which the note is found; above, an unknown B moves them too far."""
SERIES_TO_KEY = 60
"""To here partial 1 comes from the series through many partials, above from its own line: few partials are left."""

_USUAL_B_KEYS = (1, 4, 10, 22, 28, 34, 40, 49, 58, 64, 70, 76, 88)
_USUAL_B = (
    2.8e-4,
    2.2e-4,
    1e-4,
    0.7e-4,
    1.1e-4,
    1.7e-4,
    2.9e-4,
    6.4e-4,
    14.8e-4,
    24e-4,
    41e-4,
    60e-4,
    150e-4,
)
"""B of one real grand, read off by hand; only where to look from, a factor of 6 either way is searched."""


def usual_b(key: int) -> float:
    """B to begin the search with."""
    return float(np.exp(np.interp(key, _USUAL_B_KEYS, np.log(_USUAL_B))))


def series_hz(n: Floats, f0_hz: float | Floats, b: float | Floats) -> Floats:
    """Partials of a stiff string."""
    return np.asarray(n * f0_hz * np.sqrt(1 + b * n**2))


@dataclass(frozen=True)
class Scored:
    """How well each pitch (cents from equal temperament) and B (as a factor of the usual) explains the lines, dB."""

    cents: Floats
    factor: Floats
    score: Floats


def score_pitches(views: Views, key: int) -> Scored:
    """Mean height of the first partials above what lies beside them, for every pitch within 130 cents and any B."""
    cents = np.arange(-130.0, 131.0, 2.5)
    factor = 2.0 ** np.linspace(-2.6, 2.6, 45)
    n = np.arange(1, SEARCHED + 1)
    hz = equal_hz(key)
    f0 = hz * 2 ** (cents / 1200)
    b = usual_b(key) * factor
    places = series_hz(n, f0[:, None, None] / np.sqrt(1 + b[:, None]), b[:, None])
    seen = places < views.top_hz
    low = max(0.85 * hz, views.hann.step_hz * 2)
    grid = low * 2 ** (np.arange(0, 1200 * np.log2(views.top_hz / low), 2.5) / 1200)
    spots = np.geomspace(low, views.top_hz, 120)
    beside = np.exp(
        np.interp(grid, spots, np.log(views.beside(spots, max(0.6 * hz, 12 * views.hann.width_hz))))
    )
    if views.before is not None:
        beside = np.maximum(beside, views.before.at(grid))
    edges = np.minimum(
        (grid / 2 ** (1.25 / 1200) / views.hann.step_hz).astype(int), len(views.hann.power) - 2
    )
    peaks = np.maximum.reduceat(views.hann.power, edges)
    peaks[-1] = views.hann.power[edges[-1]]
    height = np.clip(10 * np.log10(peaks / beside + 1e-12), 0, 60)
    height = np.maximum.reduce([height, np.roll(height, 1), np.roll(height, -1)])
    index = np.clip(np.rint(1200 * np.log2(places / low) / 2.5).astype(int), 0, len(grid) - 1)
    # in the treble partial 1 is the strongest line, and what lies higher may be anything
    weight = seen / (n if key > SERIES_TO_KEY else np.ones(len(n)))
    score = np.sum(height[index] * weight, axis=2) / np.maximum(weight.sum(2), 1e-9)
    # away from the usual B costs a little: with few partials any B goes through them
    return Scored(cents, factor, score - 0.3 * np.log2(factor) ** 2)


def follow(views: Views, key: int, cents: float, b: float) -> list[Line]:
    """Lines up the series from a first guess of partial 1 (cents) and B, which every line found makes better."""
    f0 = equal_hz(key) * 2 ** (cents / 1200) / np.sqrt(1 + b)
    lines: list[Line] = []
    for n in range(1, PARTIALS + 1):
        near = float(series_hz(np.float64(n), f0, b))
        apart = float(series_hz(np.float64(n + 1), f0, b)) - near
        if near > views.top_hz:
            break
        doubt = near * (2 ** (_doubt_cents(n, key, b) / 1200) - 1)
        line = measure_line(views, n, near, min(max(doubt, 1.5 * views.hann.width_hz), 0.3 * apart), apart)
        if line is None:
            continue
        lines.append(line)
        if n == 1 and key > SERIES_TO_KEY:
            f0 *= line.centroid_hz / near
        if len(lines) >= 4 and n >= SEARCHED:
            f0, b, _, _ = fit_series(lines, f0, b, quick=True)
    return lines


def _doubt_cents(n: int, key: int, b: float) -> float:
    """How far from its predicted place a partial is sought; in the treble B is known within 30 % at first."""
    if key <= SERIES_TO_KEY:
        return 8.0 if n <= SEARCHED else 6.0
    return 35.0 if n == 1 else min(8.0 + 0.15 * 1731 * b * (n**2 - 1), 40.0)


def fit_series(
    lines: list[Line], f0_hz: float, b: float, *, quick: bool = False
) -> tuple[float, float, float, float]:
    """f0 and B through the centroids by soft L1 in cents: f0, B, standard errors of partial 1 (cents) and of B.

    The errors come from the scatter about the series, not from the lines' own errors alone: a bridge pulls each
    partial by more than noise does.
    """
    n = np.array([line.n for line in lines], float)
    hz = np.array([line.centroid_hz for line in lines])
    own = np.array([line.se_cents for line in lines])
    pull = 0.15
    x = np.array([np.log(f0_hz), np.log(b)])
    for _ in range(1 if quick or len(lines) < 4 else 2):
        weight = 1 / np.hypot(own, pull)

        def misses(x: Floats, weight: Floats = weight) -> Floats:
            return cents_of(hz, series_hz(n, np.exp(x[0]), np.exp(x[1]))) * weight

        found = optimize.least_squares(misses, x, loss="soft_l1", x_scale=[1e-4, 1e-2], max_nfev=40)
        x, rest = found.x, misses(found.x)
        # lines that scatter more than they know of themselves weigh alike, or two of them would rule
        pull = max(0.15, 1.5 * float(np.median(np.abs(rest / weight))))
    f0, b = float(np.exp(x[0])), float(np.exp(x[1]))
    if quick or len(lines) < 3:
        return f0, b, np.nan, np.nan
    scatter = np.sqrt(np.sum(2 * (np.sqrt(1 + rest**2) - 1)) / max(len(lines) - 2, 1))
    jacobian = np.stack([np.ones(len(n)), 0.5 * b * n**2 / (1 + b * n**2)], axis=1) * 1731 * weight[:, None]
    cov = np.linalg.pinv(jacobian.T @ jacobian) * max(scatter, 0.5) ** 2
    few = 1 + 2 / max(len(lines) - 2, 1)  # a scatter of few lines is itself uncertain
    at_one = np.array([1.0, 0.5 * b / (1 + b)])
    return f0, b, float(1731 * np.sqrt(at_one @ cov @ at_one) * few), float(b * np.sqrt(cov[1, 1]) * few)
