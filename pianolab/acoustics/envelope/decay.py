"""How long a note lasts: time to fall 20 dB, the prompt and the late decay.

The time to fall 20 dB counts from the level's maximum after the hammer to the last time it passes -20 dB, since
the early part carries the quality of the sound [wogram1990]. A note let go, or drowned in noise, before that
gives a lower bound.

Mistuning changes that time without any change in strings, bridge or soundboard. What it hardly changes is the
mean decay of the modes weighted by their energy: the sum of the eigenvalues is fixed by losses and coupling
alone. `string_decay` gives it; a note counts as short only where both agree.

A string choir's level falls fast, then slowly [weinreich1977]. The late fall is that of the modes themselves, added up
without their beating, over the second half of the hold: a room changes how loud a mode is heard, not how fast it dies.
It is told only where that half is straight, flatter than the beginning, and over the noise. Against the modes of our
modelled pianos it is 7 to 13 % off at home (median of three pianos) and some 20 % in a hall, own measurement; a straight
line through the level itself takes slow beats for decay and is easily off by half.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from pianolab.acoustics.envelope.levels import NoteLevel
from pianolab.acoustics.limits import limits
from pianolab.acoustics.strings.modes import Modes
from pianolab.acoustics.strings.unison import weighted_median
from pianolab.units import FloatArray, rate_to_db_per_s

LEAST_HELD_S = 1.0
TOP_WITHIN_S = 0.6
FRAMES_SD_S = 0.001
RELEASED_S = 0.1
"""The moment of the release is known to about this."""
SMOOTH, BLINK, LATE = 10, 10, 40
RISING_DB = 3.0
JUMP_S, CLEAR_OF_NOISE_DB = 0.05, 12.0
TOP_NEAR_S = 0.1
LEVEL_OFF_SDS = stdtrit(4.0, np.arange(0.5, 60.0) / 60.0) / stdtrit(4.0, 0.841)
"""How far a level is off over its sd, evenly in probability: Student's distribution of 4, since errors have heavy tails."""
DRY_SD_DB = 0.08
"""Uncertainty of the level 20 dB down against that at the blow where no room is heard."""
STRAIGHT_SHARE, FLATTER_SHARE = 0.3, 0.75
"""How much the two quarters of the late fall may differ, and how much flatter than the beginning it must be."""


@dataclass(frozen=True)
class NoteDecay:
    """``decay_20_s`` with its bound (``=``, ``>`` or ``<``) and its uncertainty ``sd_s``, early and late decay in dB/s,
    reasons where missing. The late decay is filled in by `late_decay`."""

    decay_20_s: float
    bound: str
    early_db_per_s: float
    late_db_per_s: float = np.nan
    sd_s: float = np.nan
    why_no_decay: str = ""
    why_no_early: str = ""
    why_no_late: str = ""


def note_decay(
    level: NoteLevel,
    *,
    usable_s: float,
    level_sd_db: float = DRY_SD_DB,
    room_s: float = 0.0,
    own: NoteLevel | None = None,
) -> NoteDecay:
    """Decay of one note.

    Parameters
    ----------
    level : NoteLevel, time counted from the blow
    usable_s : s after the blow up to which the key was surely held
    level_sd_db : dB, how far the level 20 dB down may be off against the level at the blow
    room_s : s, up to which a fall may be the room's own; 0 where no room was proven
    own : the level near the note's partials alone, where there is one: what does not jump there is another sound

    Returns
    -------
    NoteDecay
    """
    t = level.time_s
    broken_s = broken_into_s(level, own)
    held = (t >= -0.03) & (t <= min(usable_s, broken_s))
    if held.sum() < 8:
        why = "held too short"
        return NoteDecay(np.nan, "", np.nan, why_no_decay=why, why_no_early=why)
    t, db = t[held], level.level_db[held]
    top = int(np.argmax(np.where(t <= TOP_WITHIN_S, db, -np.inf)))
    t_top_s = float(t[top])
    t, db = t[top:] - t[top], db[top:]
    lim = limits()["decay"]
    fall_db = lim["fall_db"]
    early, why_early = _early_slope(t, db)
    found = NoteDecay(np.nan, ">", early, why_no_early=why_early)
    surely_db = fall_db - lim["surely_sds"] * level_sd_db
    surely_s = min(float(passings_s(t, db, fall_db=np.array([surely_db]))[0]), float(t[-1]))
    if level.floor_db + 6.0 > db[0] - fall_db:
        return replace(found, decay_20_s=min(_heard_s(level, t, held, top), surely_s))
    time_s = last_passing_s(t, db, fall_db=fall_db)
    if np.isnan(time_s) or _comes_back(db, fall_db):
        return replace(found, decay_20_s=surely_s)
    if broken_s >= usable_s and time_s > t[-1] - RELEASED_S:
        # So late it may be the fall after the key was let go that passes -20 dB.
        return replace(found, decay_20_s=max(min(float(t[-1]) - RELEASED_S, surely_s), 0.0))
    sd_db = float(np.hypot(level_sd_db, _noise_db(level, db[0] - fall_db)))
    top_sd_s = _top_sd_s(level, t_top_s)
    if _may_return(t, db, time_s, fall_db):
        top_sd_s = float(np.hypot(top_sd_s, lim["return_sd_share"] * time_s))
    if time_s <= room_s:
        return replace(
            found, decay_20_s=_at_most_s(t, db, time_s, fall_db + lim["at_most_sds"] * sd_db), bound="<"
        )
    return replace(
        found, decay_20_s=time_s, bound="=", sd_s=float(np.hypot(_sd_s(t, db, time_s, sd_db), top_sd_s))
    )


def _comes_back(db: FloatArray, fall_db: float) -> bool:
    """Whether the level is rising back to -20 dB when the key is let go: it beats, and would have passed it again."""
    if len(db) <= LATE:
        return False
    end, before = db[-BLINK:].mean(), db[-LATE : -LATE + BLINK].mean()
    return bool(end > before and end > db[0] - fall_db - RISING_DB)


def _may_return(t: FloatArray, db: FloatArray, time_s: float, fall_db: float) -> bool:
    """Whether a beat as deep as one before would have brought the level back over -20 dB soon after the key was let go."""
    before = db[: int(np.searchsorted(t, time_s))]
    if not len(before) or t[-1] - time_s > limits()["decay"]["return_within_s"]:
        return False
    dip_db = np.max(np.maximum.accumulate(before[::-1])[::-1] - before)
    return bool(dip_db > db[0] - fall_db - db[-BLINK:].max())


def last_passing_s(t: FloatArray, db: FloatArray, *, fall_db: float) -> float:
    """When a level passes ``fall_db`` under its first value for the last time, s; NaN where it does not within ``t``.

    Parameters
    ----------
    t, db : shape (moments,), s and dB, from the maximum on
    fall_db : dB

    Examples
    --------
    >>> t = np.arange(0.0, 3.0, 0.01)
    >>> round(last_passing_s(t, -10.0 * t, fall_db=20.0), 6)
    2.0
    """
    target = db[0] - fall_db
    last = int(np.flatnonzero(db >= target)[-1])
    if last >= len(t) - 2:
        return float("nan")
    share = (db[last] - target) / max(db[last] - db[last + 1], 1e-9)
    return float(t[last] + share * (t[last + 1] - t[last]) - t[0])


def broken_into_s(level: NoteLevel, own: NoteLevel | None = None) -> float:
    """No later than when another sound begins over a note that has fallen 20 dB, s after the blow; infinity where none does.

    A tick, a word or a knock jumps up from a level that was flat. A beat rises as steeply only out of a hole into which it
    fell as steeply; three strings don't keep to that, but their beat jumps near the note's partials (``own``) as it does in
    the whole sound, where other sounds are between them too.

    Examples
    --------
    >>> t = np.arange(0.0, 2.0, 0.005)
    >>> note, tick = 10.0 ** (-4.0 * t) * np.minimum(t / 0.03, 1.0), np.where(t > 1.2, 10.0 ** (-1.0 - 20.0 * (t - 1.2)), 0.0)
    >>> broken_into_s(NoteLevel(t, note, noise=1e-6)), round(broken_into_s(NoteLevel(t, note + tick, noise=1e-6)), 2)
    (inf, 1.16)
    """
    lim, t = limits()["decay"], level.time_s
    step = round(JUMP_S / float(np.median(np.diff(t)))) if len(t) > 1 else 0
    if not step or len(t) <= 2 * step:
        return np.inf
    db = np.maximum(level.level_db, level.floor_db)
    top = int(np.argmax(np.where(t <= TOP_WITHIN_S, db, -np.inf)))
    target = float(db[top]) - lim["fall_db"]
    before, now, after = db[: -2 * step], db[step:-step], db[2 * step :]
    fallen = np.minimum.accumulate(np.where(t > t[top], db, np.inf))[step:-step] < target
    least = max(target, level.floor_db + CLEAR_OF_NOISE_DB)
    jumps = (after - now > lim["jump_db"]) & (before - now < lim["jump_flat_db"]) & (after > least)
    if own is not None and len(own.time_s):
        near = np.interp(t, own.time_s, np.maximum(own.level_db, own.floor_db))
        jumps &= near[2 * step :] - near[step:-step] < lim["jump_own_share"] * (after - now)
    at = np.flatnonzero(fallen & jumps)
    return float(t[step + at[0]]) if len(at) else np.inf


def _heard_s(level: NoteLevel, t: FloatArray, held: NDArray[np.bool_], top: int) -> float:
    """Up to when a note that noise drowns too soon is surely heard, s: means of 50 ms over three times the noise."""
    power = level.power[held][top:]
    width = min(SMOOTH, len(power))  # of a note let go at once fewer moments are left than the mean is wide
    mean = np.convolve(power, np.full(width, 1.0 / width), mode="same")
    return float(t[np.flatnonzero(np.append(True, mean[1:] > 3.0 * level.noise))[-1]])


def _noise_db(level: NoteLevel, target_db: float) -> float:
    """What noise makes of a level of ``target_db``, dB, one standard deviation.

    What is taken off for it may be wrong by a quarter; and noise and note add by their phases, which leaves a share of
    twice the product of their powers in a window of 30 ms.
    """
    share = max(level.noise, 0.0) * 10.0 ** (-0.1 * target_db)
    lim = limits()["decay"]
    off = np.sqrt((lim["noise_unsure_share"] * share) ** 2 + lim["noise_phases_share"] * share)
    return float(10.0 * np.log10(1.0 + off))


def _top_sd_s(level: NoteLevel, top_s: float) -> float:
    """How unsure it is when the level is at its highest: the spread of the moments about then that are as high, s."""
    near = np.abs(level.time_s - top_s) < TOP_NEAR_S
    high = near & (level.level_db >= level.level_db[near].max() - DRY_SD_DB)
    return float(np.std(level.time_s[high]))


def _sd_s(t: FloatArray, db: FloatArray, time_s: float, sd_db: float) -> float:
    """How far the time moves if the level 20 dB down is off as much as it may be, and by the frames.

    A level that stays near -20 dB for long, or whose next beat comes near it, moves the time far, and never evenly to
    both sides: so the sd is what two thirds of the moves stay within, or half of what 19 in 20 do, if that is more.
    """
    fall_db = limits()["decay"]["fall_db"]
    moved = np.abs(passings_s(t, db, fall_db=fall_db + sd_db * LEVEL_OFF_SDS) - time_s)
    within, far = np.quantile(moved, [0.683, 0.954])
    return float(np.hypot(max(within, 0.5 * far), FRAMES_SD_S))


def passings_s(t: FloatArray, db: FloatArray, *, fall_db: FloatArray) -> FloatArray:
    """When a level passes each of ``fall_db`` under its first value for the last time, s.

    What isn't seen within ``t`` is taken to come at the rate so far.

    Examples
    --------
    >>> t = np.arange(0.0, 3.0, 0.01)
    >>> passings_s(t, -10.0 * t, fall_db=np.array([20.0, 60.0])).round(6)
    array([2., 6.])
    """
    stays = np.maximum.accumulate(db[::-1])[::-1] - db[0]
    last = np.searchsorted(-stays, fall_db, side="right") - 1
    after = np.minimum(last + 1, len(t) - 1)
    share = (stays[last] + fall_db) / np.maximum(stays[last] - stays[after], 1e-9)
    seen = t[last] + share * (t[after] - t[last]) - t[0]
    so_far = (t[-1] - t[0]) * fall_db / max(-float(stays[-1]), 1e-3)
    return np.where(last < len(t) - 1, seen, so_far)


def _at_most_s(t: FloatArray, db: FloatArray, time_s: float, fall_db: float) -> float:
    """An upper bound: when the level has fallen further by what it may be off; at the rate so far where that isn't seen."""
    later = last_passing_s(t, db, fall_db=fall_db)
    return time_s * fall_db / limits()["decay"]["fall_db"] if np.isnan(later) else later


def _line(t: FloatArray, db: FloatArray) -> float:
    return float(np.polyfit(t, db, 1)[0])


def _early_slope(t: FloatArray, db: FloatArray) -> tuple[float, str]:
    """Slope from the maximum down to -10 dB, at least 60 ms and at most 1.5 s."""
    under = np.flatnonzero(db < db[0] - 10.0)
    stop = int(under[0]) if len(under) else len(t)
    stop = max(stop, int(np.searchsorted(t - t[0], 0.06)))
    stop = min(stop, int(np.searchsorted(t - t[0], 1.5)))
    if stop < 6:
        return np.nan, "sound too short"
    slope = -_line(t[:stop], db[:stop])
    return (slope, "") if slope > 0 else (np.nan, "level rises after the blow (beating)")


def late_decay(
    modes: Modes, decays: list[NoteDecay], levels: list[NoteLevel], *, weight: FloatArray, held_s: FloatArray
) -> list[NoteDecay]:
    """The same decays with their late fall in dB/s, or the reason why it can't be seen.

    Parameters
    ----------
    modes : Modes, shape (notes, partials, modes)
    decays, levels : one per note
    weight : shape (notes, partials); weight 0 leaves a partial out
    held_s : shape (notes,), s after the blow up to which the key was surely held
    """
    third, last, whole = (
        _fall_db_per_s(modes, weight, held_s, begin=begin, end=end)
        for begin, end in ((0.5, 0.75), (0.75, 1.0), (0.5, 1.0))
    )
    out = []
    for i, (decay, level) in enumerate(zip(decays, levels, strict=True)):
        why = ""
        near_end = (level.time_s > 0.9 * held_s[i]) & (level.time_s <= held_s[i])
        if held_s[i] < LEAST_HELD_S or not near_end.any():
            why = "sound ends too soon"
        elif float(np.median(level.level_db[near_end])) < level.floor_db + 9.0:
            why = "noise too near"
        elif np.isnan(whole[i]) or whole[i] <= 0.0:
            why = "no modes of the strings heard"
        elif abs(third[i] - last[i]) > STRAIGHT_SHARE * whole[i]:
            why = "the fall still bends within the hold"
        elif whole[i] > FLATTER_SHARE * decay.early_db_per_s:
            why = "no second stage within the hold"
        value = np.nan if why else float(whole[i])
        out.append(
            replace(decay, late_db_per_s=value, why_no_late=why and f"late decay not observable: {why}")
        )
    return out


def _fall_db_per_s(
    modes: Modes, weight: FloatArray, held_s: FloatArray, *, begin: float, end: float
) -> FloatArray:
    """Mean fall of the modes' summed energy between two shares of the hold, dB/s; NaN where no mode is known."""
    known = ~np.isnan(modes.decay_per_s) & (weight[..., None] > 0)
    rate = np.where(known, np.nan_to_num(modes.decay_per_s), 0.0)
    energy = np.where(known, np.sum(np.abs(modes.amplitude) ** 2, axis=-2), 0.0)
    left = [
        np.sum(energy * np.exp(-2.0 * rate * (share * held_s)[:, None, None]), axis=(1, 2))
        for share in (begin, end)
    ]
    heard = known.any(axis=(1, 2)) & (left[1] > 0)
    ratio = np.where(heard, left[0], 1.0) / np.where(heard, left[1], 1.0)
    return np.where(heard, 10.0 * np.log10(ratio) / ((end - begin) * np.maximum(held_s, 1e-3)), np.nan)


def string_decay(modes: Modes, *, weight: FloatArray, partials: int = 8) -> FloatArray:
    """Energy-weighted mean decay of the strings' modes in dB/s, hardly changed by how well they are tuned.

    Parameters
    ----------
    modes : Modes, shape (notes, partials, modes)
    weight : shape (notes, partials); weight 0 leaves a partial out
    partials : how many of the lowest are taken

    Returns
    -------
    ndarray, shape (notes,), dB/s, positive; NaN where no mode was found
    """
    mean = modes.mean_decay_per_s[:, :partials]
    rate = np.where(mean > 0, rate_to_db_per_s(np.nan_to_num(mean)), np.nan)
    strength = np.sum(np.abs(modes.amplitude[:, :partials]) ** 2, axis=(-1, -2)) ** 0.25
    return weighted_median(rate, np.where(weight[:, :partials] > 0, np.maximum(strength, 1e-12), 0.0))
