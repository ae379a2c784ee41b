"""Brightness of each key, touch taken out, and how far it stands from its neighbours.

Brightness is the share of power in the partials above 4 f1 (above key 76: above 2 f1), in dB. A key struck
harder is brighter [goncalves2014], so within each register the straight dependence on level is fitted
robustly and taken out. With one blow per key that slope has its own uncertainty, which is reported.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pianolab.acoustics.tuning import neighbour_deviation, robust_spread, smooth_over_keys
from pianolab.units import FloatArray

HIGH_FROM_KEY = 76


@dataclass(frozen=True)
class Brightness:
    """Per note: ``brightness_db`` (level taken out), ``dev`` from the neighbours, ``sd`` from the slope, dB off them."""

    brightness_db: FloatArray
    dev: FloatArray
    sd: FloatArray
    off_db: FloatArray


def brightness_share_db(power: FloatArray, *, key: NDArray[np.int64]) -> FloatArray:
    """Power in the upper partials over the total, dB; ``power`` has shape (notes, partials), partial 1 first."""
    n = np.arange(1, power.shape[1] + 1)
    cut = np.where(key > HIGH_FROM_KEY, 2, 4)[:, None]
    upper, total = np.where(n > cut, power, 0.0).sum(axis=1), power.sum(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = 10.0 * np.log10(upper / total)
    return np.where((upper > 0) & (total > 0), share, np.nan)


def measure_brightness(
    share_db: FloatArray, level_db: FloatArray, *, register: NDArray[np.int64]
) -> Brightness:
    """Take the dependence on level out and compare with the neighbours.

    Parameters
    ----------
    share_db, level_db : shape (keys,), NaN where unknown
    register : shape (keys,), a number per register

    Returns
    -------
    Brightness
    """
    flat, slope_sd = share_db.copy(), np.full(len(share_db), np.nan)
    for name in np.unique(register):
        own = (register == name) & ~np.isnan(share_db) & ~np.isnan(level_db)
        if own.sum() < 6:
            continue
        trend = smooth_over_keys(np.where(own, share_db, np.nan), stiffness=60.0)
        louder = level_db - smooth_over_keys(np.where(own, level_db, np.nan), stiffness=60.0)
        slope, sd = _slope(louder[own], (share_db - trend)[own])
        flat[own] = share_db[own] - slope * louder[own]
        slope_sd[own] = sd * np.abs(louder[own])
    off = flat - smooth_over_keys(flat, stiffness=60.0)
    dev = neighbour_deviation(flat, register * 0, least_spread=0.6)
    return Brightness(flat, dev, slope_sd, off)


def _slope(x: FloatArray, y: FloatArray) -> tuple[float, float]:
    """Robust slope through the origin and its standard deviation; kept between 0 and 1.5 dB per dB."""
    w = np.ones(len(x))
    slope = 0.0
    for _ in range(6):
        slope = float(np.sum(w * x * y) / max(np.sum(w * x * x), 1e-9))
        residual = y - slope * x
        scale = max(robust_spread(residual), 0.2)
        w = 1.0 / (1.0 + (residual / (2.0 * scale)) ** 2)
    sd = scale / np.sqrt(max(float(np.sum(w * x * x)), 1e-9))
    return float(np.clip(slope, 0.0, 1.5)), float(sd)
