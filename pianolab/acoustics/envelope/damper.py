"""When a key is let go, how fast its damper stops the string, and where dampers end.

At the release the level starts to fall much faster than before. The moment is looked for in each note and,
because a player lets go about the same time before every next blow, held against the other notes; a damper
that leaks shows no sharp moment and takes that of its neighbours. A room goes on falling after the damper has stopped
the string, so the moment is where the fall begins, not where it is steepest. The fall of 20 dB from there is measured;
where the room hides it, `reverberation` says so. Where dampers end is where most notes go on sounding:
a note that falls much less than this recording's damped notes do speaks against a damper.
With partial damping the fall has three parts [lehtonen2009]; only the first 20 dB are measured.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pianolab.acoustics.envelope.levels import NoteLevel
from pianolab.acoustics.limits import limits
from pianolab.keyboard import usually_damped
from pianolab.units import FloatArray

CLEAR_DROP_DB = 6.0
HEARD_OVER_DB, GOES_ON_DB = 15.0, 4.0
LIKE_A_DAMPER, LIKE_NONE = 0.6, 0.25
"""Shares of the fall that this instrument's dampers make: from the one a key speaks for a damper, under the other against."""
USUAL_OF_KEYS = 12
NEARLY, FALLING_S = 0.7, 0.3
LONE_SHARE = 1.5
"""Intervals this many times the usual one hold a key that did not sound."""


@dataclass(frozen=True)
class Release:
    """``hold_s`` per note (NaN where no release is heard), ``assumed_s`` (its neighbours' where not heard)."""

    hold_s: FloatArray
    assumed_s: FloatArray
    last_damped_key: int | None


@dataclass(frozen=True)
class Fall:
    """Fall after the release: time to -20 dB with its bound (``=``, ``<``, ``>``), and the late slope in dB/s.

    ``likely_s`` is that time, or what it would be if the fall went on as it was heard; NaN where too little was.
    """

    release_20_s: float
    bound: str
    slope_db_per_s: float
    why: str = ""
    likely_s: float = np.nan


def _drop(level: NoteLevel) -> tuple[FloatArray, FloatArray]:
    """How much more the level falls over the next 0.1 to 0.2 s than it fell before, at every moment."""
    t, db = level.time_s, np.maximum(level.level_db, level.floor_db)
    hop = float(np.median(np.diff(t)))
    near, far, past = round(0.10 / hop), round(0.20 / hop), round(0.06 / hop)
    before = np.lib.stride_tricks.sliding_window_view(np.pad(db, (past - 1, 0), mode="edge"), past).mean(
        axis=1
    )
    padded = np.pad(db, (0, far), mode="edge")
    after = np.lib.stride_tricks.sliding_window_view(padded[near:], far - near + 1).max(axis=1)[: len(db)]
    slope = np.zeros(len(db))
    back = round(0.25 / hop)
    slope[back:] = np.maximum((before[:-back] - before[back:]) / (back * hop), 0.0)
    return t, before - after - 0.15 * np.minimum(slope, 40.0)


def _steepest(level: NoteLevel, *, low_s: float, high_s: float) -> tuple[float, float]:
    t, drop = _drop(level)
    inside = (t >= low_s) & (t <= high_s)
    if not inside.any():
        return np.nan, 0.0
    # A fall goes on in a room: it began where it first was nearly as steep as at its steepest.
    steepest = int(np.argmax(np.where(inside, drop, -np.inf)))
    most = float(drop[steepest])
    nearly = inside & (drop >= NEARLY * most) & (t >= t[steepest] - FALLING_S)
    return float(t[np.flatnonzero(nearly)[0] if most > 0 else steepest]), most


def find_releases(levels: list[NoteLevel], *, key: NDArray[np.int64], interval_s: FloatArray) -> Release:
    """When each key was let go.

    Parameters
    ----------
    levels : a NoteLevel per note
    key : shape (notes,)
    interval_s : shape (notes,); s from this blow to the next sound (or to the end of the recording)

    Returns
    -------
    Release
    """
    # A key that stays silent knocks and thumps while the note before it is still being listened to.
    lone = interval_s > LONE_SHARE * np.median(interval_s)
    until_s = np.where(lone, np.median(interval_s), interval_s) - 0.06
    first = [_steepest(v, low_s=0.25, high_s=u) for v, u in zip(levels, until_s, strict=True)]
    hold, drop = np.array([f[0] for f in first]), np.array([f[1] for f in first])
    damped = np.array([usually_damped(int(k)) is not False for k in key])
    sure = damped & (drop >= CLEAR_DROP_DB) & (key < 65)
    if sure.sum() < 3:
        sure = damped & (drop >= CLEAR_DROP_DB)
    if not sure.any():
        return Release(np.full(len(key), np.nan), np.full(len(key), np.nan), None)
    gap, share = float(np.median((interval_s - hold)[sure])), float(np.median((hold / interval_s)[sure]))
    spread = max(1.4826 * float(np.median(np.abs((interval_s - hold)[sure] - gap))), 0.03)
    usual = np.minimum(np.maximum(interval_s - gap, 0.3 * interval_s), share * interval_s + 4 * spread + 0.1)
    # Before a key that stayed silent or was left out, a note is let go as early as any other.
    early = np.where(lone, np.minimum(usual, float(np.median(hold[sure]))), usual)
    out, size_db, reach = np.full(len(key), np.nan), np.zeros(len(key)), 4.0 * spread + 0.08
    for i in np.flatnonzero(damped):
        at, size = hold[i], drop[i]
        if not (min(abs(at - usual[i]), abs(at - early[i])) <= reach and size >= CLEAR_DROP_DB):
            near = [
                _steepest(levels[i], low_s=max(about - reach, 0.2), high_s=min(about + reach, interval_s[i]))
                for about in {float(usual[i]), float(early[i])}
            ]
            at, size = max(near, key=lambda found: found[1])
        if size >= CLEAR_DROP_DB:
            out[i] = at
        size_db[i] = size
    last_damped = _last_damped(
        levels, key, at_s=early, drop_db=np.where(damped, size_db, np.nan), found=~np.isnan(out)
    )
    if last_damped is not None:
        out[key > last_damped] = np.nan
    return Release(out, np.where(np.isnan(out), early, out), last_damped)


def _vote(level: NoteLevel, *, at_s: float, drop_db: float, usual_db: float) -> float:
    """How a note speaks for a damper: 1 where it falls as damped notes of this recording do, as far as noise lets it be
    seen; -1 where it is well heard and goes on; 0 where it can't be told. A beat makes a note fall, too, but not so far."""
    before = level.level_db[(level.time_s >= at_s - 0.1) & (level.time_s <= at_s)]
    over_db = float(np.median(before)) - level.floor_db if before.size else 0.0
    possible_db = min(usual_db, over_db)
    if drop_db >= max(CLEAR_DROP_DB, LIKE_A_DAMPER * possible_db):
        return 1.0
    goes_on = drop_db < max(GOES_ON_DB, LIKE_NONE * possible_db)
    return -1.0 if over_db > HEARD_OVER_DB and goes_on else 0.0


def _last_damped(
    levels: list[NoteLevel],
    key: NDArray[np.int64],
    *,
    at_s: FloatArray,
    drop_db: FloatArray,
    found: NDArray[np.bool_],
) -> int | None:
    """The key up to which most notes speak for dampers and above which most speak against."""
    if not found.any():
        return None
    surely = key < limits()["damper"]["may_end_from"]
    sure = np.flatnonzero(found & (key <= limits()["damper"]["last_surely_damped"]))[-USUAL_OF_KEYS:]
    usual_db = float(np.median(drop_db[sure])) if len(sure) else CLEAR_DROP_DB
    unsure, below = np.flatnonzero(~surely & ~np.isnan(drop_db)), key[found & surely]
    votes = [
        _vote(levels[i], at_s=float(at_s[i]), drop_db=float(drop_db[i]), usual_db=usual_db) for i in unsure
    ]
    balance = np.concatenate([[0.0], np.cumsum(votes)])
    best = int(np.argmax(balance))
    while best > 0 and not found[unsure[best - 1]]:
        best -= 1
    return int(key[unsure[best - 1]]) if best else int(below.max()) if below.size else None


def fall_after(level: NoteLevel, *, release_s: float, stop_s: float) -> Fall:
    """Fall of the level after the release, the room not yet judged."""
    t, db = level.time_s, level.level_db
    ref = db[(t >= release_s - 0.07) & (t <= release_s - 0.01)]
    if len(ref) == 0:
        return Fall(np.nan, "", np.nan, "released at once")
    start_db = float(10.0 * np.log10(np.mean(10.0 ** (ref / 10.0))))
    after = (t >= release_s - 0.01) & (t <= stop_s)
    t, db = t[after], db[after]
    target = start_db - 20.0
    floor = level.floor_db + 6.0
    under = np.flatnonzero(db <= target)
    slope = _late_fall(t, db, start_db=start_db, floor_db=floor)
    likely_s = _likely_s(t - release_s, start_db - db, room_db=start_db - floor)
    if target < floor:
        return Fall(np.nan, "", slope, "noise too near below the level at the release", likely_s)
    if len(under) == 0:
        if len(t) == 0:
            return Fall(np.nan, ">", slope, "next key too soon")
        return Fall(float(t[-1] - release_s), ">", slope, "", likely_s)
    i = int(under[0])
    if i == 0:
        return Fall(0.0, "<", slope, "", 0.0)
    share = (db[i - 1] - target) / max(db[i - 1] - db[i], 1e-9)
    time_s = float(max(t[i - 1] + share * (t[i] - t[i - 1]) - release_s, 0.0))
    return Fall(time_s, "=", slope, "", time_s)


LEAST_ROOM_DB = 8.0


def _likely_s(after_s: FloatArray, drop_db: FloatArray, *, room_db: float) -> float:
    """Time to fall 20 dB from the part of the fall that is heard: down to the noise or to the next key, s."""
    if len(after_s) < 20 or room_db < LEAST_ROOM_DB:
        return float("nan")
    depth = min(20.0, room_db)
    under = np.flatnonzero(drop_db >= depth)
    if len(under):
        return float(max(after_s[under[0]], 0.0) * 20.0 / depth)
    last = float(np.median(drop_db[-10:]))
    return float(after_s[-5] * 20.0 / max(last, 0.5))


def _late_fall(t: FloatArray, db: FloatArray, *, start_db: float, floor_db: float) -> float:
    """Slope in dB/s (positive) between 7 and 30 dB under the level at the release; NaN if too little is seen."""
    top, bottom = start_db - 7.0, max(start_db - 30.0, floor_db)
    below = np.flatnonzero(db <= top)
    if len(below) == 0 or top - bottom < 8.0:
        return np.nan
    first = int(below[0])
    out = np.flatnonzero(db[first:] <= bottom)
    last = first + (int(out[0]) if len(out) else len(db) - 1 - first)
    if last - first < 5 or db[first] - db[last] < 7.0:
        return np.nan
    return float(-np.polyfit(t[first : last + 1], db[first : last + 1], 1)[0])
