"""Cents against equal temperament, the instrument's own tuning curve, and the distance from it.

The curve is a smooth line through the keys' cents: a penalised smoother (second differences) with robust
weights, so that keys that went their own way don't pull it. A whole piano that is flat, or stretched in its
own way, is then no fault of any key.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from pianolab.acoustics.keys.compass import BASS_SLOPE, TREBLE_SLOPE
from pianolab.units import FloatArray


def smooth_over_keys(
    values: FloatArray, *, weights: FloatArray | None = None, stiffness: float = 300.0, rounds: int = 12
) -> FloatArray:
    """A robust smooth curve over the keys.

    Parameters
    ----------
    values : shape (keys,); NaN where unknown
    weights : same shape, 0 or more
    stiffness : weight of the squared second differences; 300 follows bends over some ten keys

    Returns
    -------
    ndarray, shape (keys,); NaN everywhere with fewer than three values

    Notes
    -----
    Tukey's bisquare weights at 4.7 robust standard deviations, from memory of the standard texts.

    Examples
    --------
    >>> line = np.arange(20.0)
    >>> line[7] = 90.0
    >>> smooth_over_keys(line)[7].round(3)
    np.float64(7.0)
    """
    known = ~np.isnan(values)
    if known.sum() < 3:
        return np.full(len(values), np.nan)
    base = np.where(known, 1.0 if weights is None else weights, 0.0)
    y = np.where(known, np.nan_to_num(values), 0.0)
    second = np.diff(np.eye(len(values)), n=2, axis=0)
    penalty = stiffness * second.T @ second + 1e-9 * np.eye(len(values))
    start = np.interp(np.arange(len(values)), np.flatnonzero(known), running_median(values[known]))
    residual = np.where(known, y - start, 0.0)
    curve = start
    for _ in range(rounds):
        scale = max(1.4826 * float(np.median(np.abs(residual[known]))), 1e-6)
        u = residual / (4.7 * scale)
        robust = np.where(np.abs(u) < 1.0, (1.0 - u**2) ** 2, 0.0)
        w = base * np.maximum(robust, 1e-6)
        curve = np.linalg.solve(np.diag(w) + penalty, w * y)
        residual = np.where(known, y - curve, 0.0)
    return np.asarray(curve)


def robust_line(
    values: FloatArray, x: FloatArray, *, rounds: int = 20, least_spread: float = 0.05
) -> FloatArray:
    """A straight line through the values over ``x`` that a third of them being off does not pull.

    Starts from the median slope and level, then reweights (bisquare at 3.5 robust standard deviations).

    Examples
    --------
    >>> y = 2.0 * np.arange(30.0)
    >>> y[10:18] -= 40.0
    >>> float(robust_line(y, np.arange(30.0))[12].round(6))
    24.0
    """
    known = ~np.isnan(values)
    if known.sum() < 4:
        return np.full(len(values), np.nan)
    slope = float(stats.theilslopes(values[known], x[known]).slope)
    level = float(np.median(values[known] - slope * x[known]))
    basis = np.stack([np.ones(len(x)), x], axis=1)
    line = level + slope * x
    for _ in range(rounds):
        residual = np.where(known, np.nan_to_num(values) - line, 0.0)
        scale = max(1.4826 * float(np.median(np.abs(residual[known]))), least_spread)
        u = residual / (3.5 * scale)
        w = np.where(known & (np.abs(u) < 1.0), (1.0 - u**2) ** 2, 0.0)
        ridge = 1e-9 * np.eye(2)
        line = basis @ np.linalg.solve(
            basis.T @ (w[:, None] * basis) + ridge, basis.T @ (w * np.nan_to_num(values))
        )
    return np.asarray(line)


def tuning_curve(cents: FloatArray, key: NDArray[np.int64]) -> FloatArray:
    """The instrument's own tuning curve at the given keys, in cents.

    Octaves tuned without beats on stiff strings bend the curve as the inharmonicity bends, exponentially at
    both ends of the compass [rigaud2013]. So a line with two such ends is fitted first, robustly; what the tuner
    did besides is followed by `smooth_over_keys`.

    Parameters
    ----------
    cents : shape (notes,), NaN where unknown
    key : shape (notes,), rising

    Returns
    -------
    ndarray, shape (notes,); NaN everywhere with fewer than three values

    Examples
    --------
    >>> key = np.arange(1, 89)
    >>> stretched = 30.0 * np.exp(0.0926 * (key - 88)) - 20.0 * np.exp(-0.0847 * (key - 1))
    >>> bool(np.max(np.abs(tuning_curve(stretched, key) - stretched)) < 0.1)
    True
    """
    known = ~np.isnan(cents)
    if known.sum() < 3:
        return np.full(len(cents), np.nan)
    x = key.astype(float)
    basis = np.stack(
        [
            np.ones(len(x)),
            (x - 44.0) / 44.0,
            np.exp(TREBLE_SLOPE * (x - 88.0)),
            np.exp(BASS_SLOPE * (x - 1.0)),
        ],
        axis=1,
    )
    ridge = np.diag([1e-9, 1e-3, 3e-3, 3e-3])
    y, w = np.nan_to_num(cents), known.astype(float)
    for _ in range(15):
        answer = np.linalg.solve(basis.T @ (w[:, None] * basis) + ridge, basis.T @ (w * y))
        residual = y - basis @ answer
        scale = max(1.4826 * float(np.median(np.abs(residual[known]))), 0.2)
        w = known / (1.0 + (residual / (2.0 * scale)) ** 2)
    span = np.arange(key.min(), key.max() + 1)
    left = np.full(len(span), np.nan)
    left[key - span[0]] = np.where(known, residual, np.nan)
    return np.asarray(basis @ answer + smooth_over_keys(left)[key - span[0]])


def running_median(values: FloatArray, *, half: int = 4) -> FloatArray:
    """Median over ``half`` values to either side, edges repeated; NaN where one of them is.

    scipy's `median_filter` is the same for known values, but leaves open what it makes of a NaN.
    """
    padded = np.pad(values, half, mode="edge")
    return np.asarray(np.median(np.lib.stride_tricks.sliding_window_view(padded, 2 * half + 1), axis=1))


def robust_spread(values: FloatArray) -> float:
    """Median absolute deviation, scaled to the standard deviation of normal data; NaN if nothing is known.

    Examples
    --------
    >>> round(robust_spread(np.array([0.0, 1.0, -1.0, 2.0, -2.0])), 4)
    1.4826
    """
    known = values[~np.isnan(values)]
    return float(stats.median_abs_deviation(known, scale="normal")) if len(known) else float("nan")
