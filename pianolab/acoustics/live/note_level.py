"""How loud a note is, whether it is cut off at the top, and whether it still rings, was let go or has faded."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pianolab.acoustics.envelope.damper import find_releases
from pianolab.acoustics.envelope.levels import NoteLevel, whole_levels
from pianolab.acoustics.keys.strikes import Strikes
from pianolab.acoustics.limits import limits
from pianolab.acoustics.live.recent import RecentSound
from pianolab.acoustics.recorder.clipping import clipped_share

PEAK_WITHIN_S = 1.0
RELEASE_SEEN_S = 0.3
"""A fall is told from a beat when so much of what follows has been heard."""
STAYS_DOWN_DB = 14.0
"""A damper takes more than this off within `RELEASE_SEEN_S`; beats and the early fall of the treble take less [practice]."""
LONGEST_S = 12.0


@dataclass(frozen=True)
class Sounding:
    """The sound of one note by now: ``peak`` re full scale, ``snr_db`` over the noise, ``rings_s`` from the blow on.

    ``ended_s`` is when it was let go, faded into the noise or gave way to the next note; None while it rings.
    """

    peak: float
    clipped: bool
    snr_db: float
    rings_s: float
    ended_s: float | None
    faded: bool = False
    settled: bool = False


def note_sounding(
    recent: RecentSound, *, key: int, onset_s: float, next_s: float | None, noise_power: float | None
) -> Sounding:
    """What is heard of a note by now.

    Parameters
    ----------
    recent : the last seconds of the sound
    key : int
    onset_s, next_s : s from the beginning; when it was struck, and the next note, None where there is none yet
    noise_power : mean power of the silent room; None takes the quietest of what is still here

    Returns
    -------
    Sounding
    """
    channels, rate = recent.channels, recent.rate_hz
    now_s = recent.end_s if next_s is None else next_s
    begin = max(int((onset_s - recent.begin_s) * rate), 0)
    stop = min(int((min(now_s, onset_s + PEAK_WITHIN_S) - recent.begin_s) * rate), channels.shape[1])
    peak = float(np.abs(channels[:, begin:stop]).max(initial=0.0))
    clipped = clipped_share(channels, begin=begin, stop=stop) > limits()["quality"]["clip_share"]
    level = _level(recent, key=key, onset_s=onset_s, until_s=now_s)
    noise = level.noise if noise_power is None else noise_power
    loud = float(np.max(level.power, initial=0.0))
    snr_db = 10.0 * np.log10(max(loud, 1e-20) / max(noise, 1e-18)) if loud > 0 else -np.inf
    ended, faded = _end(level, key=key, length_s=now_s - onset_s, gave_way=next_s is not None)
    return Sounding(
        peak=peak,
        clipped=clipped,
        snr_db=float(snr_db),
        rings_s=now_s - onset_s if ended is None else ended,
        ended_s=None if ended is None else onset_s + ended,
        faded=faded,
        settled=next_s is not None or now_s - onset_s > LONGEST_S,
    )


def _level(recent: RecentSound, *, key: int, onset_s: float, until_s: float) -> NoteLevel:
    at = onset_s - recent.begin_s
    none = np.zeros(1)
    strikes = Strikes(np.array([key]), np.array([at]), np.array([until_s - recent.begin_s]), none, none)
    return whole_levels(recent.channels, strikes, rate_hz=recent.rate_hz)[0]


def _end(level: NoteLevel, *, key: int, length_s: float, gave_way: bool) -> tuple[float | None, bool]:
    """When it ended, in s after the blow, None while it rings; and whether it faded by itself."""
    let_go = np.nan
    if length_s > RELEASE_SEEN_S + 0.2 and len(level.time_s) > 60:
        found = find_releases([level], key=np.array([key]), interval_s=np.array([length_s]))
        let_go = float(found.hold_s[0])
    if np.isfinite(let_go) and _stays_down(level, let_go):
        return let_go, False
    low = level.power < max(4.0 * level.noise, 1e-4 * float(np.max(level.power, initial=0.0)))
    after = np.flatnonzero(low & (level.time_s > 0.1))
    if len(after) and low[-1]:
        return float(level.time_s[after[0]]), True
    if gave_way or length_s > LONGEST_S:
        return length_s, False
    return None, False


def _stays_down(level: NoteLevel, at_s: float) -> bool:
    """Whether the level after a fall is far under the one before it."""
    before = level.power[(level.time_s > at_s - 0.1) & (level.time_s < at_s - 0.02)]
    after = level.power[(level.time_s > at_s + 0.5 * RELEASE_SEEN_S) & (level.time_s < at_s + RELEASE_SEEN_S)]
    if not len(before) or not len(after):
        return False
    fall = max(float(before.mean()), 1e-20) / max(float(after.mean()), 1e-20)
    return bool(10.0 * np.log10(fall) > STAYS_DOWN_DB)
