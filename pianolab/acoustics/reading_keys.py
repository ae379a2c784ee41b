"""Reading the keys within a named compass, and refusing a compass that the notes contradict."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pianolab.acoustics.keypath import NO_NOTE, STRONG_SHARE, KeyPath, fresh_spectra, read_keys, rise_share
from pianolab.acoustics.onsets import Onsets
from pianolab.acoustics.sequence import Sequence, next_sounds
from pianolab.acoustics.spectra import Samples
from pianolab.acoustics.strikes import Strikes
from pianolab.errors import BadInput
from pianolab.keyboard import FIRST_KEY, LAST_KEY, note_name

WIDEST_GAP_KEYS = 6
LEAST_SCORE = 8.0
"""Median score of a reading below which it is no piano."""


def read_compass(
    channels: Samples, onsets: Onsets, *, rate_hz: int, first_key: int, last_key: int, a4_hz: float, name: str
) -> KeyPath:
    """Which key each blow is, within the keys that were named; `BadInput` where the notes are clearly others."""
    nothing = BadInput(
        name, "no piano notes", "keys played one after another", "Speech, noise or silence only?"
    )
    if len(onsets.times_s) == 0:
        raise nothing
    fresh, size = fresh_spectra(channels, onsets.times_s, onsets.rise, rate_hz=rate_hz)
    scale = rate_hz * 440.0 / a4_hz
    path = read_keys(
        fresh, onsets.rise, rate_hz=round(scale), size=size, first_key=first_key, last_key=last_key
    )
    path = octaves_in_place(_at_pitch(path, a4_hz))
    strong = rise_share(onsets.rise) >= STRONG_SHARE
    loud = int(strong.sum())
    fits = (path.keys != NO_NOTE).sum() >= max(1.0, 0.75 * loud)
    if fits and first_key <= FIRST_KEY and last_key >= LAST_KEY:
        return path
    free = read_keys(
        fresh[strong],
        onsets.rise[strong],
        rate_hz=round(scale),
        size=size,
        first_key=min(first_key, FIRST_KEY),
        last_key=max(last_key, LAST_KEY),
    )
    found = free.keys[free.keys != NO_NOTE]
    plausible = len(found) >= max(1, 0.5 * loud) and float(np.nanmedian(free.score)) >= LEAST_SCORE
    if not fits and not plausible:
        raise nothing
    if plausible and _fits_better(free, path, strong, first_key=first_key, last_key=last_key):
        low, high = int(found.min()), int(found.max())
        raise BadInput(
            "first and last key",
            f"{first_key} to {last_key}, but the notes sound like keys {low} ({note_name(low)}) to {high} ({note_name(high)})",
            "the compass that was played",
            f"Is it --first-key {low}?",
        )
    if not (path.keys != NO_NOTE).any():
        raise nothing
    return path


def octaves_in_place(path: KeyPath) -> KeyPath:
    """The same reading, in which a blow read an octave or two off stands at the key that its neighbours leave open.

    A string whose first partial is weak looks like the key an octave above it. Where the blow before and the one after
    are a few keys apart, the key in between is missing and lies whole octaves off the one that was read, it is that key.

    Examples
    --------
    >>> keys = np.array([74, 75, 88, 78, 79])
    >>> path = KeyPath(keys, 440.0 * 2.0 ** ((keys - 49) / 12), np.ones(5), np.full(5, 20.0), 0.0, 0)
    >>> [int(k) for k in octaves_in_place(path).keys]
    [74, 75, 76, 78, 79]
    """
    keys, f1_hz, b_factor = path.keys.copy(), path.f1_hz.copy(), path.b_factor.copy()
    at = np.flatnonzero(keys != NO_NOTE)
    # A key struck again is one reading: all its blows move together.
    readings = np.split(at, 1 + np.flatnonzero(np.diff(keys[at])))
    for before, own, after in zip(readings[:-2], readings[1:-1], readings[2:], strict=True):
        low, high = sorted((int(keys[before[-1]]), int(keys[after[0]])))
        if low <= keys[own[0]] <= high or high - low > WIDEST_GAP_KEYS:
            continue
        for octaves in (1, -1, 2, -2):
            key = int(keys[own[0]]) - 12 * octaves
            if low < key < high and key not in keys:
                keys[own], f1_hz[own] = key, f1_hz[own] * 2.0**-octaves
                b_factor[own] = b_factor[before[-1]]
                break
    return KeyPath(keys, f1_hz, b_factor, path.score, path.offset_cents, path.other_shift)


def _fits_better(
    free: KeyPath, path: KeyPath, strong: NDArray[np.bool_], *, first_key: int, last_key: int
) -> bool:
    """Whether a reading over all keys is so much better that the given compass must be wrong."""
    found = free.keys[free.keys != NO_NOTE]
    if first_key <= found.min() and found.max() <= last_key:
        return False
    whole, given = float(np.nansum(free.score)), float(np.nansum(path.score[strong]))
    kept = path.score[strong & (path.keys != NO_NOTE)]
    poor = len(kept) == 0 or float(np.median(kept)) < 0.7 * float(np.nanmedian(free.score))
    forced = abs(path.offset_cents) >= 110.0 and abs(free.offset_cents) <= 50.0
    return (poor and whole > 1.4 * given) or (forced and whole >= given)


def _at_pitch(path: KeyPath, a4_hz: float) -> KeyPath:
    return KeyPath(
        path.keys, path.f1_hz * a4_hz / 440.0, path.b_factor, path.score, path.offset_cents, path.other_shift
    )


def strikes_of(path: KeyPath, onsets: Onsets, sequence: Sequence, *, end_s: float) -> Strikes:
    """The blow of each key that is measured."""
    key = np.array(sorted(sequence.strike_of), dtype=np.int64)
    at = np.array([sequence.strike_of[int(k)] for k in key], dtype=np.int64)
    next_s = next_sounds(path.keys, onsets.times_s, end_s=end_s)
    return Strikes(key, onsets.times_s[at], next_s[at], path.f1_hz[at], path.b_factor[at])
