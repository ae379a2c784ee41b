"""Clips of the drills: blows equally strong and then roved, so that loudness tells nothing; and what is drawn of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from pianolab.acoustics import listen
from pianolab.acoustics.survey_result import COLUMNS, TEXT_COLUMNS
from pianolab.classroom.altering import RATE_HZ, blow_level, crest
from pianolab.classroom.blows import NOTE_S
from pianolab.errors import BadInput
from pianolab.io import momentary_lufs
from pianolab.sound_model.truth import level_curve
from pianolab.units import db_to_amplitude

Samples = NDArray[np.float32]
GAP_S, LEAD_S = 0.2, 0.25
"""From one note of a clip to the next; silence before a note that is listened to."""

BEFORE_S = 0.1
"""Background before the first blow of a clip."""

BLOW_DB, ROVE_DB, BACKGROUND_DB = -24.0, 3.0, -78.0
"""Strength of every blow (`strength_db`), dB re full scale; how far each is moved up or down from there by chance, so
that nobody wins by it; and the background under all of it, which is not moved."""

USUAL_CREST_DB = 7.0
"""Tallest sample of a blow over its strongest 30 ms, the middle of the shipped notes."""

NOISE_DB = -60.0
CLIP_LUFS, PEAK = -23.0, 0.95
"""Momentary loudness of a grading exhibit's sound at its loudest, and how far samples may go."""

DEEPEST_DB = -60.0


@dataclass(frozen=True, kw_only=True, eq=False)
class DrillClip:
    """One sound to play: ``label`` is what it is called before the answer (A, B, C), it tells nothing."""

    label: str
    samples: Samples
    rate_hz: int

    @property
    def seconds(self) -> float:
        return len(self.samples) / self.rate_hz


@dataclass(frozen=True, kw_only=True)
class Curve:
    """One line of the chart shown with the answer; x in s or Hz, level in dB re its maximum."""

    label: str
    x: tuple[float, ...]
    level_db: tuple[float, ...]
    x_unit: str = "s"


@dataclass(frozen=True, kw_only=True, eq=False)
class Played:
    """Keys that were played, what pianolab heard in them (a row per key), and when each begins."""

    samples: Samples
    rate_hz: int
    table: pd.DataFrame
    onsets_s: dict[int, float]
    ends_s: dict[int, float]

    def row(self, key: int) -> pd.Series:
        """What was heard of one key."""
        return self.table.loc[self.table["key"] == key].iloc[0]

    def cut(self, first_key: int, last_key: int | None = None) -> Samples:
        """The sound from one key to another, faded at both ends."""
        begin = round((self.onsets_s[first_key] - 0.1) * self.rate_hz)
        end = self.ends_s[first_key if last_key is None else last_key]
        count = round((end - self.onsets_s[first_key] + 0.1) * self.rate_hz)
        return faded(self.samples[begin : begin + count], rate_hz=self.rate_hz)


def faded(samples: Samples, *, rate_hz: int) -> Samples:
    """A clip that begins and ends without a click."""
    out = np.array(samples, np.float32)
    for seconds, way in ((0.004, slice(None)), (0.06, slice(None, None, -1))):
        n = min(len(out), round(seconds * rate_hz))
        out[way][:n] *= np.linspace(0.0, 1.0, n, dtype=np.float32)
    return out


def equally_loud(clips: dict[str, tuple[Samples, int]]) -> tuple[DrillClip, ...]:
    """Clips at one loudness, that of their loudest moment: a note that rings on is not turned down.

    Parameters
    ----------
    clips : label to samples (shape (frames,)) and sampling rate in Hz

    Notes
    -----
    Largest momentary loudness, K-weighted over 400 ms [bs1770] [ebu3341]. All are turned down together where
    one of them would go beyond full scale.
    """
    now = {label: momentary_lufs(x, rate_hz=rate) for label, (x, rate) in clips.items()}
    room_db = [now[k] - 20.0 * np.log10(float(np.abs(x).max()) / PEAK) for k, (x, _) in clips.items()]
    target = min(CLIP_LUFS, *room_db)
    return tuple(
        DrillClip(
            label=label,
            samples=(x * np.float32(db_to_amplitude(target - now[label]))).astype(np.float32),
            rate_hz=rate,
        )
        for label, (x, rate) in clips.items()
    )


def strength_db(note: ArrayLike) -> float:
    """How strong a blow counts, dB re full scale: the mean of its level and of its peak, this less what a peak usually is
    above the level. Of two blows the more peaked one is half of that softer and half of it taller, so that neither
    tells much.

    Examples
    --------
    >>> tone = np.sin(2 * np.pi * 440 * np.arange(RATE_HZ) / RATE_HZ)
    >>> round(blow_level(tone), 1), round(strength_db(tone), 1)
    (-3.0, -5.0)
    """
    blow = np.asarray(note, float)
    return blow_level(blow) + 0.5 * (crest(blow) - USUAL_CREST_DB)


def centroid_hz(note: ArrayLike, *, rate_hz: int = RATE_HZ) -> float:
    """Mean frequency of a note's first 0.8 s, weighted by power.

    Examples
    --------
    >>> round(centroid_hz(np.sin(2 * np.pi * 440 * np.arange(RATE_HZ) / RATE_HZ)))
    440
    """
    part = np.asarray(note, float)[: round(0.8 * rate_hz)]
    power = np.abs(np.fft.rfft(part * np.hanning(part.size))) ** 2
    return float(np.sum(np.fft.rfftfreq(part.size, 1.0 / rate_hz) * power) / power.sum())


def struck(label: str, notes: Sequence[ArrayLike], *, rng: np.random.Generator) -> DrillClip:
    """Notes one after another, every blow of one strength but for what ``rng`` moves it, over one background.

    Parameters
    ----------
    notes : arrays of one length, at `RATE_HZ`, each from its blow on
    """
    pieces = [np.zeros(round(BEFORE_S * RATE_HZ))]
    for note in notes:
        level_db = BLOW_DB + float(rng.uniform(-ROVE_DB, ROVE_DB)) - strength_db(note)
        one = faded(np.asarray(note, np.float32) * np.float32(db_to_amplitude(level_db)), rate_hz=RATE_HZ)
        pieces += [one.astype(float), np.zeros(round(GAP_S * RATE_HZ))]
    whole = np.concatenate(pieces)
    whole += db_to_amplitude(BACKGROUND_DB) * rng.standard_normal(whole.size)
    most = float(np.abs(whole).max())
    return DrillClip(label=label, samples=(whole * min(1.0, PEAK / most)).astype(np.float32), rate_hz=RATE_HZ)


def note_starts(count: int) -> list[float]:
    """When the notes of a clip begin, s."""
    return [BEFORE_S + n * (NOTE_S + GAP_S) for n in range(count)]


def listened(
    sound: NDArray[np.floating], key: int, *, rate_hz: int, seed: int, last_key: int | None = None
) -> Played:
    """One note, or those of neighbouring keys up to ``last_key``, between silences with a little noise, listened to."""
    lead = np.zeros(round(LEAD_S * rate_hz))
    whole = np.concatenate([lead, sound, np.zeros(round(0.4 * rate_hz))])
    level = np.sqrt(np.mean(np.asarray(sound, float) ** 2)) * db_to_amplitude(NOISE_DB)
    whole = (whole + level * np.random.default_rng([seed, key]).standard_normal(whole.size)).astype(
        np.float32
    )
    table = _heard(whole, rate_hz=rate_hz, first_key=key, last_key=last_key or key)
    end = LEAD_S + len(sound) / rate_hz
    return Played(samples=whole, rate_hz=rate_hz, table=table, onsets_s={key: LEAD_S}, ends_s={key: end})


def _heard(samples: Samples, *, rate_hz: int, first_key: int, last_key: int) -> pd.DataFrame:
    """The rows of what is heard; where the listening refuses the sound every key is unclear, and that is the reason."""
    try:
        return listen(samples, rate_hz=rate_hz, first_key=first_key, last_key=last_key).table
    except BadInput as refused:
        nothing = {name: "" if name in TEXT_COLUMNS else np.nan for name in COLUMNS}
        rows = [
            {**nothing, "key": k, "status": "unclear", "not_judged": str(refused)}
            for k in range(first_key, last_key + 1)
        ]
        return pd.DataFrame(rows)


def level_over_time(label: str, samples: ArrayLike, *, rate_hz: int = RATE_HZ) -> Curve:
    """Level of a sound over time, 30 ms windows, in dB re its loudest moment."""
    time_s, level_db = level_curve(np.asarray(samples, np.float32), rate_hz=rate_hz, hop_s=0.02)
    level_db = np.maximum(level_db - level_db.max(), DEEPEST_DB)
    return Curve(
        label=label, x=tuple(np.round(time_s, 3).tolist()), level_db=tuple(np.round(level_db, 1).tolist())
    )


def level_over_pitch(
    label: str, samples: ArrayLike, *, rate_hz: int = RATE_HZ, seconds: float = 0.8
) -> Curve:
    """Level of a sound's first moments in third-octave bands from 50 Hz to 12.5 kHz, dB re the strongest."""
    part = np.asarray(samples, float)[: round(seconds * rate_hz)]
    f_hz = np.fft.rfftfreq(part.size, 1.0 / rate_hz)
    power = np.abs(np.fft.rfft(part * np.hanning(part.size))) ** 2
    centres = 1000.0 * 2.0 ** (np.arange(-13, 12) / 3.0)
    bands = np.array([power[(f_hz >= c * 2 ** (-1 / 6)) & (f_hz < c * 2 ** (1 / 6))].sum() for c in centres])
    level_db = np.maximum(10.0 * np.log10(np.maximum(bands, 1e-20) / bands.max()), -80.0)
    return Curve(
        label=label,
        x=tuple(np.round(centres, 1).tolist()),
        level_db=tuple(np.round(level_db, 1).tolist()),
        x_unit="Hz",
    )
