"""Sounds of the drills: modelled notes with known faults, and real notes altered in a known way.

Every sound is listened to by pianolab itself before a pupil hears it; rendering is kept, so that a set
that was made once is made at once again.
"""

from __future__ import annotations

import io
from dataclasses import dataclass, replace
from functools import lru_cache
from math import gcd

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline
from scipy.signal import resample_poly

from pianolab.acoustics import listen
from pianolab.acoustics.results import COLUMNS, TEXT_COLUMNS
from pianolab.errors import BadInput
from pianolab.io import momentary_lufs, read_sound, real_notes
from pianolab.sound_model import KeyFault, PianoModel, note_modes, note_truth, render_note, render_scale
from pianolab.sound_model.truth import level_curve
from pianolab.units import db_to_amplitude, shift_cents

Samples = NDArray[np.float32]
RATE_HZ = 32000
HOLD_S, AFTER_S, GAP_S, LEAD_S = 2.0, 0.7, 0.2, 0.25
"""Held, still heard after the key is let go, then the next key; silence before the first. The same in every drill:
the length of a sound tells nothing."""

AROUND = 4
"""Neighbours on either side that are played, so that a key can be told from them."""

NOISE_DB = -60.0
CLIP_LUFS, PEAK = -23.0, 0.95
"""Momentary loudness of every clip at its loudest, and how far its samples may go."""

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
        DrillClip(label=label, samples=(x * np.float32(db_to_amplitude(target - now[label]))).astype(np.float32), rate_hz=rate)
        for label, (x, rate) in clips.items()
    )  # fmt: skip


@lru_cache(maxsize=48)
def play_around(model: PianoModel, key: int, *, seed: int, around: int = AROUND) -> Played:
    """A key of the modelled piano with its neighbours, played and listened to."""
    first, last = max(model.first_key, key - around), min(model.last_key, key + around)
    scale = render_scale(
        model, first_key=first, last_key=last, hold_s=HOLD_S, gap_s=AFTER_S + GAP_S, rate_hz=RATE_HZ, snr_db=-NOISE_DB,
        lead_in_s=LEAD_S, tail_s=1.0, seed=seed, jitter=0.0,
    )  # fmt: skip
    table = _heard(scale.samples, rate_hz=RATE_HZ, first_key=first, last_key=last)
    onsets = {s.key: s.onset_s for s in scale.strikes}
    ends = {s.key: s.release_s + AFTER_S for s in scale.strikes}
    return Played(samples=scale.samples, rate_hz=RATE_HZ, table=table, onsets_s=onsets, ends_s=ends)


@lru_cache(maxsize=96)
def play_note(model: PianoModel, key: int, *, seed: int) -> Played:
    """One key of the modelled piano alone, played and listened to."""
    sound = render_note(model, key, seconds=HOLD_S + AFTER_S, hold_s=HOLD_S, rate_hz=RATE_HZ, seed=seed)
    return listened(sound, key, rate_hz=RATE_HZ, seed=seed)


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


def with_fault(model: PianoModel, fault: KeyFault | None) -> PianoModel:
    """The same piano with one more fault."""
    return model if fault is None else replace(model, faults=(*model.faults, fault))


@lru_cache(maxsize=1024)
def true_rate_db_per_s(model: PianoModel, key: int) -> float:
    """How fast a key of the modelled piano falls by its first 20 dB, from its own modes, dB/s."""
    truth = note_truth(note_modes(model, key, rate_hz=RATE_HZ), hold_s=HOLD_S, rate_hz=RATE_HZ)
    return 20.0 / truth.decay_20_s


def real_keys(first: int = 34, last: int = 61) -> tuple[int, ...]:
    """Keys of the shipped real notes in the middle of the keyboard, where two and a half seconds tell enough."""
    return tuple(k for k in real_notes() if first <= k <= last)


@lru_cache(maxsize=16)
def _recorded(key: int) -> NDArray[np.float64]:
    """One of the real notes, in one channel at the drills' rate: what a sound is made from doesn't show in its form."""
    notes = real_notes()
    if key not in notes:
        raise BadInput("key", key, "one of " + ", ".join(map(str, notes)), "Every third key was recorded.")
    room = io.BytesIO(notes[key].read_bytes())
    room.name = notes[key].name
    sound = read_sound(room)
    mono = sound.samples.mean(axis=1)[: round((HOLD_S + AFTER_S + 0.1) * sound.rate_hz)].astype(np.float64)
    common = gcd(RATE_HZ, sound.rate_hz)
    return resample_poly(mono, RATE_HZ // common, sound.rate_hz // common)[
        : round((HOLD_S + AFTER_S) * RATE_HZ)
    ]


@lru_cache(maxsize=48)
def play_real(key: int, *, added_db_per_s: float = 0.0, added_copy_cents: float = 0.0) -> Played:
    """A real note as it was recorded, or altered in a known way; listened to.

    Parameters
    ----------
    key : one of `real_keys`
    added_db_per_s : so much faster it dies away
    added_copy_cents : a copy of itself, as loud, sounds with it so much higher; 0 for none
    """
    sound = _recorded(key)
    if added_copy_cents:
        sound = 0.5 * (sound + _higher(sound, added_copy_cents))
    sound = sound * db_to_amplitude(-added_db_per_s * np.arange(len(sound)) / RATE_HZ)
    return listened(faded(sound.astype(np.float32), rate_hz=RATE_HZ), key, rate_hz=RATE_HZ, seed=1)


def _higher(sound: NDArray[np.float64], cents: float) -> NDArray[np.float64]:
    """The same sound played faster by so many cents, as a tape would be."""
    fine = resample_poly(sound, 4, 1)
    at = np.arange(len(sound)) * 4.0 * float(shift_cents(1.0, cents))
    at = np.minimum(at, len(fine) - 1.0)
    return np.asarray(CubicSpline(np.arange(len(fine)), fine)(at))


def level_over_time(label: str, samples: Samples, *, rate_hz: int) -> Curve:
    """Level of a sound over time, 30 ms windows, in dB re its loudest moment."""
    time_s, level_db = level_curve(np.asarray(samples, np.float32), rate_hz=rate_hz, hop_s=0.02)
    level_db = np.maximum(level_db - level_db.max(), DEEPEST_DB)
    return Curve(
        label=label, x=tuple(np.round(time_s, 3).tolist()), level_db=tuple(np.round(level_db, 1).tolist())
    )


def level_over_pitch(label: str, samples: Samples, *, rate_hz: int, seconds: float = 0.8) -> Curve:
    """Level of a sound's first moments in third-octave bands from 50 Hz to 12.5 kHz, dB re the strongest."""
    part = np.asarray(samples, float)[: round(seconds * rate_hz)]
    f_hz = np.fft.rfftfreq(part.size, 1.0 / rate_hz)
    power = np.abs(np.fft.rfft(part * np.hanning(part.size))) ** 2
    centres = 1000.0 * 2.0 ** (np.arange(-13, 12) / 3.0)
    bands = np.array([power[(f_hz >= c * 2 ** (-1 / 6)) & (f_hz < c * 2 ** (1 / 6))].sum() for c in centres])
    level_db = np.maximum(10.0 * np.log10(np.maximum(bands, 1e-20) / bands.max()), -80.0)
    return Curve(label=label, x=tuple(np.round(centres, 1).tolist()), level_db=tuple(np.round(level_db, 1).tolist()), x_unit="Hz")  # fmt: skip
