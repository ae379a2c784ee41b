"""Time to fall 20 dB with the room taken out: from the strings' modes, not from the level that the microphone heard.

A room makes one line louder and the next one weaker by some 5 dB, and takes a while to build up what it adds; the level
heard at the blow and the level 20 dB later are not changed alike. Once it has built up, though, a room only scales a
mode: how fast it dies and how it beats stay the strings' own. So the modes, analysed from 0.3 s on, are followed back to the
blow, each partial is given back what the room took (as far as lines of other keys tell, `tilt`), and the
time is read from their sum.

Whether there is a room to take out is told by the notes themselves: without one, the time read from the level and the
time read from the modes agree within some 1.5 %; in a living room they differ by 4 to 6 %.

Limits: modes that die as fast as the room are lost (`modes`), so a note that falls 20 dB within 0.6 reverberation times
keeps the time read from its level. On modelled pianos in a living room the median error is 3 to 4 % (our model) and
5 to 6 % (strings by finite differences, whose partials scatter more), where the level alone is 7 % off. Method: own.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pianolab.acoustics.decay import TOP_WITHIN_S, NoteDecay, time_to_fall
from pianolab.acoustics.limits import limits
from pianolab.acoustics.modes import Modes
from pianolab.units import FloatArray, t60_to_rate

STEP_S, LONGEST_S = 0.01, 12.0
LEAST_NOTES = 5
FRAMES_SD_S = 0.003
USUAL_T60_S = 0.4
OWN_SHARE = 0.6
"""Modes that die faster than this share of the room's rate may be the room's."""
DRY_SD_DB = 0.2
"""Uncertainty of the level where no room is heard."""
SURELY_DB = 19.0
"""A note whose modes have not fallen 20 dB by the release lasts at least until they have fallen so far."""


@dataclass(frozen=True)
class SeenDecays:
    """Decays with the room taken out where that can be done; ``differ`` is the median ln of level's over modes' time."""

    decays: list[NoteDecay]
    differ: float
    room_heard: bool


def without_room(
    decays: list[NoteDecay],
    modes: Modes,
    *,
    weight: FloatArray,
    room_db: FloatArray,
    held_s: FloatArray,
    t60_s: float,
) -> SeenDecays:
    """Times to fall 20 dB as they would be without the room.

    Parameters
    ----------
    decays : one per note, read from the level
    modes : Modes, shape (notes, partials, modes)
    weight : shape (notes, partials); weight 0 leaves a partial out
    room_db : shape (notes, partials), gain of the room at each partial, from `tilt`
    held_s : shape (notes,), s after the blow up to which the key was surely held
    t60_s : s, reverberation time; NaN where it could not be told: then that of a usual living room is taken

    Returns
    -------
    SeenDecays
    """
    lim = limits()["decay"]
    dry = [_with_sd(d, DRY_SD_DB) for d in decays]
    known, t60_s = not np.isnan(t60_s), t60_s if not np.isnan(t60_s) else USUAL_T60_S
    modes = replace(
        modes,
        decay_per_s=np.where(modes.decay_per_s < OWN_SHARE * t60_to_rate(t60_s), modes.decay_per_s, np.nan),
    )
    time_s, power = _partial_power(modes, weight, until_s=float(np.max(held_s, initial=0.0)))
    plain = _falls(time_s, power.sum(axis=1), held_s)
    by_level = np.array([d.decay_20_s if d.bound == "=" else np.nan for d in decays])
    both = (by_level > t60_s) & ~np.isnan(plain[:, 0])
    differ = float(np.median(np.abs(np.log(plain[both, 0] / by_level[both])))) if both.any() else np.nan
    few = both.sum() < LEAST_NOTES
    if not (known and t60_s > lim["room_t60_s"] if few else differ > lim["room_differ"]):
        return SeenDecays(dry, differ, False)
    gain = 10.0 ** (-0.1 * room_db)
    by_modes = _falls(time_s, np.einsum("npt,np->nt", power, gain), held_s)
    out = [_seen(decay, *by_modes[i], held_s=float(held_s[i]), t60_s=t60_s) for i, decay in enumerate(decays)]
    return SeenDecays(out, differ, True)


def _seen(
    decay: NoteDecay, time_s: float, s_per_db: float, lasts_s: float, *, held_s: float, t60_s: float
) -> NoteDecay:
    """One note's decay: by its modes where they are known and slow enough for the room, by its level elsewhere."""
    lim = limits()["decay"]
    by_level = _with_sd(decay, lim["level_sd_db"] * np.sqrt(t60_s / 0.4))
    drowned = decay.bound == ">" and decay.decay_20_s < held_s - lim["near_end_s"]
    brief = decay.bound == "=" and decay.decay_20_s < lim["modes_from_t60"] * t60_s
    if not decay.bound or np.isnan(lasts_s) or drowned or brief:
        return by_level
    if not np.isnan(time_s):
        found = replace(decay, decay_20_s=float(time_s), bound="=", s_per_db=float(s_per_db))
        apart_s = abs(time_s - decay.decay_20_s) if decay.bound == "=" else 0.0
        sd_db = lim["modes_sd_db"] + lim["modes_sd_db_per_t60"] * t60_s / time_s
        return _with_sd(found, sd_db, apart_s=lim["apart_share"] * apart_s)
    if decay.bound == "=" and decay.decay_20_s > lim["outlast_from_t60"] * t60_s:
        return replace(decay, decay_20_s=float(lasts_s), bound=">", s_per_db=np.nan)
    return by_level


def _with_sd(decay: NoteDecay, level_sd_db: float, *, apart_s: float = 0.0) -> NoteDecay:
    """The uncertainty of the level over the slope where it passes -20 dB, that of the frames, and what two readings differ."""
    parts = (level_sd_db * decay.s_per_db, FRAMES_SD_S, apart_s)
    return replace(decay, sd_s=float(np.sqrt(np.sum(np.square(parts)))))


def _partial_power(modes: Modes, weight: FloatArray, *, until_s: float) -> tuple[FloatArray, FloatArray]:
    """Moments after the blow, s, and each partial's power then, its modes beating, shape (notes, partials, moments)."""
    known = ~np.isnan(modes.decay_per_s) & (weight[..., None] > 0)
    time_s = np.arange(0.0, min(until_s, LONGEST_S), STEP_S)
    # Only the distances of a partial's modes matter for its beats.
    lowest = np.min(np.where(known, modes.f_hz, np.inf), axis=-1, keepdims=True)
    shift = np.where(known, modes.f_hz - lowest, 0.0)
    rate = (-np.maximum(modes.decay_per_s, 0.0) + 2j * np.pi * shift)[known]
    swing = np.zeros((*known.shape, len(time_s)), dtype=np.complex64)
    swing[known] = np.exp(rate[:, None] * time_s)
    own = np.where(known[:, :, None], modes.amplitude, 0.0)
    sound = np.einsum("npcm,npmt->npct", own.astype(np.complex64), swing)
    return time_s, np.sum(sound.real**2 + sound.imag**2, axis=2, dtype=float)


def _falls(time_s: FloatArray, power: FloatArray, held_s: FloatArray) -> FloatArray:
    """Of each note's power, shape (notes, moments), in shape (notes, 3): time to fall 20 dB, s per dB there, both NaN if
    not within the hold; time that it surely takes (to fall `SURELY_DB`), at most the hold. NaN where there is no power.
    """
    out = np.full((len(power), 3), np.nan)
    for i in np.flatnonzero(power[:, :1].any(axis=1)):
        held = time_s <= held_s[i]
        if held.sum() <= 2:
            continue
        db = 10.0 * np.log10(np.maximum(power[i, held], 1e-30))
        top_db = float(np.max(db[time_s[held] <= TOP_WITHIN_S]))
        lasts_s = time_s[np.flatnonzero(db >= top_db - SURELY_DB)[-1]]
        out[i] = *time_to_fall(time_s[held], db), lasts_s
    return out
