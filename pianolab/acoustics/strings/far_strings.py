"""Strings that went far off: their distance, and the mean pitch of a choir that is no choir any more.

Where a string lies some cents away, as on a slipping pin, every string sounds on its own: the modes are the strings.
The energy centroid then scatters from partial to partial with the blow's place; the frequencies themselves do not.

What else splits a partial, a line of the case or a string that rings along, does so in a few partials and not in the
others, or on the other side: a string is believed where the partials that show it outnumber those that could show it and do not.

Limits: needs two partials that show the same distance. Which two of three strings are the pair is told by energy and
by close modes; a wrong choice moves the pitch by a third of the distance.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from pianolab.acoustics.limits import limits
from pianolab.acoustics.strings.choirs import half_width_hz
from pianolab.acoustics.strings.modes import Modes
from pianolab.acoustics.strings.unison import BEAT_DB, FAR_CENTS, HEARD_DB, outermost_hz
from pianolab.units import CENTS_PER_NEPER, FloatArray

LOWEST = 5
"""So many partials are asked for a distance; all of them speak for it or against."""
ALIKE_CENTS, ALIKE_SHARE, ALIKE_MOST_CENTS, ALIKE_LEAST_SHARE = 0.3, 0.15, 1.5, 0.02
"""How far a partial's distance may lie from another's, cents and share of it: the bridge bends each a little, and no more
where strings lie so far apart that it hardly joins them. The smaller of the two lines holds."""
SAME_SIDE = 0.5
"""Share of the distance by which its middle may move from partial to partial: the other side is a whole one away."""
REACH_SHARE = 0.6
"""Of half a band: what lies farther from its middle is tapered away (`modes.band_signals`)."""


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

    At least ``least_partials`` of the lowest five must show it on the same side; one alone, as at the top, proves
    nothing, and where a room rings as long as the strings even two may be the room's. But a string gives all its
    partials, and two lines of a case or of strings that ring along lie at one distance by chance: those partials that
    show the distance must outnumber those that could and do not. Where most do not, it is no string.

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
    seen = (weight > 0) & (count > 1)
    low_cents, high_cents = (
        np.where(seen, CENTS_PER_NEPER * np.log(np.where(seen, f, 1.0) / centre_hz), np.nan)
        for f in (low, high)
    )
    places = _places_cents(modes, centre_hz)
    able = (weight > 0) & (modes.energy > 0).any(axis=-1)
    reach_cents = REACH_SHARE * half_width_hz(key)[:, None] * CENTS_PER_NEPER / centre_hz
    seem = [_Seen(0.0, 0, 0.0)] * len(key)
    for i, p in np.argwhere(high_cents[:, :LOWEST] - low_cents[:, :LOWEST] > FAR_CENTS):
        far, middle = high_cents[i, p] - low_cents[i, p], 0.5 * (high_cents[i, p] + low_cents[i, p])
        apart = _apart_there(places[i], far=far, middle=middle)
        shown = able[i] & ~np.isnan(apart)
        could = shown | (able[i] & (abs(middle) + 0.5 * far <= reach_cents[i]))
        if shown[:LOWEST].sum() >= least_partials:
            own = _Seen(
                float(np.median(apart[shown])), int(2 * shown.sum() - could.sum()), shown.sum() / could.sum()
            )
            seem[i] = _better(seem[i], own, proven_by=int(lim["outnumber_by"]))
    cents = np.array([s.cents if s.share >= lim["no_string_share"] else 0.0 for s in seem])
    proven = np.array([s.outnumbers_by >= lim["outnumber_by"] for s in seem], dtype=bool)
    return FarString(cents=cents, proven=(cents > 0) & proven)


class _Seen(NamedTuple):
    """A distance, by how many the partials that show it outnumber those that do not, and their share."""

    cents: float
    outnumbers_by: int
    share: float


def _better(one: _Seen, other: _Seen, *, proven_by: int) -> _Seen:
    """The surer of two distances; of two that are proven the wider, as the outermost strings are meant."""
    both = one.outnumbers_by >= proven_by and other.outnumbers_by >= proven_by
    if both and abs(one.cents - other.cents) > ALIKE_SHARE * max(one.cents, other.cents):
        return max(one, other)
    if one.cents == 0.0:
        return other
    return max(one, other, key=lambda seen: seen.outnumbers_by)


def _places_cents(modes: Modes, centre_hz: FloatArray) -> FloatArray:
    """Where modes lie in their partial, soft ones too, cents from its place in the series; NaN where none is."""
    strongest = modes.energy.max(axis=-1, keepdims=True)
    heard = (modes.energy > strongest * 10.0 ** (-HEARD_DB / 10.0)) & (modes.energy > 0)
    ratio = np.where(heard, modes.f_hz / centre_hz[..., None], 1.0)
    return np.asarray(np.where(heard, CENTS_PER_NEPER * np.log(ratio), np.nan))


def _apart_there(places: FloatArray, *, far: float, middle: float) -> FloatArray:
    """Per partial the distance, cents, of the two modes that lie ``far`` apart, as near as may be, about the same
    place; NaN where no two do.

    A string lies on one side of the others in all its partials. The other side is a whole ``far`` away.
    """
    apart = places[:, None, :] - places[:, :, None]
    about = 0.5 * (places[:, None, :] + places[:, :, None])
    alike = np.minimum(ALIKE_CENTS + ALIKE_SHARE * far, ALIKE_MOST_CENTS + ALIKE_LEAST_SHARE * far)
    miss = np.where(np.abs(about - middle) < SAME_SIDE * far, np.abs(apart - far), np.inf)
    miss = np.nan_to_num(miss, nan=np.inf).reshape(len(places), -1)
    nearest = np.argmin(miss, axis=1)
    rows = np.arange(len(places))
    return np.asarray(
        np.where(miss[rows, nearest] < alike, apart.reshape(len(places), -1)[rows, nearest], np.nan)
    )


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
