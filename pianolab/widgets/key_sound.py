"""One key's sound, cut from the casebook's recording at the place the survey found it."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from pianolab.errors import BadInput
from pianolab.io import clip_bytes, read_blocks
from pianolab.keyboard import note_name

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pianolab.acoustics import Survey
    from pianolab.io.write import EncodedClip

BEFORE_S, AFTER_S, LONGEST_S = 0.05, 0.6, 4.0
FADE_S = 0.02
BLOCK_S = 5.0
MP3_RATES_HZ = (16000, 22050, 24000, 32000, 44100, 48000)


def key_clip(path: Path, survey: Survey, *, key: int) -> EncodedClip:
    """A short compressed clip of one key, from just before the blow to just after the release.

    Parameters
    ----------
    path : the recording
    survey : what was heard in it
    key : key number, A4 = 49

    Raises
    ------
    BadInput
        where the recording does not hold that key
    """
    start_s, stop_s = _span(survey, key)
    samples, rate_hz = _part(path, start_s, stop_s)
    if not len(samples):
        raise BadInput(note_name(key), "a recording that ends before it", "the recording the survey is of")
    fade = min(len(samples) // 2, round(FADE_S * rate_hz))
    samples[len(samples) - fade :] *= np.linspace(1.0, 0.0, fade, dtype=np.float32)[:, None]
    return clip_bytes(samples, rate_hz=rate_hz, format="mp3" if rate_hz in MP3_RATES_HZ else "flac")


def _span(survey: Survey, key: int) -> tuple[float, float]:
    table = survey.table
    rows = table[table["key"] == key]
    onset_s = float(rows["onset_s"].iloc[0]) if len(rows) else math.nan
    if not math.isfinite(onset_s):
        raise BadInput(note_name(key), "no sound of this key in the recording", "a key that was recorded")
    hold_s = float(rows["hold_s"].iloc[0])
    length_s = min(LONGEST_S, hold_s + AFTER_S) if math.isfinite(hold_s) else LONGEST_S
    later = table.loc[table["onset_s"] > onset_s + BEFORE_S, "onset_s"]
    next_s = float(later.min()) - BEFORE_S if len(later) else math.inf
    return max(0.0, onset_s - BEFORE_S), min(onset_s + length_s, next_s)


def _part(path: Path, start_s: float, stop_s: float) -> tuple[NDArray[np.float32], int]:
    """Only the blocks around the note are kept in memory; at most two channels."""
    kept, at_s, rate_hz = [], 0.0, 0
    for block in read_blocks(path, block_s=BLOCK_S):
        rate_hz = block.rate_hz
        begin = max(0, round((start_s - at_s) * rate_hz))
        end = min(len(block.samples), round((stop_s - at_s) * rate_hz))
        if begin < end:
            kept.append(np.array(block.samples[begin:end, :2], np.float32))
        at_s += len(block.samples) / rate_hz
        if at_s >= stop_s:
            break
    return (np.concatenate(kept) if kept else np.zeros((0, 1), np.float32)), rate_hz
