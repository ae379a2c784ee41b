"""Unison: pitch of the string choir, distance of its strings, and the beat one hears.

Pitch of a partial is the energy centroid of its close modes, not the loudest peak: a peak follows the
strongest string. Distance is between the outermost modes that are strong enough to hear, as a weighted
median over the partials; strings locked by the bridge [weinreich1977] share one frequency and read about
0, and a single string with two polarisations (a false beat [capleton2004]) reads as its false beat.

Limits: differences under about 0.2 cents mean nothing; which string is off can't be heard from outside.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pianolab.acoustics.modes import Modes
from pianolab.units import CENTS_PER_NEPER, FloatArray

HEARD_DB = 22.0
BEAT_DB = 14.0


@dataclass(frozen=True)
class Unison:
    """Per note: ``spread_cents`` and its ``spread_sd``, slowest clear ``beat_hz`` and its ``beat_partial``."""

    spread_cents: FloatArray
    spread_sd: FloatArray
    beat_hz: FloatArray
    beat_partial: FloatArray


def weighted_median(values: FloatArray, weights: FloatArray) -> FloatArray:
    """Weighted median along the last axis; NaN where nothing has weight.

    Examples
    --------
    >>> weighted_median(np.array([[1.0, 2.0, 9.0]]), np.array([[1.0, 1.0, 0.1]]))
    array([1.5])
    """
    w = np.where(np.isnan(values), 0.0, weights)
    order = np.argsort(np.where(w > 0, values, np.inf), axis=-1)
    v, w = np.take_along_axis(values, order, -1), np.take_along_axis(w, order, -1)
    total = w.sum(axis=-1, keepdims=True)
    middle = (np.cumsum(w, axis=-1) - 0.5 * w) / np.where(total > 0, total, 1.0)
    out = np.full(values.shape[0], np.nan)
    for i in np.flatnonzero(total[:, 0] > 0):
        used = w[i] > 0
        out[i] = np.interp(0.5, middle[i][used], v[i][used])
    return out


def _spreads_hz(modes: Modes, *, within_db: float) -> tuple[FloatArray, NDArray[np.int64]]:
    strongest = modes.energy.max(axis=-1, keepdims=True)
    heard = (modes.energy > strongest * 10.0 ** (-within_db / 10.0)) & (modes.energy > 0)
    high = np.max(np.where(heard, np.nan_to_num(modes.f_hz), -np.inf), axis=-1)
    low = np.min(np.where(heard, np.nan_to_num(modes.f_hz), np.inf), axis=-1)
    count = heard.sum(axis=-1)
    return np.where(count > 0, high - low, np.nan), count


def measure_unison(modes: Modes, *, centre_hz: FloatArray, weight: FloatArray) -> Unison:
    """Distance of the strings of every note.

    Parameters
    ----------
    modes : Modes, shape (notes, partials, modes)
    centre_hz, weight : shape (notes, partials); weight 0 leaves a partial out

    Returns
    -------
    Unison
    """
    spread_hz, count = _spreads_hz(modes, within_db=HEARD_DB)
    cents = CENTS_PER_NEPER * spread_hz / centre_hz
    used = np.where(count > 0, weight, 0.0)
    spread = weighted_median(cents, used)
    off = np.abs(cents - spread[:, None])
    spread_sd = 1.4826 * weighted_median(off, used) / np.sqrt(np.maximum((used > 0).sum(axis=1), 1))
    beat_hz, beat_count = _spreads_hz(modes, within_db=BEAT_DB)
    beating = np.where((beat_count > 1) & (weight > 0), beat_hz, np.inf)
    slowest = np.argmin(beating, axis=1)
    found = beating[np.arange(len(beating)), slowest]
    ok = np.isfinite(found)
    return Unison(spread, spread_sd, np.where(ok, found, np.nan), np.where(ok, slowest + 1.0, np.nan))
