"""Tones that are found though their blow isn't: keys that seem silent and did sound, and notes that begin in noise.

A silent key shows as a gap among the strikes. Before it is called silent, its own first partial is looked for where
it should have begun: a line that stands out of the noise and was not there before says that the string sounded, and
that nothing more can be said of it. Method: own. Limits: partial 1 must stand 10 dB out of the noise within half a
second; a string that another note sets ringing at this very moment looks the same.

A key is read from a second of sound. Where noise hides the blow, a candidate that the noise gave some time before it
shows the same lines, and the note would seem to begin there. So a note whose own first partial hasn't risen at its
candidate, and does so later, begins where that rises (`begin_with_tone`). In the same way a candidate that the noise
gave while a note rings shows its lines, and the key would seem struck again: none of its partials rises there
(`without_made_up`).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pianolab.acoustics.keys.compass import usual_inharmonicity
from pianolab.acoustics.keys.keypath import NO_NOTE, KeyPath
from pianolab.acoustics.keys.onsets import Onsets
from pianolab.acoustics.keys.sequence import Sequence
from pianolab.acoustics.keys.strikes import Strikes
from pianolab.acoustics.spectra import Samples, fast_size, framed, line_spectra, standing_out_db
from pianolab.acoustics.strings.partials import series_from_first_hz
from pianolab.units import CENTS_PER_NEPER, FloatArray

OUT_DB, NEW_DB = 10.0, 6.0
"""How far the line stands out of the noise, and over what was there before."""
REACH_CENTS = 60.0
LOOK_S, EARLY_S = 0.5, 0.1
TONE_FROM_HZ = 400.0
"""A blow on lower strings is heard in many bands at once, and 30 ms are too short for their first partial."""
TONE_WINDOW_S, TONE_HOP_S = 0.03, 0.01
BEFORE_S, AT_S, LATER_S = 0.25, 0.12, 1.2
"""How long before a candidate is noise, how soon after it a note has risen, how late it may yet come."""
ONE_STRIKE_S = 0.15
"""Blows closer together than this are one, as in `onsets`."""
NOT_RISEN, RISEN = 6.0, 16.0
"""Power over what was there before: up to so many times it is noise still, from so many it is a tone."""
AGAIN_PARTIALS, AGAIN_TO_HZ = 10, 10000.0
AGAIN_BEFORE_S, AGAIN_AFTER_S = 0.1, 0.15
"""Partials of a repeat that are looked at, and how long before and after it."""
AGAIN_DB, ALONE_DB = 5.0, 12.0
"""Rises of the second and the most risen partial from which a repeat is a blow: one alone may be a unison that beats."""
FAINT = ("unclear", "a faint tone where it was struck, too weak over the noise to be measured")
DROWNED = ("unclear", "no sound where it was struck, but noise nearly drowns the keys beside it")
BESIDE, CLEAR_DB = 6, 16.0
"""Keys beside a silent one of which all but one must stand so far out of the noise: else it may have drowned."""


def with_faint_keys(sequence: Sequence, channels: Samples, strikes: Strikes, *, rate_hz: int) -> Sequence:
    """The same sequence, in which silent keys that can be heard faintly or may have drowned, and those after the last that
    can be heard, are unclear.

    Parameters
    ----------
    sequence : what became of the keys without a strike
    channels : shape (channels, frames)
    strikes : of the keys that were heard, keys rising
    rate_hz : Hz

    Returns
    -------
    Sequence
    """
    if len(strikes.key) < 3:
        return sequence
    asked = [k for k, (status, _) in sequence.absent.items() if status == "silent" or k > strikes.key[-1]]
    heard = {k: FAINT for k in asked if _out_db(*_expected(k, strikes), channels, rate_hz=rate_hz) >= OUT_DB}
    silent = [k for k in asked if sequence.absent[k][0] == "silent" and k not in heard]
    drowned = {k: DROWNED for k in silent if _may_drown(k, channels, strikes, rate_hz=rate_hz)}
    return Sequence(sequence.strike_of, sequence.count, sequence.absent | heard | drowned)


def begin_with_tone(
    onsets: Onsets, path: KeyPath, channels: Samples, *, rate_hz: int
) -> tuple[Onsets, KeyPath]:
    """The same candidates and reading; a note that was read before it came begins where its own tone rises.

    Several candidates of one key that so begin at one place are one strike: all but the first are no notes.

    Parameters
    ----------
    onsets, path : the candidates and their reading
    channels : shape (channels, frames)
    rate_hz : Hz
    """
    times_s, keys = onsets.times_s.copy(), path.keys.copy()
    heard = np.flatnonzero(keys != NO_NOTE)
    for at, i in enumerate(heard):
        if path.f1_hz[i] < TONE_FROM_HZ:
            continue
        others = heard[at + 1 :][keys[heard[at + 1 :]] != keys[i]]
        end_s = onsets.times_s[others[0]] if len(others) else channels.shape[1] / rate_hz
        end_s = min(float(end_s) - ONE_STRIKE_S, times_s[i] + LATER_S)
        times_s[i] = _rises_s(channels, times_s[i], end_s, f1_hz=float(path.f1_hz[i]), rate_hz=rate_hz)
    last = np.int64(-1)
    for i in heard:
        again = last >= 0 and keys[last] == keys[i] and times_s[last] != onsets.times_s[last]
        if again and times_s[i] - times_s[last] < ONE_STRIKE_S:
            keys[i] = NO_NOTE
        else:
            last = i
    return replace(onsets, times_s=times_s), replace(path, keys=keys)


def without_made_up(onsets: Onsets, path: KeyPath, channels: Samples, *, rate_hz: int) -> KeyPath:
    """The same reading without repeats that noise made up: they are no notes, the strike before them goes on.

    A repeat counts as made up where it rises less than the strike before it and no two of its partials rise over what
    rang, nor one by far. Were it a blow all the same, one that raises so little would change next to nothing in the
    note before it. Below some 30 Hz the time before is too short to tell, and a repeat stays.

    Parameters
    ----------
    onsets, path : the candidates and their reading
    channels : shape (channels, frames)
    rate_hz : Hz
    """
    keys = path.keys.copy()
    last = -1
    for i in np.flatnonzero(keys != NO_NOTE).tolist():
        again = last >= 0 and keys[last] == keys[i] and onsets.rise[i] < onsets.rise[last]
        if again and _made_up(path, channels, onsets.times_s, last, i, rate_hz=rate_hz):
            keys[i] = NO_NOTE
        else:
            last = i
    return replace(path, keys=keys)


def _made_up(
    path: KeyPath, channels: Samples, times_s: FloatArray, struck: int, again: int, *, rate_hz: int
) -> bool:
    """Whether of a key that was ``struck`` too little rises where it seems to be struck ``again``."""
    f1_hz, at_s = float(path.f1_hz[struck]), float(times_s[again])
    window_s = max(TONE_WINDOW_S, 3.0 / f1_hz)
    begin = max(0, round(max(at_s - AGAIN_BEFORE_S, float(times_s[struck])) * rate_hz))
    sound = channels[:, begin : round((at_s + AGAIN_AFTER_S + window_s) * rate_hz)]
    b = float(path.b_factor[struck] * usual_inharmonicity(path.keys[struck]))
    partials_hz = series_from_first_hz(f1_hz, b, AGAIN_PARTIALS)
    rises_db = []
    for f_hz in partials_hz[partials_hz < min(AGAIN_TO_HZ, 0.45 * rate_hz)]:
        s, power = _tone_power(sound, float(f_hz), rate_hz=rate_hz, window_s=window_s)
        s = s + begin / rate_hz - at_s
        before, after = power[s < -window_s / 2], power[s > window_s / 2]
        if len(before) and len(after):
            rises_db.append(10.0 * np.log10((after.mean() + 1e-30) / (before.mean() + 1e-30)))
    if len(rises_db) < 2:
        return False
    second_db, most_db = sorted(rises_db)[-2:]
    return bool(second_db < AGAIN_DB and most_db < ALONE_DB)


def _rises_s(channels: Samples, at_s: float, end_s: float, *, f1_hz: float, rate_hz: int) -> float:
    """Where a tone begins that has not begun at ``at_s``, s; ``at_s`` where it has, or never does before ``end_s``."""
    begin = max(0, round((at_s - BEFORE_S) * rate_hz))
    s, power = _tone_power(channels[:, begin : round(end_s * rate_hz)], f1_hz, rate_hz=rate_hz)
    s = s + begin / rate_hz - at_s
    before, after = s < -TONE_WINDOW_S, s >= 0.0
    if not before.any() or not after.any():
        return at_s
    noise = float(power[before].mean())
    soon, later = float(power[after & (s < AT_S)].max(initial=0.0)), float(power[after].max())
    if soon > NOT_RISEN * noise or later < max(RISEN * noise, NOT_RISEN * soon):
        return at_s
    # The window's middle passes a blow where half of its amplitude is in.
    return at_s + float(s[np.flatnonzero(after & (power >= 0.25 * later))[0]])


def _tone_power(
    channels: Samples, f_hz: float, *, rate_hz: int, window_s: float = TONE_WINDOW_S
) -> tuple[FloatArray, FloatArray]:
    """Middles of short frames, s, and the power about a frequency in each, shape (frames,)."""
    size, hop = round(window_s * rate_hz), round(TONE_HOP_S * rate_hz)
    if channels.shape[1] < size:
        return np.zeros(0), np.zeros(0)
    turn = np.exp(-2j * np.pi * f_hz / rate_hz * np.arange(size)) * np.hanning(size)
    tones = [np.abs(framed(np.ascontiguousarray(c), size=size, hop=hop) @ turn) ** 2 for c in channels]
    power = np.sum(tones, axis=0)
    return (np.arange(len(power)) * hop + size / 2) / rate_hz, np.asarray(power)


def _expected(key: int, strikes: Strikes) -> tuple[float, float]:
    """When the key should have been struck, s, and its first partial, Hz: from the strikes to both sides."""
    near = np.argsort(np.abs(strikes.key - key), kind="stable")[:6]
    semitones = key - strikes.key[near]
    f1_hz = float(np.median(strikes.f1_hz[near] * 2.0 ** (semitones / 12.0)))
    if key > strikes.key[-1]:
        steps_s = np.diff(strikes.onset_s[-8:]) / np.diff(strikes.key[-8:])
        return float(strikes.onset_s[-1] + (key - strikes.key[-1]) * np.median(steps_s)), f1_hz
    return float(np.interp(key, strikes.key, strikes.onset_s)), f1_hz


def _may_drown(key: int, channels: Samples, strikes: Strikes, *, rate_hz: int) -> bool:
    """Whether the keys beside it hardly stand out of the noise, so that this one may have sounded unheard."""
    if _expected(key, strikes)[1] < TONE_FROM_HZ:
        return False
    near = np.argsort(np.abs(strikes.key - key), kind="stable")[:BESIDE]
    own = [(float(strikes.onset_s[i]), float(strikes.f1_hz[i])) for i in near]
    clear = [_out_db(at_s, f1_hz, channels, rate_hz=rate_hz) >= CLEAR_DB for at_s, f1_hz in own]
    return sum(clear) < len(clear) - 1


def _out_db(at_s: float, f1_hz: float, channels: Samples, *, rate_hz: int) -> float:
    """How far a line near this pitch that was not there before stands out of the noise, dB; 0 where none does."""
    length = int(LOOK_S * rate_hz)
    starts = np.array([(at_s - LOOK_S - 2 * EARLY_S) * rate_hz, (at_s - EARLY_S) * rate_hz]).astype(np.int64)
    if starts[0] < 0 or starts[1] + length > channels.shape[1]:
        return 0.0
    size = fast_size(length)
    before, after = line_spectra(channels, starts=starts, lengths=np.array([length, length]), size=size)
    out_db = standing_out_db(after[None], rate_hz=rate_hz, size=size)[0]
    hz = np.arange(len(after)) * rate_hz / size
    near = np.abs(CENTS_PER_NEPER * np.log(np.maximum(hz, 1.0) / f1_hz)) <= REACH_CENTS
    if not near.any():
        return 0.0
    at = int(np.argmax(np.where(near, after, -1.0)))
    there = float(before[max(0, at - 2) : at + 3].max())
    return float(out_db[at]) if after[at] > there * 10.0 ** (NEW_DB / 10.0) else 0.0
