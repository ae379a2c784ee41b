"""Keys that were not heard: silent, skipped, or unclear; and which strike stands for a repeated key.

With m absent keys between two sounding neighbours and the local strike interval T, a time gap of about (m+1) T
means that they were struck and gave no sound, a gap of about T that they were passed over. A blow heard without
a string at the expected place says silent as well.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pianolab.acoustics.keys.keypath import NO_NOTE, KeyPath
from pianolab.acoustics.keys.onsets import Onsets, rise_share
from pianolab.acoustics.limits import limits
from pianolab.units import FloatArray


@dataclass(frozen=True)
class Sequence:
    """``strike_of`` key -> index into the onsets; ``count`` of strikes per key; ``absent`` key -> (status, why)."""

    strike_of: dict[int, int]
    count: dict[int, int]
    absent: dict[int, tuple[str, str]]


DOUBTFUL = ("unclear", "what sounded where it was struck could as well be another key")
CLEAR_SHARE = 0.6
LEAST_SHARE, AS_STRONG = 0.2, 0.7


def _choose(
    indices: list[int], times_s: FloatArray, next_s: FloatArray, score: FloatArray, strength: FloatArray
) -> int:
    """Of several strikes of one key, of those that are about as clear as the clearest, the one that could ring longest.

    A blow on a string that still sounds adds little that is new to its spectrum; one that rises as strongly as the
    clearest is a blow all the same.
    """
    best = max(indices, key=lambda i: score[i])
    clear = [
        i
        for i in indices
        if score[i] >= CLEAR_SHARE * score[best]
        or (score[i] >= LEAST_SHARE * score[best] and strength[i] >= AS_STRONG * strength[best])
    ]
    return max(clear, key=lambda i: (next_s[i] - times_s[i], -i))


def next_sounds(keys: NDArray[np.int64], times_s: FloatArray, *, end_s: float) -> FloatArray:
    """For every strike, when the next note begins (or the recording ends)."""
    out = np.full(len(times_s), end_s)
    following = end_s
    for i in range(len(times_s) - 1, -1, -1):
        out[i] = following
        if keys[i] != NO_NOTE:
            following = float(times_s[i])
    return out


def local_interval_s(keys: NDArray[np.int64], times_s: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Steady strike interval around each step (median of nearby steps), and how steady it is (share)."""
    steps = np.diff(times_s)
    moved = np.abs(np.diff(keys))
    usual = np.median(moved[moved > 0]) if np.any(moved > 0) else 1
    single = moved <= usual
    at = np.flatnonzero(single)
    out, unsteady = np.full(len(steps), np.nan), np.full(len(steps), np.nan)
    for i in range(len(steps)):
        near = at[np.argsort(np.abs(at - i))[:9]]
        near = near[near != i] if len(near) > 3 else near
        if len(near) >= 2:
            out[i] = np.median(steps[near])
            unsteady[i] = np.median(np.abs(steps[near] - out[i])) / max(out[i], 1e-9)
    return out, unsteady


def read_sequence(path: KeyPath, onsets: Onsets, *, first_key: int, last_key: int, end_s: float) -> Sequence:
    """Order the strikes into one per key and say what became of the keys without one.

    Parameters
    ----------
    path : the reading of each candidate: a key of which no strike is sure is unclear, and where a tone went unread
        whatever is missing may be it
    onsets : the same candidates, in time
    first_key, last_key : compass
    end_s : length of the recording

    Returns
    -------
    Sequence
    """
    keys, times_s, sure, unread = path.keys, onsets.times_s, path.sure, path.unread
    heard = np.flatnonzero(keys != NO_NOTE)
    strength = rise_share(onsets.rise)
    next_s = next_sounds(keys, times_s, end_s=end_s)
    by_key: dict[int, list[int]] = {}
    for i in heard:
        by_key.setdefault(int(keys[i]), []).append(int(i))
    told = {k: [i for i in v if sure[i]] for k, v in by_key.items()}
    strike_of = {k: _choose(v, times_s, next_s, path.score, strength) for k, v in told.items() if v}
    count = {k: len(v) for k, v in by_key.items()}
    doubtful = (keys != NO_NOTE) & ~sure
    doubtful_s = times_s[doubtful if unread is None else doubtful | unread]
    absent = _absent(keys, times_s, heard[sure[heard]], doubtful_s, first_key=first_key, last_key=last_key)
    absent |= dict.fromkeys(by_key, DOUBTFUL)
    return Sequence(strike_of, count, {k: v for k, v in absent.items() if k not in strike_of})


def _absent(
    keys: NDArray[np.int64],
    times_s: FloatArray,
    told: NDArray[np.int64],
    doubtful_s: FloatArray,
    *,
    first_key: int,
    last_key: int,
) -> dict[int, tuple[str, str]]:
    """Status and reason of keys without a sure strike (``told``, indices); where something doubtful sounded meanwhile,
    it may have been they."""
    if not len(told):
        return dict.fromkeys(range(first_key, last_key + 1), DOUBTFUL)
    out: dict[int, tuple[str, str]] = {}
    k, t = keys[told], times_s[told]
    outside = bool(np.any((doubtful_s < t[0]) | (doubtful_s > t[-1])))
    for key in range(first_key, int(k.min())):
        out[key] = DOUBTFUL if outside else ("skipped", "before the first sounding key")
    for key in range(int(k.max()) + 1, last_key + 1):
        out[key] = DOUBTFUL if outside else ("skipped", "after the last sounding key")
    interval, unsteady = local_interval_s(k, t)
    tolerance = limits()["path"]["gap_tolerance"]
    knocks = times_s[keys == NO_NOTE]
    for i in range(len(k) - 1):
        low, high = sorted((int(k[i]), int(k[i + 1])))
        missing = [m for m in range(low + 1, high) if m not in set(k.tolist())]
        if not missing:
            continue
        if np.any((doubtful_s > t[i]) & (doubtful_s < t[i + 1])):
            out |= {key: DOUBTFUL for key in missing if key not in out}
            continue
        status = _status(
            t[i], t[i + 1], len(missing), interval[i], unsteady[i], tolerance=tolerance, knocks=knocks
        )
        for key in missing:
            out.setdefault(key, status)
    return out


def _status(
    begin_s: float,
    end_s: float,
    missing: int,
    interval_s: float,
    unsteady: float,
    *,
    tolerance: float,
    knocks: FloatArray,
) -> tuple[str, str]:
    gap = end_s - begin_s
    if np.isnan(interval_s) or unsteady > 0.3:
        return "unclear", "strikes too unsteady to tell a silent key from a skipped one"
    if abs(gap - (missing + 1) * interval_s) <= tolerance * interval_s:
        return "silent", "a gap where it was struck, and no sound"
    if abs(gap - interval_s) <= tolerance * interval_s:
        return "skipped", "no gap where it would have been struck"
    expected = begin_s + interval_s * np.arange(1, missing + 1)
    inside = knocks[(knocks > begin_s + 0.5 * interval_s) & (knocks < end_s - 0.3 * interval_s)]
    if len(inside) and all(np.min(np.abs(inside - e)) < tolerance * interval_s for e in expected):
        return "silent", "a blow heard without a string"
    return "unclear", "the gap fits neither a silent nor a skipped key"
