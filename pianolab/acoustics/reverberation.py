"""How long the room rings, heard in the falls after damped notes, and what of those falls is the damper's own.

The room's reverberation time comes from the faster falls, which the dampers hardly slow down [kendrick2007], in the two
octaves whose mean is its single figure [iso3382]. A damper that stops the string no slower than the room falls can't be
seen: its time is only an upper bound (``<``). From a slower one the room is taken out.

Limits: if every damper is slow the time comes out too long; a time as short as dampers take is an upper bound, and said
to be. On modelled pianos of two kinds it is within some 5 % at home and 10 % in a hall.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pianolab.acoustics.damper import Fall, Release, fall_after
from pianolab.acoustics.levels import NoteLevel
from pianolab.acoustics.limits import limits
from pianolab.units import FloatArray

DAMPERS = "at most: the dampers themselves may fall like this"
APART = "the falls after the dampers don't agree on one reverberation time"
LONG_ROOM_S, SHORT_ROOM_S = 0.7, 0.34
"""Rooms that ring longer hide dampers and the strings' prompt modes; shorter ones are hidden by the dampers."""
AGREE = 2.0
"""Falls whose quartiles lie further apart than this ratio don't agree on one reverberation time."""


def room_t60(
    levels: list[NoteLevel],
    release: Release,
    key: NDArray[np.int64],
    *,
    interval_s: FloatArray,
) -> tuple[float, str]:
    """Reverberation time heard in the recording, s, and the reason where there is none.

    From the falls of the octaves about 500 and 1000 Hz after damped notes from key 28 up, where dampers stop the string
    within a tenth of a second or two. Some dampers are slower than the room and single lines beat, so the time is the one
    that nearly two fifths of the falls don't exceed, or nearly half in a long room: on modelled pianos of two kinds that
    is the room's own.
    """
    chosen = (key >= 28) & (key <= limits()["damper"]["last_surely_damped"]) & ~np.isnan(release.hold_s)
    falls = [
        fall_after(levels[i].middle, release_s=float(release.hold_s[i]), stop_s=float(interval_s[i]) - 0.02)
        for i in np.flatnonzero(chosen)
    ]
    slopes = np.array([f.slope_db_per_s for f in falls])
    usable = slopes[~np.isnan(slopes) & (slopes > 5.0)]
    if len(usable) < 5:
        return float("nan"), "too few dampers heard to tell the room's own ringing"
    t60_s = float(60.0 / np.percentile(usable, 62))
    if t60_s > LONG_ROOM_S:
        return float(60.0 / np.percentile(usable, 52)), ""
    if t60_s >= SHORT_ROOM_S and np.percentile(usable, 75) > AGREE * np.percentile(usable, 25):
        return t60_s, APART
    return t60_s, "" if t60_s >= SHORT_ROOM_S else DAMPERS


def proven_t60(t60_s: float, why: str) -> tuple[float, str]:
    """The reverberation time where a room is proven, else NaN and what is known of it.

    Examples
    --------
    >>> proven_t60(0.45, "")
    (0.45, '')
    >>> proven_t60(0.28, DAMPERS)
    (nan, 'no room told from the dampers: a reverberation time of at most 0.28 s')
    """
    if why == DAMPERS:
        return float("nan"), f"no room told from the dampers: a reverberation time of at most {t60_s:.2f} s"
    return (float("nan") if why else t60_s), why


def believed_t60_s(t60_s: float, why: str) -> float:
    """The reverberation time to reckon with, s: falls slower than dampers' show a room though they may not agree on its
    time; NaN where dampers alone would do.

    Examples
    --------
    >>> believed_t60_s(0.8, APART), believed_t60_s(0.28, DAMPERS)
    (0.8, nan)
    """
    return float("nan") if why == DAMPERS else t60_s


def judge_room(fall: Fall, *, t60_s: float) -> Fall:
    """The same fall, with ``<`` where the room's own decay hides the damper, and the room taken out where it does not."""
    if fall.bound != "=" or np.isnan(t60_s):
        return fall
    if fall.release_20_s > 1.4 * t60_s / 3.0:
        return replace(fall, release_20_s=_without_room(fall.release_20_s, t60_s=t60_s))
    return replace(fall, bound="<")


def _without_room(time_s: float, *, t60_s: float) -> float:
    """Time to fall 20 dB of a sound that is heard half directly and half through a room, from the time that is heard.

    An exponential fall of rate a, smoothed by a room of rate b > a, is (b exp(-a t) - a exp(-b t)) / (b - a).
    """
    room = np.log(1e6) / t60_s
    rate = np.log(100.0) / time_s
    for _ in range(12):
        gap = room - min(rate, 0.98 * room)
        smooth = (room - min(rate, 0.98 * room) * np.exp(-gap * time_s)) / gap
        rate = np.log(50.0 * (1.0 + smooth)) / time_s
    return float(np.log(100.0) / rate)
