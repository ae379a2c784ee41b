"""Brightness of each key, touch and room taken out, and how far it stands from its neighbours.

Brightness is the share of power in the partials above 4 f1 (above key 76: above 2 f1), in dB. A key struck
harder is brighter [goncalves2014], so within each register the straight dependence on level is fitted
robustly and taken out. With one blow per key that slope has its own uncertainty, which is reported.

That share hangs on one or two strong partials, and a room changes each line by some 5 dB. Whether a hammer
stands out is therefore judged by the tilt of the whole spectrum, in dB per octave of partial number. The levels of
all partials of all keys are taken for a sum of five things: the key's own level, a spectrum that changes smoothly
over keys and partials, the room's gain, common to lines of all keys that lie within the room's own bandwidth of one
another, the key's own tilt, and scatter. All are Gaussian with stated spreads, so the tilt and its uncertainty follow
from one linear system.

Limits: a key's own scatter (strike point, mistuning) looks like voicing of about 2 dB per octave; keys with fewer
than three partials are not judged.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve

from pianolab.acoustics.tuning import robust_spread, smooth_over_keys
from pianolab.units import FloatArray

HIGH_FROM_KEY = 76
TILT_PARTIALS = 16
LEVEL_DB, BROAD_DB, SMOOTH_DB, ROOM_DB, TILT_DB, SCATTER_DB = 20.0, 30.0, 12.0, 5.0, 2.0, 2.5
"""Spreads of the parts of a partial's level; own estimates from modelled and real scales."""
SMOOTH_KEYS, SMOOTH_OCTAVES = 10.0, 0.5
LEAST_SPREAD = 0.6


@dataclass(frozen=True)
class Brightness:
    """Per note: ``brightness_db`` (level taken out) and its ``sd``; ``tilt`` in dB per octave, ``tilt_sd``, ``dev``.

    ``dev`` is the tilt over the spread of the instrument's tilts.
    """

    brightness_db: FloatArray
    sd: FloatArray
    tilt: FloatArray
    tilt_sd: FloatArray
    dev: FloatArray


def brightness_share_db(power: FloatArray, *, key: NDArray[np.int64]) -> FloatArray:
    """Power in the upper partials over the total, dB; ``power`` has shape (notes, partials), partial 1 first."""
    n = np.arange(1, power.shape[1] + 1)
    cut = np.where(key > HIGH_FROM_KEY, 2, 4)[:, None]
    upper, total = np.where(n > cut, power, 0.0).sum(axis=1), power.sum(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = 10.0 * np.log10(upper / total)
    return np.where((upper > 0) & (total > 0), share, np.nan)


def spectral_tilt(
    power: FloatArray, f_hz: FloatArray, *, key: NDArray[np.int64], t60_s: float
) -> tuple[FloatArray, FloatArray]:
    """Each key's own tilt against the smooth spectrum of its neighbours, room and level taken out.

    Parameters
    ----------
    power : shape (notes, partials); 0 where a partial was not heard
    f_hz : same shape, Hz
    key : shape (notes,)
    t60_s : s; NaN where no room was heard

    Returns
    -------
    tilt, sd : shape (notes,), dB per octave of partial number; NaN with fewer than three partials
    """
    heard = (power[:, :TILT_PARTIALS] > 0) & ~np.isnan(f_hz[:, :TILT_PARTIALS])
    heard &= heard.sum(axis=1, keepdims=True) >= 3
    note, partial = np.nonzero(heard)
    tilt, sd = np.full(len(key), np.nan), np.full(len(key), np.nan)
    if len(note) < 30:
        return tilt, sd
    level = 10.0 * np.log10(power[note, partial])
    octave = np.log2(partial + 1.0)
    lean = np.clip(octave, 0.0, 3.2) - 1.5
    own = note[:, None] == note
    keys, octaves = key[note][:, None] - key[note], octave[:, None] - octave
    width_hz = 2.2 / t60_s if t60_s > 0.1 else 8.0
    lines_hz = f_hz[note, partial][:, None] - f_hz[note, partial]
    covariance = own * LEVEL_DB**2 + BROAD_DB**2 * np.exp(
        -0.5 * (keys / 30.0) ** 2 - 0.5 * (octaves / 1.5) ** 2
    )
    covariance += SMOOTH_DB**2 * np.exp(
        -0.5 * (keys / SMOOTH_KEYS) ** 2 - 0.5 * (octaves / SMOOTH_OCTAVES) ** 2
    )
    covariance += ROOM_DB**2 / (1.0 + (lines_hz / width_hz) ** 2) + own * TILT_DB**2 * lean[:, None] * lean
    covariance += SCATTER_DB**2 * np.eye(len(level))
    factor = cho_factor(covariance, overwrite_a=True, check_finite=False)
    leaning = np.zeros((len(level), len(key)))
    leaning[np.arange(len(level)), note] = TILT_DB**2 * lean
    solved = cho_solve(factor, np.column_stack([level - level.mean(), leaning]), check_finite=False)
    judged = heard.any(axis=1)
    tilt[judged] = (leaning.T @ solved[:, 0])[judged]
    explained = np.sum(leaning * solved[:, 1:], axis=0)
    sd[judged] = np.sqrt(np.maximum(TILT_DB**2 - explained, 0.0))[judged]
    return tilt, sd


def measure_brightness(
    share_db: FloatArray,
    level_db: FloatArray,
    *,
    register: NDArray[np.int64],
    tilt: FloatArray,
    tilt_sd: FloatArray,
) -> Brightness:
    """Take the dependence on level out of the brightness, and set the tilts against their own spread.

    Parameters
    ----------
    share_db, level_db : shape (keys,), NaN where unknown
    register : shape (keys,), a number per register
    tilt, tilt_sd : shape (keys,), from `spectral_tilt`

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
    spread = max(float(np.nan_to_num(robust_spread(tilt))), LEAST_SPREAD)
    return Brightness(flat, slope_sd, tilt, tilt_sd, tilt / spread)


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
