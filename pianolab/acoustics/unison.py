"""Unison: pitch of the string choir, distance of its strings, and the beat one hears.

Pitch of a partial is the energy centroid of its close modes, not the loudest peak: a peak follows the
strongest string.

The bridge couples the strings, so the modes one hears are not the strings: below the coupling they share one
frequency, and a springy bridge splits strings that are in tune [weinreich1977]. What the strings would be apart
can still be had. The hammer starts them together, and the bridge adds up what they do, so the modes' complex
amplitudes at the blow are weights p of the eigenvalues s, and the first two moments of these weights belong to the
uncoupled strings: sum(p s²) - (sum p s)² is minus the variance of the strings' angular frequencies, whatever the
coupling (own derivation: the first off-diagonal element of the chain that starts from the struck state). From
the variance the distance of the outermost strings follows for two strings exactly, for three within a tenth.

Limits: needs the prompt mode; where a ringing room hides it, the distance of the modes is taken when larger. It
takes all strings as struck alike. A single string's distance is that of its modes: a false beat [capleton2004].
Under about 0.2 cents nothing is meant; which string is off can't be heard from outside.
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
    array([1.55])
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


def string_variance_cents2(modes: Modes, *, centre_hz: FloatArray) -> FloatArray:
    """Variance of the uncoupled strings about their mean, cents², shape (notes, partials); may come out negative."""
    known = ~np.isnan(modes.f_hz)
    s = np.where(
        known,
        -np.nan_to_num(modes.decay_per_s) + 2j * np.pi * (np.nan_to_num(modes.f_hz) - centre_hz[..., None]),
        0.0,
    )[:, :, None, :]
    amplitude = np.where(known[:, :, None, :], modes.amplitude, 0.0)
    start = amplitude.sum(axis=-1)
    power = np.sum(np.abs(start) ** 2, axis=-1) + 1e-300
    first = np.sum(start.conj() * np.sum(amplitude * s, axis=-1), axis=-1) / power
    second = np.sum(start.conj() * np.sum(amplitude * s**2, axis=-1), axis=-1) / power
    variance = -(second - first**2).real / (2.0 * np.pi) ** 2
    return np.where(known.any(axis=-1), variance * (CENTS_PER_NEPER / centre_hz) ** 2, np.nan)


OUTERMOST_OVER_SD = {1: 0.0, 2: 2.0, 3: 2.3}
"""Distance of the outermost strings over their standard deviation; for three between 2.12 and 2.45."""


FAR_CENTS = 4.0
LEAST_SD_CENTS = 0.05


def _far_string(modes: Modes, centre_hz: FloatArray, weight: FloatArray) -> FloatArray:
    """Distance of a string that went far off, from the partials whose band still holds it; 0 where none did.

    The lowest two such partials must agree to a quarter; one alone, as at the top, proves nothing.
    """
    spread_hz, count = _spreads_hz(modes, within_db=BEAT_DB)
    cents = np.where((weight > 0) & (count > 1), CENTS_PER_NEPER * spread_hz / centre_hz, np.nan)
    out = np.zeros(len(cents))
    for i in range(len(cents)):
        far = cents[i][~np.isnan(cents[i]) & (cents[i] > FAR_CENTS)]
        if len(far) >= 2 and np.ptp(far[:2]) < 0.25 * far[:2].mean():
            out[i] = far[:2].mean()
    return out


def measure_unison(
    modes: Modes,
    *,
    centre_hz: FloatArray,
    weight: FloatArray,
    wide: NDArray[np.bool_],
    strings: NDArray[np.int64],
    prompt_hidden: bool,
) -> Unison:
    """Distance of the strings of every note.

    Parameters
    ----------
    modes : Modes, shape (notes, partials, modes)
    centre_hz, weight : shape (notes, partials); weight 0 leaves a partial out
    wide : shape (notes, partials); where the band holds strings far apart too
    strings : shape (notes,); how many strings the key is taken to have
    prompt_hidden : whether the room rings so long that prompt modes were left out

    Returns
    -------
    Unison
    """
    spread_hz, count = _spreads_hz(modes, within_db=HEARD_DB)
    cents = CENTS_PER_NEPER * spread_hz / centre_hz
    used = np.where(count > 0, weight, 0.0)
    apart = weighted_median(cents, used)
    factor = np.array([OUTERMOST_OVER_SD[int(n)] for n in strings])
    variance = string_variance_cents2(modes, centre_hz=centre_hz)
    moment = factor * np.sqrt(np.maximum(weighted_median(variance, used), 0.0))
    spread = np.where(strings == 1, apart, np.maximum(moment, apart) if prompt_hidden else moment)
    far = np.where(strings == 1, 0.0, _far_string(modes, centre_hz, used * wide))
    went_off = far > np.nan_to_num(spread)
    spread = np.where(went_off, far, spread)
    spread = np.where(np.isnan(apart), np.nan, spread)
    own = factor[:, None] * np.sqrt(np.maximum(np.nan_to_num(variance), 0.0))
    off = np.abs(np.where(strings[:, None] == 1, cents, own) - spread[:, None])
    scatter = 1.4826 * weighted_median(off, used) / np.sqrt(np.maximum((used > 0).sum(axis=1), 1))
    spread_sd = np.where(went_off, 0.08 * far, np.hypot(1.8 * scatter, LEAST_SD_CENTS))
    beat_hz, beat_count = _spreads_hz(modes, within_db=BEAT_DB)
    beating = np.where((beat_count > 1) & (weight > 0), beat_hz, np.inf)
    slowest = np.argmin(beating, axis=1)
    found = beating[np.arange(len(beating)), slowest]
    ok = np.isfinite(found)
    return Unison(spread, spread_sd, np.where(ok, found, np.nan), np.where(ok, slowest + 1.0, np.nan))
