"""How long the room rings, and what that does to the times of dampers and notes that are heard in it.

The reverberation time (`room_t60`) comes from the faster falls after damped notes, which the dampers hardly slow down
[kendrick2007], in the two octaves whose mean is its single figure [iso3382]. If every damper is slow it comes out too long;
a time as short as dampers take is an upper bound, and said to be. On modelled pianos of two kinds it is within some 5 % at
home and 10 % in a hall.

A damper (`judge_room`) that stops the string no slower than the room falls can't be seen: its time is only an upper bound
(``<``). From a slower one the room is taken out.

From a note's time to fall 20 dB nothing is taken out (`level_sd_db`, `room_hides_s`). A room makes one partial louder and
the next one weaker by some 5 dB, each at random, and goes on ringing itself. Which partial it favoured can't be told from
the recording: pianos whose spectra are smooth over the keys would show it, real ones are not. The level 20 dB down may be
off against the level at the blow by an amount that was measured on modelled pianos of two kinds and on real notes, in rooms
of known response; it is the same for all three to a quarter of its size, smaller in the bass where many partials share it,
and larger in longer rooms. The time gets the uncertainty that follows from its own level curve. A fall that is hardly
slower than the room's own is an upper bound.

That there is a room is believed where the falls after damped notes are slower than dampers would make them, and reckoned
with where that stays open (`believed_t60_s`); the time is told where they agree. Elsewhere the sound counts as it is: a
room that rings less than a quarter of a second can't be told from dampers, and still moves times by a tenth.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pianolab.acoustics.envelope.damper import Fall, Release, fall_after
from pianolab.acoustics.envelope.decay import DRY_SD_DB
from pianolab.acoustics.envelope.levels import NoteLevel
from pianolab.acoustics.limits import limits
from pianolab.units import FloatArray

DAMPERS = "at most: the dampers themselves may fall like this"
EITHER = "at most: slow dampers and a short room fall like this"
APART = "the falls after the dampers don't agree on one reverberation time"
TOO_FEW = "too few dampers heard to tell the room's own ringing"
LEAST_DB_PER_S = 5.0
LONG_ROOM_S, SHORT_ROOM_S = 0.7, 0.34
"""Rooms that ring longer hide dampers and the strings' prompt modes; shorter ones are hidden by the dampers."""
USUALLY, IN_LONG_ROOM = 62, 52
"""Which percentile of the falls is the room's."""
MEDIAN_SD, QUARTERS_SDS = 1.2533, 1.349
"""Of normal data: sd of a median over that of a mean, and the quarters' distance in sd."""
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

    Dampers may be as slow as a furnished room is short. But felt stops high partials much sooner than low ones, and a
    room rings nearly as long an octave higher: where the falls about 2000 Hz are quick, they are the dampers'. Where
    noise leaves too little of the falls, what is seen of them says whether there is a room, not how long it rings.
    """
    lim = limits()["reverberation"]
    middle = _falls(levels, release, key, interval_s=interval_s, band="middle")
    usable = _slopes(middle)
    if len(usable) < lim["least_falls"]:
        return _from_little(np.array([f.likely_s for f in middle]))
    t60_s = float(60.0 / np.percentile(usable, USUALLY))
    high = _slopes(_falls(levels, release, key, interval_s=interval_s, band="high"))
    if len(high) >= lim["least_falls"]:
        high_s = float(60.0 / np.median(high))
        if high_s < lim["short_high_s"]:
            return _at_most(min(t60_s, high_s))
        t60_s = high_s if t60_s < SHORT_ROOM_S else t60_s
    elif t60_s < SHORT_ROOM_S:
        return _at_most(t60_s)
    if t60_s > LONG_ROOM_S:
        return float(60.0 / np.percentile(usable, IN_LONG_ROOM)), ""
    apart = np.percentile(usable, 75) > AGREE * np.percentile(usable, 25)
    return t60_s, APART if apart else ""


def _falls(
    levels: list[NoteLevel], release: Release, key: NDArray[np.int64], *, interval_s: FloatArray, band: str
) -> list[Fall]:
    """What is heard in a band after each key that surely has a damper was let go."""
    surely = (key >= 28) & (key <= limits()["damper"]["last_surely_damped"]) & ~np.isnan(release.hold_s)
    bands = [(i, getattr(levels[i], band)) for i in np.flatnonzero(surely)]
    return [
        fall_after(v, release_s=float(release.hold_s[i]), stop_s=float(interval_s[i]) - 0.02)
        for i, v in bands
        if v is not None
    ]


def t60_sd_s(
    t60_s: float,
    levels: list[NoteLevel],
    release: Release,
    key: NDArray[np.int64],
    *,
    interval_s: FloatArray,
) -> float:
    """How far a reverberation time from `room_t60` may be off, s, one standard deviation; NaN where it tells none.

    The sampling error of a median, from the number of falls and how far their quarters lie apart: a note holds few
    lines, and each fades in a long room as chance has it. On ten modelled scales in rooms of 1.05 to 1.4 s it says 12 %
    in the mean, and the times are off by 12 % (root mean square, own measurement).
    """
    if np.isnan(t60_s):
        return float("nan")
    usable = _slopes(_falls(levels, release, key, interval_s=interval_s, band="middle"))
    if len(usable) < limits()["reverberation"]["least_falls"]:
        return float("nan")
    quarters = np.log(np.percentile(usable, [25, 75]))
    return float(t60_s * MEDIAN_SD * (quarters[1] - quarters[0]) / QUARTERS_SDS / np.sqrt(len(usable)))


def told_t60(t60_s: float, why: str, sd_s: float) -> tuple[float, str]:
    """A proven reverberation time with how far it may be off; where that is too far, no time and a reason that says so.

    Examples
    --------
    >>> told_t60(0.45, "", 0.02)
    (0.45, '± 0.02 s')
    >>> told_t60(1.6, "", 0.4)
    (nan, 'about 1.6 s, but only to ± 0.4 s: few dampers are heard, or they differ; clap to know it')
    """
    if np.isnan(t60_s) or np.isnan(sd_s):
        return t60_s, why
    if sd_s <= limits()["reverberation"]["told_share"] * t60_s:
        return t60_s, f"± {sd_s:.2f} s"
    vague = f"about {t60_s:.1f} s, but only to ± {sd_s:.1f} s"
    return float("nan"), f"{vague}: few dampers are heard, or they differ; clap to know it"


def _at_most(t60_s: float) -> tuple[float, str]:
    """A bound: quick falls are the dampers' own, from slower ones a dead room and slow dampers can't be told apart."""
    return t60_s, DAMPERS if t60_s < limits()["reverberation"]["surely_dampers_s"] else EITHER


def _slopes(falls: list[Fall]) -> FloatArray:
    """How fast they fall in dB/s, where enough of it is seen."""
    slopes = np.array([f.slope_db_per_s for f in falls])
    return np.asarray(slopes[slopes > LEAST_DB_PER_S])


def _from_little(likely_s: FloatArray) -> tuple[float, str]:
    """What is known of a room from falls that noise hides before they have shown much: that it rings, or that it can't."""
    lim, heard_s = limits()["reverberation"], likely_s[~np.isnan(likely_s)]
    if len(likely_s) < lim["least_falls"] or len(heard_s) < lim["least_parts"]:
        return float("nan"), TOO_FEW
    t60_s = float(3.0 * np.percentile(heard_s, 38))
    return t60_s, TOO_FEW if t60_s >= SHORT_ROOM_S else DAMPERS


def proven_t60(t60_s: float, why: str) -> tuple[float, str]:
    """The reverberation time where a room is proven, else NaN and what is known of it.

    Examples
    --------
    >>> proven_t60(0.45, "")
    (0.45, '')
    >>> proven_t60(0.28, DAMPERS)
    (nan, 'no room told from the dampers: a reverberation time of at most 0.28 s')
    """
    if why in (DAMPERS, EITHER):
        return float("nan"), f"no room told from the dampers: a reverberation time of at most {t60_s:.2f} s"
    return (float("nan") if why else t60_s), why


def believed_t60_s(t60_s: float, why: str) -> float:
    """The reverberation time to reckon with, s: falls slower than dampers' show a room though they may not agree on its
    time, and where slow dampers or a room may be heard, a room is; NaN where dampers alone would do.

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


USUAL_T60_S = 0.4
"""The room that the limits on what a room does to a level are given for."""


def level_sd_db(key: NDArray[np.int64], *, t60_s: float) -> FloatArray:
    """How far a room moves the level 20 dB down against that at the blow, dB, one standard deviation.

    Parameters
    ----------
    key : shape (notes,)
    t60_s : s; NaN where no room was proven

    Examples
    --------
    >>> level_sd_db(np.array([20, 60]), t60_s=np.nan).round(2)
    array([0.08, 0.08])
    >>> bool(np.all(np.diff(level_sd_db(np.array([10, 30, 70]), t60_s=0.4)) > 0))
    True
    """
    if np.isnan(t60_s):
        return np.full(len(key), DRY_SD_DB)
    lim = limits()["decay"]
    at_usual = np.interp(key, lim["room_sd_keys"], lim["room_sd_db"])
    return np.asarray(at_usual * (t60_s / USUAL_T60_S) ** lim["room_sd_power"])


def room_hides_s(t60_s: float) -> float:
    """Up to which time a fall of 20 dB may be the room's own, s; 0 where no room was proven."""
    if np.isnan(t60_s):
        return 0.0
    lim = limits()["decay"]
    return float(lim["room_hides_fall"] * (t60_s / USUAL_T60_S) ** lim["room_sd_power"] * t60_s / 3.0)
