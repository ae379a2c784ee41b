"""Strings that went far off: their distance, and the mean pitch of a choir that is no choir any more.

Where a string lies some cents away, as on a slipping pin, every string sounds on its own: the modes are the strings.
The energy centroid then scatters from partial to partial with the blow's place; the frequencies themselves do not.

What else splits a partial, a line of the case or a string that rings along, does so in a few partials and not in the
others: a string is believed where the partials that show it outnumber those that could show it and do not.

Limits: needs two partials that show the same distance. Which two of three strings are the pair is told by energy and
by close modes; a wrong choice moves the pitch by a third of the distance.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pianolab.acoustics.choirs import half_width_hz
from pianolab.acoustics.limits import limits
from pianolab.acoustics.modes import Modes
from pianolab.acoustics.unison import BEAT_DB, FAR_CENTS, HEARD_DB, outermost_hz
from pianolab.units import CENTS_PER_NEPER, FloatArray

ALIKE_SHARE, ALIKE_CENTS = 0.15, 0.3
"""How far a partial's distance may lie from that of the others, share of it and cents: the bridge bends each a little."""
REACH_SHARE = 0.7
"""Of half a band: what lies farther from its middle is tapered away."""


@dataclass(frozen=True, kw_only=True)
class FarString:
    """Per note the distance in ``cents`` of a string that seems far off, 0 where none does, and whether it is ``proven``."""

    cents: FloatArray
    proven: NDArray[np.bool_]

    @property
    def proven_cents(self) -> FloatArray:
        """The distance where it is proven, else 0."""
        return np.asarray(np.where(self.proven, self.cents, 0.0))


def far_string(
    modes: Modes,
    *,
    centre_hz: FloatArray,
    weight: FloatArray,
    key: NDArray[np.int64],
    least_partials: int = 2,
) -> FarString:
    """Distance of a string that went far off, from the partials whose band still holds it; 0 where none did.

    At least ``least_partials`` of the lowest five must agree to a tenth; one alone, as at the top, proves nothing, and
    where a room rings as long as the strings even two may be the room's. But a string gives all its partials, and two
    lines of a case or of strings that ring along lie at one distance by chance: those partials that show the distance
    must outnumber those that could and do not. Where most do not, it is no string.

    Parameters
    ----------
    modes : Modes, shape (notes, partials, modes)
    centre_hz, weight : shape (notes, partials); weight 0 where not heard
    key : shape (notes,), which says how wide the band about each partial is

    Returns
    -------
    FarString, shape (notes,) each
    """
    lim = limits()["far_strings"]
    low, high, count = outermost_hz(modes, within_db=BEAT_DB)
    cents = np.where((weight > 0) & (count > 1), CENTS_PER_NEPER * (high - low) / centre_hz, np.nan)
    out = np.zeros(len(cents))
    for i in range(len(cents)):
        far = cents[i, :5][cents[i, :5] > FAR_CENTS]
        alike = np.abs(far[:, None] - far) < 0.1 * far
        if len(far) and alike.sum(axis=0).max() >= least_partials:
            out[i] = far[alike[:, int(np.argmax(alike.sum(axis=0)))]].mean()
    able = (weight > 0) & (modes.energy > 0).any(axis=-1)
    able &= out[:, None] * centre_hz / CENTS_PER_NEPER <= REACH_SHARE * half_width_hz(key)[:, None]
    shown = (able & _holds_distance(modes, centre_hz, out)).sum(axis=1)
    could = able.sum(axis=1)
    no_string = shown < lim["no_string_share"] * could
    return FarString(
        cents=np.where(no_string, 0.0, out),
        proven=(out > 0) & (2 * shown - could >= lim["outnumber_by"]),
    )


def _holds_distance(modes: Modes, centre_hz: FloatArray, far_cents: FloatArray) -> NDArray[np.bool_]:
    """Whether any two modes of a partial, soft ones too, lie so far apart, shape (notes, partials)."""
    strongest = modes.energy.max(axis=-1, keepdims=True)
    heard = (modes.energy > strongest * 10.0 ** (-HEARD_DB / 10.0)) & (modes.energy > 0)
    cents = np.where(heard, CENTS_PER_NEPER * modes.f_hz / centre_hz[..., None], np.nan)
    apart = np.abs(cents[..., :, None] - cents[..., None, :])
    far = far_cents[:, None, None, None]
    return np.asarray((np.abs(apart - far) < ALIKE_SHARE * far + ALIKE_CENTS).any(axis=(-1, -2)))


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
