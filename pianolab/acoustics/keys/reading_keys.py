"""Reading the keys within a named compass, and refusing a compass that the notes contradict."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pianolab.acoustics.keys.fresh_lines import FreshLines, fresh_lines
from pianolab.acoustics.keys.keypath import NO_NOTE, KeyPath, read_keys
from pianolab.acoustics.keys.line_evidence import LineEvidence, explained_share, weigh
from pianolab.acoustics.keys.onsets import STRONG_SHARE, Onsets, next_strong_s, rise_share
from pianolab.acoustics.keys.path_search import FEW_STRIKES
from pianolab.acoustics.keys.sequence import Sequence, next_sounds
from pianolab.acoustics.keys.strikes import Strikes
from pianolab.acoustics.limits import limits
from pianolab.acoustics.spectra import Samples
from pianolab.errors import BadInput
from pianolab.keyboard import FIRST_KEY, LAST_KEY, note_name
from pianolab.units import CENTS_PER_NEPER


def read_compass(
    channels: Samples, onsets: Onsets, *, rate_hz: int, first_key: int, last_key: int, a4_hz: float, name: str
) -> KeyPath:
    """Which key each blow is, within the keys that were named; `BadInput` where the notes are clearly others."""
    nothing = BadInput(
        name, "no piano notes", "keys played one after another", "Speech, noise or silence only?"
    )
    times_s, rise = onsets.times_s, onsets.rise
    if len(times_s) == 0:
        raise nothing
    end_s = channels.shape[1] / rate_hz
    fresh = fresh_lines(channels, times_s, next_strong_s(times_s, rise, end_s=end_s), rate_hz=rate_hz)
    scale = round(rate_hz * 440.0 / a4_hz)
    path = _read(fresh, times_s, rise, scale_hz=scale, first_key=first_key, last_key=last_key)
    strong = rise_share(rise) >= STRONG_SHARE
    tone = fresh.out_db.max(axis=1) >= limits()["path"]["tone_db"]
    # What has no tone, such as the tick of a clock, makes the piano beside it no less a piano unless there is much of it.
    loud = max(int((strong & tone).sum()), round(limits()["path"]["toneless_weight"] * strong.sum()))
    named = first_key > FIRST_KEY or last_key < LAST_KEY
    if named and not _named_and_heard(fresh, path, loud=int(strong.sum()), rate_hz=scale):
        free = _read(
            fresh[strong],
            times_s[strong],
            rise[strong],
            scale_hz=scale,
            first_key=min(first_key, FIRST_KEY),
            last_key=max(last_key, LAST_KEY),
        )
        if not _is_piano(fresh[strong], free, loud=loud, rate_hz=scale):
            raise nothing
        if _fits_better(free, path, strong, first_key=first_key, last_key=last_key):
            raise _other_compass(free, first_key=first_key, last_key=last_key)
        if not (path.keys != NO_NOTE).any():
            raise nothing
    if not named and not _is_piano(fresh, path, loud=loud, rate_hz=scale):
        raise nothing
    return replace(path, f1_hz=path.f1_hz * a4_hz / 440.0, unread=strong & tone & (path.keys == NO_NOTE))


def _other_compass(free: KeyPath, *, first_key: int, last_key: int) -> BadInput:
    """What to say where other keys were played than were named."""
    found = free.keys[free.keys != NO_NOTE]
    low, high = int(found.min()), int(found.max())
    heard = f"keys {low} ({note_name(low)}) to {high} ({note_name(high)})"
    return BadInput(
        "first and last key",
        f"{first_key} to {last_key}, but the notes sound like {heard}",
        "the compass that was played",
        f"Is it --first-key {low}?",
    )


def _read(
    fresh: FreshLines,
    times_s: NDArray[np.float64],
    rise: NDArray[np.float64],
    *,
    scale_hz: int,
    first_key: int,
    last_key: int,
) -> KeyPath:
    """The path through all candidates of which the fresh lines are known."""
    evidence = weigh(fresh, rate_hz=scale_hz, first_key=first_key, last_key=last_key)
    return read_evidence(evidence, times_s, rise, first_key=first_key, last_key=last_key)


def read_evidence(
    evidence: LineEvidence,
    times_s: NDArray[np.float64],
    rise: NDArray[np.float64],
    *,
    first_key: int,
    last_key: int,
) -> KeyPath:
    """The path through all candidates; those that no string could explain are left out of the search."""
    some = evidence.score.max(axis=1) >= limits()["path"]["some_score"]
    some |= rise_share(rise) >= STRONG_SHARE
    path = read_keys(evidence[some], times_s[some], rise[some], first_key=first_key, last_key=last_key)
    return path.among(some)


def _is_piano(fresh: FreshLines, path: KeyPath, *, loud: int, rate_hz: int) -> bool:
    """Whether the blows are strings: most are read, their lines are partials of strings, and more than one each."""
    lim = limits()["path"]
    found = path.keys != NO_NOTE
    count = int(found.sum())
    if count < max(1, 0.5 * loud) or path.sure.sum() < lim["least_sure_share"] * loud:
        return False
    explained = explained_share(fresh, path.f1_hz, path.b_factor, rate_hz=rate_hz)
    least = lim["explained_few"] if count <= FEW_STRIKES else lim["explained"]
    strings = (
        float(np.nanmedian(explained)) >= least and float(np.nanmedian(path.score)) >= lim["piano_score"]
    )
    return strings and not _pure_tone(fresh, path)


def _named_and_heard(fresh: FreshLines, path: KeyPath, *, loud: int, rate_hz: int) -> bool:
    """Whether a few notes are those that were named: alone they say less of their key than whoever played them."""
    lim = limits()["path"]
    found = path.keys != NO_NOTE
    if not max(1, loud) <= found.sum() <= FEW_STRIKES or not path.sure.any():
        return False
    explained = explained_share(fresh, path.f1_hz, path.b_factor, rate_hz=rate_hz)
    return float(np.nanmedian(explained)) >= lim["explained_named"]


def _pure_tone(fresh: FreshLines, path: KeyPath) -> bool:
    """Whether notes that should have many partials are one line each, however far it stands out."""
    lim = limits()["path"]
    low = (path.keys != NO_NOTE) & (path.keys < lim["many_partials_below"])
    if low.sum() < 0.5 * (path.keys != NO_NOTE).sum() or not low.any():
        return False
    loudest = fresh.out_db[low].max(axis=1)
    power = fresh.power[low]
    at, bins = np.argmax(power, axis=1), np.arange(power.shape[1])
    side = np.maximum(lim["line_bins"], at * lim["line_cents"] / CENTS_PER_NEPER)
    one_line = np.where(np.abs(bins - at[:, None]) <= side[:, None], power, 0.0).sum(axis=1)
    return bool(np.median(loudest) >= lim["clear_line_db"] and np.median(one_line) > lim["pure_share"])


def _fits_better(
    free: KeyPath, path: KeyPath, strong: NDArray[np.bool_], *, first_key: int, last_key: int
) -> bool:
    """Whether a reading over all keys is so much better that the given compass must be wrong."""
    lim = limits()["path"]
    found = free.keys[free.keys != NO_NOTE]
    if first_key <= found.min() and found.max() <= last_key:
        return False
    outside = free.sure & ((free.keys < first_key) | (free.keys > last_key))
    if outside.sum() >= min(2, len(found)) and np.all(path.keys[strong][outside] == NO_NOTE):
        return True
    whole, given = float(np.nansum(free.score)), float(np.nansum(path.score[strong]))
    kept = path.score[strong & (path.keys != NO_NOTE)]
    poor = len(kept) == 0 or float(np.median(kept)) < 0.7 * float(np.nanmedian(free.score))
    # Squeezed into the compass: all of it moved, and still two notes for one key.
    moved = abs(path.offset_cents) - abs(free.offset_cents) >= lim["moved_cents"]
    squeezed = len(set(path.keys[strong].tolist())) < len(set(free.keys.tolist()))
    return (poor and whole > 1.4 * given) or (moved and squeezed)


def strikes_of(path: KeyPath, onsets: Onsets, sequence: Sequence, *, end_s: float) -> Strikes:
    """The blow of each key that is measured."""
    key = np.array(sorted(sequence.strike_of), dtype=np.int64)
    at = np.array([sequence.strike_of[int(k)] for k in key], dtype=np.int64)
    next_s = next_sounds(path.keys, onsets.times_s, end_s=end_s)
    return Strikes(key, onsets.times_s[at], next_s[at], path.f1_hz[at], path.b_factor[at])
