"""Keys that seem silent and did sound: a tone too faint, in noise, for its blow to be found.

A silent key shows as a gap among the strikes. Before it is called silent, its own first partial is looked for where
it should have begun: a line that stands out of the noise and was not there before says that the string sounded, and
that nothing more can be said of it. Method: own. Limits: partial 1 must stand 10 dB out of the noise within half a
second; a string that another note sets ringing at this very moment looks the same.
"""

from __future__ import annotations

import numpy as np

from pianolab.acoustics.keys.sequence import Sequence
from pianolab.acoustics.keys.strikes import Strikes
from pianolab.acoustics.spectra import Samples, fast_size, line_spectra, standing_out_db
from pianolab.units import CENTS_PER_NEPER

OUT_DB, NEW_DB = 10.0, 6.0
"""How far the line stands out of the noise, and over what was there before."""
REACH_CENTS = 60.0
LOOK_S, EARLY_S = 0.5, 0.1
FAINT = ("unclear", "a faint tone where it was struck, too weak over the noise to be measured")


def with_faint_keys(sequence: Sequence, channels: Samples, strikes: Strikes, *, rate_hz: int) -> Sequence:
    """The same sequence, in which silent keys that can be heard faintly, and those after the last, are unclear.

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
    heard = {k: FAINT for k in asked if _sounds(k, channels, strikes, rate_hz=rate_hz)}
    return Sequence(sequence.strike_of, sequence.count, sequence.absent | heard)


def _expected(key: int, strikes: Strikes) -> tuple[float, float]:
    """When the key should have been struck, s, and its first partial, Hz: from the strikes to both sides."""
    near = np.argsort(np.abs(strikes.key - key), kind="stable")[:6]
    semitones = key - strikes.key[near]
    f1_hz = float(np.median(strikes.f1_hz[near] * 2.0 ** (semitones / 12.0)))
    if key > strikes.key[-1]:
        steps_s = np.diff(strikes.onset_s[-8:]) / np.diff(strikes.key[-8:])
        return float(strikes.onset_s[-1] + (key - strikes.key[-1]) * np.median(steps_s)), f1_hz
    return float(np.interp(key, strikes.key, strikes.onset_s)), f1_hz


def _sounds(key: int, channels: Samples, strikes: Strikes, *, rate_hz: int) -> bool:
    at_s, f1_hz = _expected(key, strikes)
    length = int(LOOK_S * rate_hz)
    starts = np.array([(at_s - LOOK_S - 2 * EARLY_S) * rate_hz, (at_s - EARLY_S) * rate_hz]).astype(np.int64)
    if starts[0] < 0 or starts[1] + length > channels.shape[1]:
        return False
    size = fast_size(length)
    before, after = line_spectra(channels, starts=starts, lengths=np.array([length, length]), size=size)
    out_db = standing_out_db(after[None], rate_hz=rate_hz, size=size)[0]
    hz = np.arange(len(after)) * rate_hz / size
    near = np.abs(CENTS_PER_NEPER * np.log(np.maximum(hz, 1.0) / f1_hz)) <= REACH_CENTS
    if not near.any():
        return False
    at = int(np.argmax(np.where(near, after, -1.0)))
    there = float(before[max(0, at - 2) : at + 3].max())
    return bool(out_db[at] >= OUT_DB and after[at] > there * 10.0 ** (NEW_DB / 10.0))
