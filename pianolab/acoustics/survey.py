"""`listen`: one continuous recording of the scale in, the survey table out."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from threadpoolctl import threadpool_limits

from pianolab.acoustics.columns import Listened
from pianolab.acoustics.judging.fault_rules import FoundFaults, judge_notes
from pianolab.acoustics.keys.faint import begin_with_tone, with_faint_keys, without_made_up
from pianolab.acoustics.keys.onsets import find_onsets
from pianolab.acoustics.keys.reading_keys import read_compass, strikes_of
from pianolab.acoustics.keys.sequence import read_sequence
from pianolab.acoustics.keys.strikes import Strikes
from pianolab.acoustics.limits import limits
from pianolab.acoustics.notes import NoteMeasures, Progress, measure_notes
from pianolab.acoustics.recorder.clipping import clipped_share
from pianolab.acoustics.recorder.quality import RecordingQuality, judge_recording
from pianolab.acoustics.recorder.recorder_states import forbid
from pianolab.acoustics.repeated import Repeats, StruckTwice, repeats_in, struck_twice, with_values
from pianolab.acoustics.spectra import Samples, as_channels
from pianolab.acoustics.survey_result import Survey, table_of
from pianolab.acoustics.survey_rows import (
    Asked,
    all_strikes,
    level_curves,
    offset_cents,
    partial_pitches,
    summarise,
    survey_rows,
)
from pianolab.errors import BadInput
from pianolab.keyboard import check_key
from pianolab.units import key_to_hz

LEAD_S = 0.25
FURTHEST_CENTS = 600
"""Half an octave: no piano that is still played stands further from A4 [practice]."""
Strokes = tuple[dict[str, Any], ...]


@dataclass(frozen=True, kw_only=True)
class Recorded:
    """What is known of a recording beside its sound.

    ``lossy`` says whether it was stored with loss; ``expected_offset_cents`` is the piano's pitch against A4 where it is
    known from elsewhere (a tuning device, a fork), within half an octave: then a wrong playback speed shows.

    Examples
    --------
    >>> Recorded(lossy=True).expected_offset_cents is None
    True
    """

    lossy: bool = False
    expected_offset_cents: float | None = None

    def __post_init__(self) -> None:
        off = self.expected_offset_cents
        if off is not None and not abs(off) <= FURTHEST_CENTS:
            got, need = f"{off:g} cents", f"{-FURTHEST_CENTS} to {FURTHEST_CENTS}"
            raise BadInput("how far the piano is from A4", got, need, "A semitone is 100 cents.")


UNKNOWN = Recorded()
"""A recording of which nothing else is known."""


def _quiet(step: str, share: float) -> None:
    """Say nothing."""


def listen(
    samples: NDArray[np.floating],
    *,
    rate_hz: int,
    first_key: int = 1,
    last_key: int = 88,
    a4_hz: float = 440.0,
    name: str = "recording",
    recorded: Recorded = UNKNOWN,
    progress: Progress | None = None,
) -> Survey:
    """Measure every key of a piano from one recording in which all keys were played in turn.

    Read the result as: a row per key, with the reason beside every value that could not be had.

    Parameters
    ----------
    samples : array, shape (frames,) or (frames, channels), full scale 1
    rate_hz : int, Hz, 16 000 or more; the sound is analysed as recorded
    first_key, last_key : int; the keys that were played lie within these (A0 = 1, A4 = 49)
    a4_hz : float, Hz; what A4 should be
    name : str; what to call the recording in error messages
    recorded : what else is known of the recording
    progress : called with what is being done and a share from 0 to 1

    Returns
    -------
    Survey

    Raises
    ------
    BadInput
        silence, no notes, a rate too low, or keys that don't fit ``first_key`` and ``last_key``

    Notes
    -----
    Sources and limits stand in the modules that measure: `keypath`, `modes`, `unison`, `decay`, `through_room`, `damper`,
    `reverberation`, `voicing`, `buzz`, `tuning`.

    Examples
    --------
    >>> import numpy as np
    >>> t = np.arange(3 * 16000) / 16000
    >>> tone = sum(np.sin(2 * np.pi * 440 * n * t) / n for n in range(1, 8)) * np.exp(-2 * t) * (t > 0.5)
    >>> survey = listen(tone + 1e-4 * np.sin(50 * t), rate_hz=16000, first_key=49, last_key=49)
    >>> abs(float(survey.table.cents.iloc[0])) < 0.5
    True
    """
    tell = progress or _quiet
    asked = Asked(first_key=first_key, last_key=last_key, a4_hz=a4_hz)
    heard = _checked(samples, asked, rate_hz=rate_hz, name=name)
    channels, lead_s = _with_lead(heard, rate_hz=rate_hz)
    tell("where notes begin", 0.05)
    onsets = find_onsets(channels, rate_hz=rate_hz)
    compass = {"first_key": first_key, "last_key": last_key}
    tell("which key each note is", 0.15)
    path = read_compass(channels, onsets, rate_hz=rate_hz, a4_hz=a4_hz, name=name, **compass)
    onsets, path = begin_with_tone(onsets, path, channels, rate_hz=rate_hz)
    path = without_made_up(onsets, path, channels, rate_hz=rate_hz)
    end_s = channels.shape[1] / rate_hz
    sequence = read_sequence(path, onsets, end_s=end_s, **compass)
    strikes = strikes_of(path, onsets, sequence, end_s=end_s)
    twice = struck_twice(strikes, path, onsets, sequence, end_s=end_s)
    sequence = with_faint_keys(sequence, channels, strikes, rate_hz=rate_hz)
    struck = all_strikes(path, onsets, sequence, lead_s=lead_s)
    # Many small matrices: threads of the linear algebra would only wait for one another.
    with threadpool_limits(limits=1, user_api="blas"):
        blows = _measured(channels, twice, struck, rate_hz=rate_hz, a4_hz=a4_hz, tell=tell)
        judged, clipped = blows.judged(a4_hz=a4_hz), blows.clipped
    notes = Listened(
        m=blows.measures, judged=judged, strikes=sequence.count, channels=channels, rate_hz=rate_hz
    )
    tell("table", 0.95)
    quality = _quality(notes, recorded, clipped=clipped, lead_s=lead_s)
    table = table_of(forbid(survey_rows(notes, sequence, **compass), quality.impairments))
    table["onset_s"] -= lead_s
    summary = summarise(notes, path, table, asked=asked, quality=quality, clipped=clipped)
    tell("done", 1.0)
    return Survey(
        table=table,
        summary=replace(summary, warnings=(*summary.warnings, *blows.repeats.sentences())),
        curves=level_curves(notes.m),
        strikes=blows.struck,
        partials=partial_pitches(notes.m),
    )


@dataclass(frozen=True, kw_only=True)
class _Blows:
    """The notes as they were measured, which of them are clipped, all blows, and how well keys struck twice agree."""

    measures: NoteMeasures
    clipped: NDArray[np.bool_]
    struck: Strokes
    repeats: Repeats

    def judged(self, *, a4_hz: float) -> FoundFaults:
        expected_hz = key_to_hz(self.measures.strikes.key, a4_hz=a4_hz)
        judged = judge_notes(self.measures, expected_hz=expected_hz, clipped=self.clipped)
        return self.repeats.in_judged(judged)


def _measured(
    channels: Samples, twice: StruckTwice, struck: Strokes, *, rate_hz: int, a4_hz: float, tell: Progress
) -> _Blows:
    """Every blow measured; keys struck twice say how far the recording's values may be off."""
    every_blow = measure_notes(channels, twice.strikes, rate_hz=rate_hz, progress=tell)
    clipped = _clipped(channels, twice.strikes, rate_hz=rate_hz)
    struck = with_values(struck, twice, every_blow, clipped=clipped, a4_hz=a4_hz)
    repeats = repeats_in(struck)
    measures = repeats.in_measures(twice.only_first(every_blow))
    return _Blows(measures=measures, clipped=clipped[twice.first], struck=struck, repeats=repeats)


def _quality(
    notes: Listened, recorded: Recorded, *, clipped: NDArray[np.bool_], lead_s: float
) -> RecordingQuality:
    return judge_recording(
        notes.channels,
        notes.m,
        rate_hz=notes.rate_hz,
        lossy=recorded.lossy,
        clipped=clipped,
        lead_s=lead_s,
        offset_cents=offset_cents(notes.m, notes.judged),
        expected_offset_cents=recorded.expected_offset_cents,
    )


def _checked(samples: NDArray[np.floating], asked: Asked, *, rate_hz: int, name: str) -> Samples:
    first_key, last_key, a4_hz = asked.first_key, asked.last_key, asked.a4_hz
    check_key(first_key, name="first key")
    check_key(last_key, name="last key")
    if first_key > last_key:
        raise BadInput("keys", f"{first_key} to {last_key}", "the first key not above the last", "Exchanged?")
    if not 380.0 <= a4_hz <= 500.0:
        raise BadInput("a4", f"{a4_hz:g} Hz", "380 to 500 Hz", "A4 is 440 Hz unless you know better.")
    if not 16000 <= rate_hz <= 192000:
        raise BadInput(
            name, f"a sampling rate of {rate_hz} Hz", "16000 to 192000 Hz", "Telephone or voice-memo quality?"
        )
    array = np.asarray(samples)
    if array.ndim not in (1, 2) or array.size == 0:
        raise BadInput(name, "no sound", "a recording of notes", "An empty file?")
    if array.shape[0] < 0.6 * rate_hz:
        raise BadInput(name, f"{array.shape[0] / rate_hz:.2f} s of sound", "0.6 s or more", "Cut off?")
    channels = as_channels(array)
    if not np.isfinite(channels).all():
        raise BadInput(name, "samples that are no numbers", "finite samples", "A damaged file?")
    if float(np.max(np.abs(channels))) < 1e-4:
        raise BadInput(
            name, "silence", "a recording of notes", "Wrong input chosen, or the microphone muted?"
        )
    return channels


def _with_lead(channels: Samples, *, rate_hz: int) -> tuple[Samples, float]:
    """A little silence in front of a recording that begins in the middle of a blow, and how much in s."""
    begin, whole = channels[:, : int(0.06 * rate_hz)], channels
    if float(np.mean(begin**2)) < 0.02 * float(np.mean(whole**2)):
        return channels, 0.0
    lead = int(LEAD_S * rate_hz)
    return np.concatenate(
        [np.zeros((channels.shape[0], lead), dtype=np.float32), channels], axis=1
    ), lead / rate_hz


def _clipped(channels: Samples, strikes: Strikes, *, rate_hz: int) -> NDArray[np.bool_]:
    share = [
        clipped_share(channels, begin=int(max(o, 0) * rate_hz), stop=int(min(n, o + 1.0) * rate_hz))
        for o, n in zip(strikes.onset_s, strikes.next_s, strict=True)
    ]
    ceiling = float(np.max(np.abs(channels)))
    tops = np.array(
        [
            float(np.max(np.abs(channels[:, int(max(o, 0) * rate_hz) : int(min(n, o + 1.0) * rate_hz)])))
            for o, n in zip(strikes.onset_s, strikes.next_s, strict=True)
        ]
    )
    return (np.array(share) > limits()["quality"]["clip_share"]) & (tops > 0.98 * ceiling)
