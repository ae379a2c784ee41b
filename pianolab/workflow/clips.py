"""Short clips of a few telling keys, the same of every instrument and equally loud, for the page."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pianolab.acoustics import Survey
from pianolab.casebook import Casebook
from pianolab.errors import PianolabError
from pianolab.io import Sound, clip_bytes, read_sound
from pianolab.io import loudness_db as weighted_db
from pianolab.keyboard import note_name
from pianolab.report import Clip
from pianolab.report.photos_and_clips import faded, note_span_s
from pianolab.workflow.hearing import Heard

TELLING_KEYS = (16, 28, 46, 58, 64, 76)
"""One or two of each register: C2, C3, F#4, F#5, C6, C7."""

LONGEST_S = 3.0
LOUDNESS_S = 1.0
PEAK = 0.9
LOUDEST_DB = -20.0

Samples = NDArray[np.float32]


@dataclass(frozen=True, kw_only=True)
class Cut:
    """One note cut from a recording: shape (frames, channels)."""

    key: int
    samples: Samples
    rate_hz: int


def clips_of(casebook: Casebook, heard: Mapping[str, Heard]) -> dict[str, tuple[Clip, ...]]:
    """The clips of every instrument whose recording can be read, from the recordings that count."""
    surveys = {i: h.own for i, h in heard.items()}
    keys = clip_keys(surveys)
    cuts = {}
    for i, h in heard.items():
        try:
            sound = read_sound(casebook.media_path(h.recording.media)) if keys else None
        except PianolabError:  # the survey is there, the sound is gone: no clips of this one
            sound = None
        cuts[i] = tuple(cut_note(sound, h.own, key=k) for k in keys) if sound is not None else ()
    return make_clips(surveys, cuts)


def clip_keys(surveys: Mapping[str, Survey]) -> tuple[int, ...]:
    """The keys to hear: near the telling ones, and measured in every recording."""
    heard = [{int(k) for k in s.table.loc[s.table["status"] == "measured", "key"]} for s in surveys.values()]
    common = sorted(set.intersection(*heard)) if heard else []
    nearest = [min(common, key=lambda k, t=t: (abs(k - t), k)) for t in TELLING_KEYS if common]  # type: ignore[misc]
    return (
        tuple(dict.fromkeys(k for k, t in zip(nearest, TELLING_KEYS, strict=True) if abs(k - t) <= 2))
        if common
        else ()
    )


def cut_note(sound: Sound, survey: Survey, *, key: int, longest_s: float = LONGEST_S) -> Cut:
    """One key's note out of a recording, from just before the blow to just after the release."""
    start_s, stop_s = note_span_s(survey, key=key, longest_s=longest_s)
    begin, stop = round(start_s * sound.rate_hz), round(min(stop_s, sound.seconds) * sound.rate_hz)
    return Cut(
        key=key, samples=faded(sound.samples[begin:stop, :2], rate_hz=sound.rate_hz), rate_hz=sound.rate_hz
    )


def loudness_db(cut: Cut) -> float:
    """A-weighted level over the first second, dB re full scale; the louder channel counts."""
    return weighted_db(cut.samples, rate_hz=cut.rate_hz, first_s=LOUDNESS_S)


def make_clips(
    surveys: Mapping[str, Survey], cuts: Mapping[str, tuple[Cut, ...]]
) -> dict[str, tuple[Clip, ...]]:
    """The cuts of every instrument, each key equally loud in all of them, encoded for the page."""
    made: dict[str, list[Clip]] = {i: [] for i in surveys}
    for key in sorted({c.key for own in cuts.values() for c in own}):
        of_key = {i: c for i, own in cuts.items() for c in own if c.key == key}
        for i, clip in zip(of_key, equally_loud(list(of_key.values())), strict=True):
            made[i].append(clip)
    return {i: tuple(clips) for i, clips in made.items()}


def equally_loud(cuts: Sequence[Cut], *, level_db: Callable[[Cut], float] = loudness_db) -> tuple[Clip, ...]:
    """The cuts encoded, all at one level: as loud as the peakiest of them allows, so that none is cut off."""
    levels = [level_db(c) for c in cuts]
    peaks = [float(20.0 * np.log10(max(np.abs(c.samples).max(), 1e-6) / PEAK)) for c in cuts]
    target = min([LOUDEST_DB, *(level - peak for level, peak in zip(levels, peaks, strict=True))])
    return tuple(_encoded(c, gain_db=target - level) for c, level in zip(cuts, levels, strict=True))


def _encoded(cut: Cut, *, gain_db: float) -> Clip:
    samples = cut.samples * np.float32(10.0 ** (gain_db / 20.0))
    data, mime = clip_bytes(samples, rate_hz=cut.rate_hz, format="mp3")
    return Clip(
        label=note_name(cut.key), key=cut.key, mime=mime, data=data, seconds=len(samples) / cut.rate_hz
    )
