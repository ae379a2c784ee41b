"""Partials of each note: peaks followed upwards along a stiff-string series that is refined as it goes.

For one stiff string f_n = n f0 sqrt(1 + B n²) [fletcher1964], so (f_n / n)² is a straight line over n² with
level f0² and slope f0² B. Starting from the key path's coarse pitch, each further partial is looked for
where the line so far predicts it, and then refines the line. All notes advance together.

Limits: peaks follow the strongest string of a unison; the pitch that is reported comes from
`pianolab.acoustics.strings.modes`. In the top octaves few partials are inside the band and B leans on the compass.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pianolab.acoustics.keys.compass import usual_inharmonicity
from pianolab.units import CENTS_PER_NEPER, FloatArray

MOST_TRACKED = 40
LEAST_DB = 9.0
HIGHEST_HZ = 12000.0


@dataclass(frozen=True)
class PartialTracks:
    """Peaks of the partials, shape (notes, MOST_TRACKED): frequency (NaN where none), level over noise."""

    f_hz: FloatArray
    over_noise_db: FloatArray
    power: FloatArray
    f0_hz: FloatArray
    inharmonicity: FloatArray


@dataclass(frozen=True)
class StiffFit:
    """Stiff-string series per note: ``f0_hz``, ``inharmonicity``, its relative ``b_sd``, count of partials used."""

    f0_hz: FloatArray
    inharmonicity: FloatArray
    b_sd: FloatArray
    residual_cents: FloatArray
    used: NDArray[np.int64]


def series_hz(f0_hz: FloatArray, inharmonicity: FloatArray, count: int) -> FloatArray:
    """Partials 1 to ``count`` of stiff strings, shape (strings, count), Hz.

    Examples
    --------
    >>> series_hz(np.array([440.0]), np.array([7.927473374035064e-4]), 4).round(3)
    array([[ 440.174,  881.394, 1324.701, 1771.127]])
    """
    n = np.arange(1, count + 1)
    return np.asarray(f0_hz[:, None] * n * np.sqrt(1.0 + inharmonicity[:, None] * n**2))


def series_from_first_hz(f1_hz: float, inharmonicity: float, count: int) -> FloatArray:
    """Partials 1 to ``count`` of one stiff string whose first partial is known, shape (count,), Hz.

    Examples
    --------
    >>> series_from_first_hz(440.0, 0.0, 3)
    array([ 440.,  880., 1320.])
    """
    f0_hz = f1_hz / np.sqrt(1.0 + inharmonicity)
    return np.asarray(series_hz(np.array([f0_hz]), np.array([inharmonicity]), count)[0])


def _peak_near(
    power: NDArray[np.float32], over_db: NDArray[np.float32], centre: FloatArray, reach: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Strongest local maximum within ``reach`` bins of ``centre`` (one per row): bin, level over noise, power."""
    widest = int(np.ceil(np.nanmax(reach))) + 1
    offsets = np.arange(-widest, widest + 1)
    middle = np.round(centre).astype(np.int64)
    index = np.clip(middle[:, None] + offsets, 1, power.shape[1] - 2)
    rows = np.arange(len(power))[:, None]
    beside = np.clip(middle[:, None] + np.arange(-widest - 1, widest + 2), 0, power.shape[1] - 1)
    around = power[rows, beside]
    here = around[:, 1:-1]
    is_peak = (here >= around[:, :-2]) & (here > around[:, 2:])
    distance = np.abs(index - centre[:, None]) / np.maximum(reach[:, None], 1e-9)
    height = np.where(is_peak & (distance <= 1.0), over_db[rows, index] - 6.0 * distance**2, -np.inf)
    best = np.argmax(height, axis=1)
    at = index[rows[:, 0], best]
    found = np.isfinite(height[rows[:, 0], best])
    three = np.log(power[rows, at[:, None] + np.array([-1, 0, 1])] + 1e-30)
    curvature = three[:, 0] - 2.0 * three[:, 1] + three[:, 2]
    shift = np.where(curvature < 0, 0.5 * (three[:, 0] - three[:, 2]) / np.minimum(curvature, -1e-12), 0.0)
    position = np.where(found, at + np.clip(shift, -0.5, 0.5), np.nan)
    return (
        position,
        np.where(found, over_db[rows[:, 0], at], 0.0),
        np.where(found, power[rows[:, 0], at], 0.0),
    )


def track_partials(
    power: NDArray[np.float32],
    over_db: NDArray[np.float32],
    *,
    key: NDArray[np.int64],
    f1_hz: FloatArray,
    b_factor: FloatArray,
    rate_hz: int,
    size: int,
    b_share: float = 0.6,
) -> PartialTracks:
    """Follow the partials of all notes upwards.

    Parameters
    ----------
    power, over_db : shape (notes, bins); line spectra and how far they stand out of the noise
    key, f1_hz, b_factor : shape (notes,); coarse reading from the key path
    rate_hz, size : of the spectra
    b_share : how far off the coarse B may be, as a share of it

    Returns
    -------
    PartialTracks
    """
    usual_b = usual_inharmonicity(key) * b_factor
    first = (f1_hz**2) / (1.0 + usual_b)
    # Sums of a weighted straight line y = level + slope n², begun with the coarse reading as prior.
    prior_level, prior_slope = 1.0 / 10.0**2, 1.0 / (b_share * usual_b * CENTS_PER_NEPER / 2.0) ** 2
    s0, sx, sxx = np.full(len(key), prior_level), np.zeros(len(key)), prior_slope.copy()
    sy, sxy = prior_level * first, prior_slope * first * usual_b
    shape = (len(key), MOST_TRACKED)
    f_hz, over, strength = np.full(shape, np.nan), np.zeros(shape), np.zeros(shape)
    hz_per_bin = rate_hz / size
    for n in range(1, MOST_TRACKED + 1):
        det = s0 * sxx - sx**2
        level, slope = (sxx * sy - sx * sxy) / det, (s0 * sxy - sx * sy) / det
        level, slope = np.maximum(level, 0.8 * first), np.maximum(slope, 0.05 * first * usual_b)
        predicted = n * np.sqrt(level + slope * n**2)
        spread = (sxx - 2.0 * sx * n**2 + s0 * n**4) / det
        reach_hz = predicted * np.clip(2.2 * np.sqrt(spread), 6.0, 45.0) / CENTS_PER_NEPER
        reach_hz = np.clip(reach_hz, 1.6 * hz_per_bin, 0.4 * f1_hz)
        inside = predicted < min(HIGHEST_HZ, 0.47 * rate_hz)
        centre = np.where(inside, predicted / hz_per_bin, 10.0)
        bin_at, db, pw = _peak_near(power, over_db, centre, reach_hz / hz_per_bin)
        good = inside & ~np.isnan(bin_at) & (db >= LEAST_DB)
        f_here = np.where(good, bin_at * hz_per_bin, np.nan)
        f_hz[:, n - 1], over[:, n - 1], strength[:, n - 1] = (
            f_here,
            np.where(good, db, 0),
            np.where(good, pw, 0),
        )
        y = np.where(good, (np.nan_to_num(f_here) / n) ** 2, 0.0)
        w = np.where(good, np.clip((db - 6.0) / 15.0, 0.1, 1.0) / 2.5**2, 0.0)
        s0, sx, sxx = s0 + w, sx + w * n**2, sxx + w * n**4
        sy, sxy = sy + w * y, sxy + w * y * n**2
    det = s0 * sxx - sx**2
    level, slope = (sxx * sy - sx * sxy) / det, (s0 * sxy - sx * sy) / det
    return PartialTracks(f_hz, over, strength, np.sqrt(level), np.maximum(slope / level, 1e-6))


def cauchy_weight(off_cents: FloatArray, scale_cents: FloatArray) -> FloatArray:
    """What counts of each partial beside the others' usual distance from the series, 1 to 0, shape (notes, partials)."""
    return np.asarray(1.0 / (1.0 + (np.nan_to_num(off_cents) / (2.0 * scale_cents[:, None])) ** 2))


def fit_stiff_series(
    f_hz: FloatArray, weight: FloatArray, *, prior_b: FloatArray, prior_share: float = 0.25, rounds: int = 8
) -> StiffFit:
    """Robust stiff-string fit of all notes at once (iteratively reweighted least squares, Cauchy weights).

    Parameters
    ----------
    f_hz : shape (notes, partials), Hz; NaN where there is none
    weight : same shape, 0 or more
    prior_b : shape (notes,); B that the compass suggests, with relative spread ``prior_share``

    Returns
    -------
    StiffFit

    Examples
    --------
    >>> f = series_hz(np.array([220.0]), np.array([3e-4]), 10)
    >>> fit = fit_stiff_series(f, np.ones_like(f), prior_b=np.array([4e-4]))
    >>> float(fit.f0_hz[0].round(6)), float((fit.inharmonicity[0] * 1e4).round(4))
    (220.0, 3.0)
    """
    n2 = np.arange(1, f_hz.shape[1] + 1) ** 2.0
    given = ~np.isnan(f_hz) & (weight > 0)
    # In cents relative to a reference the line is level + slope n²; the scale of y is then cents.
    y = np.where(given, np.nan_to_num(f_hz) ** 2 / n2, 0.0)
    base = np.where(given.any(axis=1), np.max(y, axis=1), 1.0)[:, None]
    y = y / base
    w0 = np.where(given, weight, 0.0)
    scale = np.full(len(f_hz), 3.0)
    robust = np.ones_like(w0)
    count, rows, last = given.sum(axis=1), np.arange(len(given)), given.shape[1] - 1
    for _ in range(rounds):
        w = w0 * robust
        anchor = 1e-4 / (prior_share * prior_b * CENTS_PER_NEPER / 2.0) ** 2
        s0, sx = w.sum(axis=1) + 1e-12, (w * n2).sum(axis=1)
        sxx, sy, sxy = (w * n2**2).sum(axis=1), (w * y).sum(axis=1), (w * n2 * y).sum(axis=1)
        mean_y = sy / s0
        sxx, sxy = sxx + anchor * scale**2, sxy + anchor * scale**2 * prior_b * mean_y
        det = np.maximum(s0 * sxx - sx**2, 1e-30)
        level, slope = (sxx * sy - sx * sxy) / det, (s0 * sxy - sx * sy) / det
        line = np.maximum(level[:, None] + slope[:, None] * n2, 1e-9)
        residual = np.where(given, 0.5 * CENTS_PER_NEPER * np.log(np.maximum(y, 1e-12) / line), np.nan)
        sizes = np.sort(np.abs(residual), axis=1)  # those that are missing come last
        mad = 0.5 * (sizes[rows, np.maximum(count - 1, 0) // 2] + sizes[rows, np.minimum(count // 2, last)])
        scale = np.clip(np.nan_to_num(1.4826 * mad, nan=3.0), 0.05, 10.0)
        robust = cauchy_weight(residual, scale)
    level = np.maximum(level, 1e-9)
    b = np.maximum(slope / level, 1e-7)
    b_sd = np.sqrt(s0 / det) * scale / (0.5 * CENTS_PER_NEPER) / np.maximum(level, 1e-9)
    return StiffFit(np.sqrt(level * base[:, 0]), b, b_sd, scale, count)
