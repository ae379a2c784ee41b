"""What is true about the notes of a modelled recording, read off their own modes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pianolab.keyboard import note_name
from pianolab.sound_model.note import Float32Array, ring, ring_seconds
from pianolab.sound_model.note_modes import NoteModes, note_modes
from pianolab.sound_model.piano import PianoModel
from pianolab.sound_model.strings import FloatArray
from pianolab.units import cents_between, key_to_hz, power_to_db

WINDOW_S = 0.030
TRUTH_COLUMNS = (
    "key",
    "note",
    "struck",
    "strikes",
    "onset_s",
    "release_s",
    "f1_hz",
    "cents",
    "inharmonicity",
    "unison_cents",
    "strings",
    "decay_20_s",
    "decay_20_within_hold",
    "release_20_s",
    "damped",
    "brightness_db",
    "blow_db",
    "faults",
)


@dataclass(frozen=True, kw_only=True)
class Strike:
    """One press of a key in a recording; times in s from its beginning."""

    key: int
    onset_s: float
    release_s: float
    blow_db: float
    blow: tuple[int, ...] = ()
    """Seed of this very blow, empty for the mean blow."""

    def stream(self) -> np.random.Generator | None:
        """The random numbers of this blow, the same at every call."""
        return np.random.default_rng(self.blow) if self.blow else None


@dataclass(frozen=True, kw_only=True)
class NoteTruth:
    """How long a note really sounds: dry, from its own modes, those of board and other strings with them.

    Without what is noise and not modes: knock of the action, buzz, noises of the release.
    """

    decay_20_s: float
    release_20_s: float
    brightness_db: float


def note_truth(modes: NoteModes, *, hold_s: float, rate_hz: int) -> NoteTruth:
    """True decay and release times of a note, read off its own sound without end.

    ``decay_20_s`` runs from the loudest 30 ms window to the last crossing of -20 dB while the key stays
    down; ``release_20_s`` from the release until the level last crosses 20 dB under that of the 30 ms
    before it.

    Parameters
    ----------
    modes : the note's partials as they decay
    hold_s : how long the key stays down, s
    rate_hz : frames per second

    Returns
    -------
    NoteTruth
    """
    free = _ring_down(modes, hold_s=None, from_s=0.0, rate_hz=rate_hz)
    time_s, level_db = level_curve(free, rate_hz=rate_hz)
    decay = fall_time(time_s, level_db, start=int(np.argmax(level_db)), drop_db=20.0)
    time_s, level_db = level_curve(
        _ring_down(modes, hold_s=hold_s, from_s=hold_s, rate_hz=rate_hz), rate_hz=rate_hz
    )
    start = int(np.searchsorted(time_s, hold_s - 0.5 * WINDOW_S + 1e-9) - 1)
    release = fall_time(time_s, level_db, start=start, drop_db=20.0) - (hold_s - time_s[start])
    return NoteTruth(decay_20_s=decay, release_20_s=release, brightness_db=modes.brightness_db())


def _ring_down(modes: NoteModes, *, hold_s: float | None, from_s: float, rate_hz: int) -> Float32Array:
    """The note until it lies 45 dB under its modes' level at ``from_s``: a dip between beats may be deep."""
    seconds = ring_seconds(modes, hold_s=hold_s, below_db=-45.0, from_s=from_s) + 2.0 * WINDOW_S
    left = np.abs(modes.amplitudes) * np.exp(modes.poles.real * from_s)
    floor = min(1e-6, 1e-4 * float(left.max()))
    return ring(modes, hold_s=hold_s, frames=round(seconds * rate_hz), rate_hz=rate_hz, floor=floor)


def level_curve(sound: Float32Array, *, rate_hz: int, hop_s: float = 0.005) -> tuple[FloatArray, FloatArray]:
    """Level over time: power in a 30 ms window, in dB, at the window's middle."""
    window, hop = round(WINDOW_S * rate_hz), max(1, round(hop_s * rate_hz))
    summed = np.concatenate([[0.0], np.cumsum(sound.astype(float) ** 2)])
    starts = np.arange(0, sound.size - window + 1, hop)
    power = (summed[starts + window] - summed[starts]) / window
    return (starts + 0.5 * window) / rate_hz, np.asarray(power_to_db(power, floor=1e-20))


def fall_time(time_s: FloatArray, level_db: FloatArray, *, start: int, drop_db: float) -> float:
    """Time from ``start`` to the last crossing of the level there less ``drop_db``; NaN if never below.

    Examples
    --------
    >>> t = np.arange(0.0, 5.0, 0.01)
    >>> round(fall_time(t, -10.0 * t, start=0, drop_db=20.0), 6)
    2.0
    """
    limit = level_db[start] - drop_db
    above = start + np.flatnonzero(level_db[start:] >= limit)
    last = int(above[-1])
    if last + 1 >= level_db.size:
        return float("nan")
    step = (level_db[last] - limit) / max(level_db[last] - level_db[last + 1], 1e-12)
    return float(time_s[last] + step * (time_s[last + 1] - time_s[last]) - time_s[start])


def truth_row(
    model: PianoModel, key: int, strikes: tuple[Strike, ...], *, rate_hz: int
) -> tuple[object, ...]:
    """One key's row of the truth; of repeated strikes it describes the longest hold."""
    mine = [s for s in strikes if s.key == key]
    best = max(mine, key=lambda s: s.release_s - s.onset_s) if mine else None
    strings = model.strings(key)
    f1_hz = float(strings.mean())
    kinds = [f.kind for f in model.faults if f.key == key]
    nan = float("nan")
    decay = release = brightness = nan
    hold_s = best.release_s - best.onset_s if best else nan
    if best and "silent" not in kinds:
        modes = note_modes(model, key, blow_db=best.blow_db, rate_hz=rate_hz, blow=best.stream())
        truth = note_truth(modes, hold_s=hold_s, rate_hz=rate_hz)
        decay, release, brightness = truth.decay_20_s, truth.release_20_s, truth.brightness_db
    return (
        key,
        note_name(key),
        best is not None,
        len(mine),
        best.onset_s if best else nan,
        best.release_s if best else nan,
        f1_hz,
        float(cents_between(f1_hz, key_to_hz(key, a4_hz=model.a4_hz))),
        model.inharmonicity(key),
        float(cents_between(strings.max(), strings.min())),
        strings.size,
        decay,
        bool(decay + WINDOW_S < hold_s),
        release,
        model.damped(key),
        brightness,
        best.blow_db if best else nan,
        ";".join(dict.fromkeys(kinds)),
    )
