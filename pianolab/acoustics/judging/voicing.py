"""Brightness of each key, touch and room taken out, and how far it stands from its neighbours.

Brightness is the share of power in the partials above 4 f1 (above key 76: above 2 f1), in dB. A key struck
harder is brighter [goncalves2014], so within each register the straight dependence on level is fitted
robustly and taken out. With one blow per key that slope has its own uncertainty, which is reported.

That share hangs on one or two strong partials, and a room changes each line by some 5 dB; so the tilt of the whole
spectrum is looked at too (`tilt`).

The tilt and its distance from the instrument's own spread are measures, not faults. One blow per key doesn't tell a hard
or dull hammer from a key whose strings, strike point or place on the bridge give it a colour of its own: on healthy drawn
pianos of two generators and on real notes such keys stand as far out as keys whose hammer was changed, so no limit
finds most of these without calling sound keys faulty. So `voicing` is said not to be judged, with that reason, and an ear at
the piano decides.

Limits: keys with fewer than three partials have no tilt.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pianolab.acoustics.judging.tuning import robust_spread, smooth_over_keys
from pianolab.units import FloatArray

VOICING_UNTOLD = "one blow of a key doesn't tell its hammer from the colour that its strings give it (brightness_dev shows both)"
"""Why the fault `voicing` is not judged."""

HIGH_FROM_KEY = 76
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
    """Power in the upper partials over the total, dB.

    Parameters
    ----------
    power : shape (notes, partials), partial 1 first; 0 where not heard
    key : shape (notes,)

    Returns
    -------
    ndarray, shape (notes,); NaN where no upper partial is heard
    """
    n = np.arange(1, power.shape[1] + 1)
    high = n > np.where(key > HIGH_FROM_KEY, 2, 4)[:, None]
    upper, total = np.where(high, power, 0.0).sum(axis=1), power.sum(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = 10.0 * np.log10(upper / total)
    return np.where((upper > 0) & (total > 0), share, np.nan)


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
    share_db : shape (keys,), from `brightness_share_db`
    level_db : shape (keys,), NaN where unknown
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
    dev = tilt / spread
    return Brightness(flat, slope_sd, tilt, tilt_sd, dev)


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
