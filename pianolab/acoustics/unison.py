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
    low, high, count = _outermost_hz(modes, within_db=within_db)
    return high - low, count


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


def _outermost_hz(modes: Modes, *, within_db: float) -> tuple[FloatArray, FloatArray, NDArray[np.int64]]:
    """Lowest and highest mode that is heard in each partial, Hz, and how many are."""
    strongest = modes.energy.max(axis=-1, keepdims=True)
    heard = (modes.energy > strongest * 10.0 ** (-within_db / 10.0)) & (modes.energy > 0)
    low = np.min(np.where(heard, np.nan_to_num(modes.f_hz), np.inf), axis=-1)
    high = np.max(np.where(heard, np.nan_to_num(modes.f_hz), -np.inf), axis=-1)
    count = heard.sum(axis=-1)
    return np.where(count > 0, low, np.nan), np.where(count > 0, high, np.nan), count


def far_string(modes: Modes, *, centre_hz: FloatArray, weight: FloatArray) -> FloatArray:
    """Distance of a string that went far off, from the partials whose band still holds it; 0 where none did.

    At least two of the lowest five partials must agree to a tenth; one alone, as at the top, proves nothing.

    Parameters
    ----------
    modes : Modes, shape (notes, partials, modes)
    centre_hz, weight : shape (notes, partials); weight 0 where not heard

    Returns
    -------
    ndarray, shape (notes,), cents
    """
    low, high, count = _outermost_hz(modes, within_db=BEAT_DB)
    cents = np.where((weight > 0) & (count > 1), CENTS_PER_NEPER * (high - low) / centre_hz, np.nan)
    out = np.zeros(len(cents))
    for i in range(len(cents)):
        far = cents[i, :5][cents[i, :5] > FAR_CENTS]
        alike = np.abs(far[:, None] - far) < 0.1 * far
        if len(far) and alike.sum(axis=0).max() >= 2:
            out[i] = far[alike[:, int(np.argmax(alike.sum(axis=0)))]].mean()
    return out


def mean_of_far_strings_hz(
    modes: Modes,
    *,
    centre_hz: FloatArray,
    weight: FloatArray,
    far_cents: FloatArray,
    strings: NDArray[np.int64],
) -> FloatArray:
    """Pitch of each partial where strings lie so far apart that each is a mode of its own.

    Two strings: midway. Three: one is at one end and two are at the other, or one is in the middle; the energy
    centroid, which each partial's blow scatters, only has to say which.

    Parameters
    ----------
    modes : Modes, shape (notes, partials, modes)
    centre_hz, weight : shape (notes, partials); weight 0 where not heard
    far_cents : shape (notes,), from `far_string`
    strings : shape (notes,)

    Returns
    -------
    ndarray, shape (notes, partials), Hz; NaN where no two strings of that distance are seen
    """
    low, high, count = _outermost_hz(modes, within_db=BEAT_DB)
    apart = CENTS_PER_NEPER * (high - low) / centre_hz
    alike = np.abs(apart - far_cents[:, None]) < 0.2 * far_cents[:, None]
    seen = (weight > 0) & (count > 1) & alike & (far_cents[:, None] > 0)
    at = np.where(strings == 3, _place_of_mean(modes, low, high, seen), 0.5)
    return np.where(seen, low + at[:, None] * (high - low), np.nan)


def _place_of_mean(modes: Modes, low: FloatArray, high: FloatArray, seen: NDArray[np.bool_]) -> FloatArray:
    """Where between the outermost of three strings their mean lies: 1/3, 1/2 or 2/3.

    A pair shows in two ways: more energy on its side, and often as two modes close together.
    """
    width = np.where(seen, high - low, 1.0)
    strongest = modes.energy.max(axis=-1, keepdims=True)
    strong = (modes.energy > strongest * 10.0 ** (-BEAT_DB / 10.0)) & (modes.energy > 0) & seen[..., None]
    place = (np.nan_to_num(modes.f_hz) - np.nan_to_num(low)[..., None]) / width[..., None]
    partials = np.maximum(seen.sum(axis=-1), 1)
    inner = (strong & (place > 0.3) & (place < 0.7)).any(axis=-1)
    more_above = np.sign((strong & (place > 0.8)).sum(axis=-1) - (strong & (place < 0.2)).sum(axis=-1))
    heavy = np.where(seen, (modes.centroid_hz - low) / width - 0.5, 0.0)
    side = heavy.sum(axis=-1) + 0.5 * np.where(seen, more_above, 0.0).sum(axis=-1)
    end = np.where(side < 0.0, 1.0 / 3.0, 2.0 / 3.0)
    return np.where(inner.sum(axis=-1) > 0.5 * partials, 0.5, end)


def measure_unison(
    modes: Modes,
    *,
    centre_hz: FloatArray,
    weight: FloatArray,
    far_cents: FloatArray,
    strings: NDArray[np.int64],
    prompt_hidden: bool,
) -> Unison:
    """Distance of the strings of every note.

    Parameters
    ----------
    modes : Modes, shape (notes, partials, modes)
    centre_hz, weight : shape (notes, partials); weight 0 leaves a partial out
    far_cents : shape (notes,), from `far_string`
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
    far = np.where(strings == 1, 0.0, far_cents)
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
