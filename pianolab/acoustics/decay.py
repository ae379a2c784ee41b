"""How long a note lasts: time to fall 20 dB, the prompt and the late decay.

The time to fall 20 dB counts from the level's maximum after the hammer to the last time it passes -20 dB, since
the early part carries the quality of the sound [wogram1990]. A note let go, or drowned in noise, before that
gives a lower bound.

Mistuning changes that time without any change in strings, bridge or soundboard. What it hardly changes is the
mean decay of the modes weighted by their energy: the sum of the eigenvalues is fixed by losses and coupling
alone. `string_decay` gives it; a note counts as short only where both agree. A string choir's level falls fast, then slowly [weinreich1977]: two straight lines that
meet are fitted to the level, and the late one is reported only where it can be seen.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pianolab.acoustics.levels import NoteLevel
from pianolab.acoustics.limits import limits
from pianolab.acoustics.modes import Modes
from pianolab.acoustics.unison import weighted_median
from pianolab.units import FloatArray, rate_to_db_per_s


@dataclass(frozen=True)
class NoteDecay:
    """``decay_20_s`` with its bound (``=`` or ``>``), early and late decay in dB/s, reasons where missing.

    ``s_per_db`` is how far an error of the level at the start would move the time."""

    decay_20_s: float
    bound: str
    early_db_per_s: float
    late_db_per_s: float
    s_per_db: float = np.nan
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
        return NoteDecay(np.nan, "", np.nan, np.nan, np.nan, why, why, why)
    t, db = t[held], level.level_db[held]
    top = int(np.argmax(np.where(t <= 0.6, db, -np.inf)))
    fall = limits()["decay"]["fall_db"]
    target = db[top] - fall
    drowned = level.floor_db + 6.0 > target
    above = np.flatnonzero(db[top:] >= target) + top
    last = int(above[-1])
    early, why_early = _early_slope(t[top:], db[top:])
    late, why_late = _late_slope(t[top:], db[top:], floor_db=level.floor_db + 9.0)
    if drowned:
        audible = np.flatnonzero(db[top:] >= level.floor_db + 9.0) + top
        seen = t[int(audible[-1])] - t[top] if len(audible) else 0.0
        return NoteDecay(float(seen), ">", early, late, np.nan, "", why_early, why_late)
    if last >= len(t) - 2:
        return NoteDecay(float(t[-1] - t[top]), ">", early, late, np.nan, "", why_early, why_late)
    share = (db[last] - target) / max(db[last] - db[last + 1], 1e-9)
    time = t[last] + share * (t[last + 1] - t[last]) - t[top]
    return NoteDecay(float(time), "=", early, late, _s_per_db(t, db, target), "", why_early, why_late)


def _s_per_db(t: FloatArray, db: FloatArray, target: float) -> float:
    """Seconds per dB where the level passes the target: between its last passings of 2 dB above and below."""
    above, below = np.flatnonzero(db >= target + 2.0), np.flatnonzero(db >= target - 2.0)
    if len(above) == 0 or below[-1] <= above[-1]:
        return np.nan
    return float((t[below[-1]] - t[above[-1]]) / 4.0)


def decay_sd_s(decays: list[NoteDecay], *, t60_s: float) -> FloatArray:
    """Uncertainty of the times to -20 dB, s, shape (notes,).

    A room's gain differs from line to line by some dB, so the level at the blow and the level 20 dB later are not
    heard alike; how much that moves the time depends on the slope there. About 3.3 dB in a room that rings for 0.4 s,
    growing as its square root, own estimate from two generators in two rooms; 0.08 dB where no room is heard.
    """
    level_db = 3.3 * np.sqrt(t60_s / 0.4) if t60_s > 0.27 else 0.08
    return np.array([level_db * d.s_per_db for d in decays])


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


def _late_slope(t: FloatArray, db: FloatArray, *, floor_db: float) -> tuple[float, str]:
    """Slope after the knee of two lines that meet, if the late line is long, straight and flatter."""
    clear = np.flatnonzero(db < floor_db)
    stop = int(clear[0]) if len(clear) else len(t)
    t, db = t[:stop], db[:stop]
    if len(t) < 40 or t[-1] - t[0] < 0.8:
        return np.nan, "late decay not observable: sound ends too soon"
    step = max(1, len(t) // 150)
    t, db = t[::step], db[::step]
    knees = t[(t > t[0] + 0.1) & (t < t[-1] - 0.4)]
    if len(knees) == 0:
        return np.nan, "late decay not observable: sound ends too soon"
    error, first, second = _two_lines(t - t[0], db, knees[:: max(1, len(knees) // 40)] - t[0])
    if error > 1.5**2:
        return np.nan, "late decay not observable: beating"
    if not 0.0 < second < 0.75 * first:
        return np.nan, "late decay not observable: no second stage within the hold"
    return second, ""


def _two_lines(t: FloatArray, db: FloatArray, knees: FloatArray) -> tuple[float, float, float]:
    """Best two straight lines that meet at one of the knees: mean squared error, and both slopes (falling = positive)."""
    early, late = np.minimum(t, knees[:, None]), np.maximum(t - knees[:, None], 0.0)
    design = np.stack([np.ones_like(early), early, late], axis=2)
    gram = np.einsum("kti,ktj->kij", design, design) + 1e-9 * np.eye(3)
    answer = np.linalg.solve(gram, np.einsum("kti,t->ki", design, db)[..., None])[..., 0]
    error = np.mean((np.einsum("kti,ki->kt", design, answer) - db) ** 2, axis=1)
    best = int(np.argmin(error))
    return float(error[best]), -float(answer[best, 1]), -float(answer[best, 2])


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
