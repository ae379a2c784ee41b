"""Strings that went far off: their distance, and the mean pitch of a choir that is no choir any more.

Where a string lies some cents away, as on a slipping pin, every string sounds on its own: the modes are the strings.
The energy centroid then scatters from partial to partial with the blow's place; the frequencies themselves do not.

Limits: needs two partials that show the same distance. Which two of three strings are the pair is told by energy and
by close modes; a wrong choice moves the pitch by a third of the distance.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pianolab.acoustics.modes import Modes
from pianolab.acoustics.unison import BEAT_DB, FAR_CENTS, outermost_hz
from pianolab.units import CENTS_PER_NEPER, FloatArray


def far_string(
    modes: Modes, *, centre_hz: FloatArray, weight: FloatArray, least_partials: int = 2
) -> FloatArray:
    """Distance of a string that went far off, from the partials whose band still holds it; 0 where none did.

    At least ``least_partials`` of the lowest five must agree to a tenth; one alone, as at the top, proves nothing, and
    where a room rings as long as the strings even two may be the room's.

    Parameters
    ----------
    modes : Modes, shape (notes, partials, modes)
    centre_hz, weight : shape (notes, partials); weight 0 where not heard

    Returns
    -------
    ndarray, shape (notes,), cents
    """
    low, high, count = outermost_hz(modes, within_db=BEAT_DB)
    cents = np.where((weight > 0) & (count > 1), CENTS_PER_NEPER * (high - low) / centre_hz, np.nan)
    out = np.zeros(len(cents))
    for i in range(len(cents)):
        far = cents[i, :5][cents[i, :5] > FAR_CENTS]
        alike = np.abs(far[:, None] - far) < 0.1 * far
        if len(far) and alike.sum(axis=0).max() >= least_partials:
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
    low, high, count = outermost_hz(modes, within_db=BEAT_DB)
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
