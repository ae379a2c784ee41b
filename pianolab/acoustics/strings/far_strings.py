"""Strings that went far off: their distance, and the mean pitch of a choir that is no choir any more.

Where a string lies some cents away, as on a slipping pin, every string sounds on its own: the modes are the strings.
The energy centroid then scatters from partial to partial with the blow's place; the frequencies themselves do not.

What else splits a partial, a line of the case or a string that rings along, does so in a few partials and not in the
others, or on the other side: a string is believed where the partials that show it outnumber those that could show it and do not.

Limits: needs two partials that show the same distance. Where the third string's mode doesn't show, which two are
together is told by energy, and the pitch is open by some hundredths of the distance.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from pianolab.acoustics.limits import limits
from pianolab.acoustics.strings.choirs import half_width_hz
from pianolab.acoustics.strings.modes import Modes
from pianolab.acoustics.strings.unison import BEAT_DB, FAR_CENTS, HEARD_DB, outermost_hz, weighted_median
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

BETWEEN, THIRD_SHARE = 0.02, 0.4
"""A mode farther than this from both outermost ones (share of their distance) is a third string, if so many partials show it."""
ENERGY_SHARE, HIDDEN_OPEN = 0.7, 0.06
"""How far the energy moves the mean to its side, and how open that leaves it (own calibration, wide model, plain and third)."""
THIRD_OPEN, LEAST_OPEN = 0.3, 0.006
"""How open the mean is, as a share of the third mode's scatter from partial to partial, and at least (the same)."""


@dataclass(frozen=True, kw_only=True)
class FarString:
    """Per note the distance in ``cents`` of a string that seems far off, 0 where none does, and whether it is ``proven``.

    ``sd_cents`` is how far the middle of the partials' distances may be off by what they differ among themselves.
    """

    cents: FloatArray
    sd_cents: FloatArray
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
    seem = [_Seen(0.0, 0, 0.0, 0.0)] * len(key)
    for i, p in np.argwhere(high_cents[:, :LOWEST] - low_cents[:, :LOWEST] > FAR_CENTS):
        far, middle = high_cents[i, p] - low_cents[i, p], 0.5 * (high_cents[i, p] + low_cents[i, p])
        apart = _apart_there(places[i], far=far, middle=middle)
        shown = able[i] & ~np.isnan(apart)
        could = shown | (able[i] & (abs(middle) + 0.5 * far <= reach_cents[i]))
        if shown[:LOWEST].sum() >= least_partials:
            showing, middle_one = int(shown.sum()), float(np.median(apart[shown]))
            differ = 1.25 * 1.4826 * float(np.median(np.abs(apart[shown] - middle_one)))
            share, sd_cents = showing / could.sum(), differ / float(np.sqrt(showing))
            own = _Seen(middle_one, int(2 * showing - could.sum()), share, sd_cents)
            seem[i] = _better(seem[i], own, proven_by=int(lim["outnumber_by"]))
    cents = np.array([s.cents if s.share >= lim["no_string_share"] else 0.0 for s in seem])
    proven = np.array([s.outnumbers_by >= lim["outnumber_by"] for s in seem], dtype=bool)
    return FarString(cents=cents, sd_cents=np.array([s.sd_cents for s in seem]), proven=(cents > 0) & proven)


class _Seen(NamedTuple):
    """A distance, by how many the partials that show it outnumber those that do not, their share, and how sure it is."""

    cents: float
    outnumbers_by: int
    share: float
    sd_cents: float


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


class MeanOfStrings(NamedTuple):
    """Mean of far strings: ``hz`` in each partial, NaN where no two are seen; which share of their distance it may be off."""

    hz: FloatArray
    open_share: FloatArray


def mean_of_far_strings(
    modes: Modes,
    *,
    centre_hz: FloatArray,
    weight: FloatArray,
    far_cents: FloatArray,
    strings: NDArray[np.int64],
) -> MeanOfStrings:
    """Pitch of each partial where strings lie so far apart that each is a mode of its own.

    A third mode between the outermost is the third string: then the mean of the three is known, whatever the blow gave to
    each of them. Where none shows, two strings have their mean midway; of three, two lie together at one end, and the
    energy centroid, which each partial's blow scatters, says which.

    Parameters
    ----------
    modes : Modes, shape (notes, partials, modes)
    centre_hz, weight : shape (notes, partials); weight 0 where not heard
    far_cents : shape (notes,), from `far_string`
    strings : shape (notes,), how many the keys are taken to have

    Returns
    -------
    MeanOfStrings
        shapes (notes, partials) and (notes,)
    """
    low, high, count = outermost_hz(modes, within_db=BEAT_DB)
    apart = CENTS_PER_NEPER * (high - low) / centre_hz
    alike = np.abs(apart - far_cents[:, None]) < 0.2 * far_cents[:, None]
    seen = (weight > 0) & (count > 1) & alike & (far_cents[:, None] > 0)
    at, open_share = _place_of_mean(modes, low, high, seen, several=strings > 2)
    return MeanOfStrings(np.where(seen, low + at[:, None] * (high - low), np.nan), open_share)


def _place_of_mean(
    modes: Modes, low: FloatArray, high: FloatArray, seen: NDArray[np.bool_], *, several: NDArray[np.bool_]
) -> tuple[FloatArray, FloatArray]:
    """Where between the outermost strings the mean of all lies, 1/3 to 2/3, and how far it may lie beside that."""
    width = np.where(seen, high - low, 1.0)
    strongest = modes.energy.max(axis=-1, keepdims=True)
    strong = (modes.energy > strongest * 10.0 ** (-BEAT_DB / 10.0)) & (modes.energy > 0) & seen[..., None]
    place = (np.nan_to_num(modes.f_hz) - np.nan_to_num(low)[..., None]) / width[..., None]
    between = strong & (place > BETWEEN) & (place < 1.0 - BETWEEN)
    partials = np.maximum(seen.sum(axis=-1), 1)
    third = between.any(axis=-1).sum(axis=-1) > THIRD_SHARE * partials
    flat, shown = place.reshape(len(place), -1), between.reshape(len(place), -1).astype(float)
    middle = weighted_median(flat, shown)
    scatter = 1.4826 * weighted_median(np.abs(flat - middle[:, None]), shown)
    heavy = np.where(seen, (modes.centroid_hz - low) / width - 0.5, 0.0).sum(axis=-1) / partials
    end = np.where(several, 0.5 + np.clip(ENERGY_SHARE * heavy, -1.0 / 6.0, 1.0 / 6.0), 0.5)
    hidden_open = np.where(several, HIDDEN_OPEN, 0.0)
    return (
        np.where(third, (1.0 + middle) / 3.0, end),
        np.hypot(LEAST_OPEN, np.where(third, THIRD_OPEN * scatter, hidden_open)),
    )
