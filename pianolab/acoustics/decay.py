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

from pianolab.acoustics.levels import NoteLevel
from pianolab.acoustics.limits import limits
from pianolab.acoustics.modes import Modes
from pianolab.acoustics.unison import weighted_median
from pianolab.units import FloatArray, rate_to_db_per_s

LEAST_HELD_S = 1.0
TOP_WITHIN_S = 0.6
STRAIGHT_SHARE, FLATTER_SHARE = 0.3, 0.75
"""How much the two quarters of the late fall may differ, and how much flatter than the beginning it must be."""


@dataclass(frozen=True)
class NoteDecay:
    """``decay_20_s`` with its bound (``=`` or ``>``), early and late decay in dB/s, reasons where missing.

    The late decay is filled in by `late_decay`, ``sd_s``, the uncertainty of the time, by `through_room.without_room`.
    ``s_per_db`` is how far an error of the level at the start would move the time."""

    decay_20_s: float
    bound: str
    early_db_per_s: float
    late_db_per_s: float = np.nan
    s_per_db: float = np.nan
    sd_s: float = np.nan
    why_no_decay: str = ""
    why_no_early: str = ""
    why_no_late: str = ""


def note_decay(level: NoteLevel, *, usable_s: float) -> NoteDecay:
    """Decay of one note.

    Parameters
    ----------
    level : NoteLevel, time counted from the blow
    usable_s : s after the blow up to which the key was surely held

    Returns
    -------
    NoteDecay
    """
    t = level.time_s
    held = (t >= -0.03) & (t <= usable_s)
    if held.sum() < 8:
        why = "held too short"
        return NoteDecay(np.nan, "", np.nan, why_no_decay=why, why_no_early=why)
    t, db = t[held], level.level_db[held]
    top = int(np.argmax(np.where(t <= TOP_WITHIN_S, db, -np.inf)))
    fall = limits()["decay"]["fall_db"]
    target = db[top] - fall
    drowned = level.floor_db + 6.0 > target
    early, why_early = _early_slope(t[top:], db[top:])
    if drowned:
        audible = np.flatnonzero(db[top:] >= level.floor_db + 9.0) + top
        seen = t[int(audible[-1])] - t[top] if len(audible) else 0.0
        return NoteDecay(float(seen), ">", early, why_no_early=why_early)
    time_s, s_per_db = time_to_fall(t, db)
    if np.isnan(time_s):
        return NoteDecay(float(t[-1] - t[top]), ">", early, why_no_early=why_early)
    return NoteDecay(time_s, "=", early, s_per_db=s_per_db, why_no_early=why_early)


def time_to_fall(t: FloatArray, db: FloatArray) -> tuple[float, float]:
    """Time from a level's maximum to its last passing of -20 dB, s, and how far that moves, s per dB of level.

    Parameters
    ----------
    t, db : shape (moments,), s and dB; the maximum is looked for up to `TOP_WITHIN_S`

    Returns
    -------
    time, s per dB : NaN where the level has not fallen so far by the end
    """
    top = int(np.argmax(np.where(t <= TOP_WITHIN_S, db, -np.inf)))
    target = db[top] - limits()["decay"]["fall_db"]
    last = top + int(np.flatnonzero(db[top:] >= target)[-1])
    if last >= len(t) - 2:
        return np.nan, np.nan
    share = (db[last] - target) / max(db[last] - db[last + 1], 1e-9)
    time_s = t[last] + share * (t[last + 1] - t[last]) - t[top]
    return float(time_s), _s_per_db(t, db, target)


def _s_per_db(t: FloatArray, db: FloatArray, target: float) -> float:
    """Seconds per dB where the level passes the target: between its last passings of 2 dB above and below."""
    above, below = np.flatnonzero(db >= target + 2.0), np.flatnonzero(db >= target - 2.0)
    if len(above) == 0 or below[-1] <= above[-1]:
        return np.nan
    return float((t[below[-1]] - t[above[-1]]) / 4.0)


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
