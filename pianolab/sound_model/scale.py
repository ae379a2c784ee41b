"""A whole scale played on the modelled piano, recorded in a room, with the truth about every key."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pianolab.errors import BadInput
from pianolab.keyboard import check_key
from pianolab.show import Row, Showable
from pianolab.sound_model.note import Press, ring_seconds, strike
from pianolab.sound_model.note_modes import note_modes
from pianolab.sound_model.piano import PianoModel
from pianolab.sound_model.room import RecordingRoom, in_room, microphone_noise
from pianolab.sound_model.truth import TRUTH_COLUMNS, Strike, truth_row
from pianolab.units import db_to_amplitude

if TYPE_CHECKING:
    from pianolab.sound_model.note import Float32Array

LONGEST_TAIL_S = 12.0
LIMITS: dict[str, tuple[float, float]] = {
    "hold_s": (0.1, 60.0),
    "gap_s": (0.05, 30.0),
    "rate_hz": (8000, 192000),
    "jitter": (0.0, 0.5),
    "blow_spread_db": (0.0, 20.0),
    "lead_in_s": (0.0, 60.0),
    "tail_s": (0.0, 60.0),
    "peak_db": (-60.0, 0.0),
    "snr_db": (-20.0, float("inf")),
    "hum_hz": (0.0, 1000.0),
}


@dataclass(frozen=True, kw_only=True, repr=False, eq=False)
class ModelledScale(Showable):
    """A modelled recording and what is true about it.

    ``samples`` is float32 of shape (frames,) or (frames, channels); ``truth`` has a row per key of the
    compass (see `render_scale`), ``strikes`` every press; ``snr_db`` is infinite and ``t60_s`` None where
    there is no noise and no room.
    """

    samples: NDArray[np.float32]
    rate_hz: int
    truth: pd.DataFrame
    strikes: tuple[Strike, ...]
    model: PianoModel
    room: RecordingRoom | None
    snr_db: float
    seed: int

    @property
    def t60_s(self) -> float | None:
        """Reverberation time of the room at 500 Hz to 1 kHz, None without a room."""
        return self.room.t60_s if self.room else None

    @property
    def seconds(self) -> float:
        """Length of the recording."""
        return self.samples.shape[0] / self.rate_hz

    def headline(self) -> str:
        return f"{len(self.strikes)} strikes, {self.seconds:.1f} s at {self.rate_hz} Hz"

    def rows(self) -> list[Row]:
        return [
            ("length", self.seconds, "s", ""),
            ("sampling rate", self.rate_hz, "Hz", ""),
            ("reverberation time", self.t60_s, "s", "" if self.room else "no room"),
            ("signal to noise", self.snr_db, "dB", "power while keys are held over that of the noise"),
            ("keys with a fault", int((self.truth["faults"] != "").sum()), "keys", ""),
        ]


@dataclass(frozen=True, kw_only=True)
class Playing:
    """How a scale is played and recorded, in one go; the fields are those that `render_scale` takes by name.

    ``first_key`` and ``last_key`` are the compass played, upwards, the whole keyboard of the model where None;
    ``skipped`` keys are passed over, ``repeated`` ones struck twice. A key is held for ``hold_s``, then nothing
    sounds for ``gap_s``; ``jitter`` is the relative standard deviation of both, ``blow_spread_db`` that of the
    blows' level. ``lead_in_s`` and ``tail_s`` are recorded before and after. ``room`` is None for a dry sound;
    ``snr_db`` is the mean power of the sound while a key is held over that of the noise, infinite for no noise;
    hum, if any, lies 10 dB under the noise. ``peak_db`` is the level of the largest sample, dB re full scale.
    """

    first_key: int | None = None
    last_key: int | None = None
    skipped: Collection[int] = ()
    repeated: Collection[int] = ()
    hold_s: float = 2.0
    gap_s: float = 0.5
    jitter: float = 0.05
    blow_spread_db: float = 1.5
    lead_in_s: float = 1.0
    tail_s: float = 2.0
    rate_hz: int = 44100
    room: RecordingRoom | None = None
    snr_db: float = float("inf")
    hum_hz: float = 0.0
    peak_db: float = -3.0

    def __post_init__(self) -> None:
        for name, (low, high) in LIMITS.items():
            value = getattr(self, name)
            if not low <= value <= high:
                raise BadInput(name, value, f"a value from {low:g} to {high:g}")

    def keys_of(self, model: PianoModel) -> range:
        """The compass played on this piano, with the keys passed over.

        Raises
        ------
        BadInput : keys that the piano doesn't have, or none that is played
        """
        first = model.first_key if self.first_key is None else self.first_key
        last = model.last_key if self.last_key is None else self.last_key
        for name, key in (("first_key", first), ("last_key", last)):
            if not model.first_key <= check_key(key, name=name) <= model.last_key:
                raise BadInput(name, key, f"a key of this piano, {model.first_key} to {model.last_key}")
        if first > last:
            raise BadInput("first_key", first, f"a key up to last_key {last}")
        if set(range(first, last + 1)) <= set(self.skipped):
            raise BadInput("skipped", "every key", "at least one key that is played")
        return range(first, last + 1)


def render_scale(model: PianoModel, *, seed: int = 1, **playing: Any) -> ModelledScale:
    """Play a chromatic scale on the modelled piano and record it in one go.

    Parameters
    ----------
    model : PianoModel
    seed : draws timing, blows, noise and the room; the model has its own
    **playing : the fields of `Playing` by name: which keys, how they are played, what records them

    Returns
    -------
    ModelledScale; ``truth`` has these columns: ``key``, ``note``, ``struck``, ``strikes``, ``onset_s``
    and ``release_s`` (of the longest hold), ``f1_hz`` and ``cents`` (mean of the uncoupled strings' first
    partials, against equal temperament at the model's A4), ``inharmonicity``, ``unison_cents`` (highest
    less lowest uncoupled string, 0 for one), ``strings``, ``decay_20_s`` and ``release_20_s`` (see
    `pianolab.sound_model.truth.note_truth`), ``decay_20_within_hold``, ``damped``, ``brightness_db`` (power
    above 4 f1, from key 77 above 2 f1, over all power at the blow), ``blow_db``, ``faults`` (``;`` between
    them). Times and decays are NaN where nothing sounded.

    Raises
    ------
    BadInput : keys, times or rates no recording has

    Examples
    --------
    >>> scale = render_scale(PianoModel(seed=2), first_key=40, last_key=42, hold_s=0.4, rate_hz=16000)
    >>> list(scale.truth["note"]), scale.samples.ndim
    (['C4', 'C#4', 'D4'], 1)
    """
    how = Playing(**playing)
    if not 0 <= seed <= 2**63:
        raise BadInput("seed", seed, "a value from 0 to 2^63")
    keys = how.keys_of(model)
    plan_rng, noise_rng = (np.random.default_rng([seed, part]) for part in (1, 2))
    strikes = _plan(keys, how, plan_rng, seed=seed)
    sound = in_room(_play(model, strikes, how), how.room, rate_hz=how.rate_hz, seed=seed)
    if np.isfinite(how.snr_db):
        sound = _with_noise(sound, strikes, how, noise_rng)
    peak = float(np.abs(sound).max())
    if peak > 0:
        sound = (sound * np.float32(db_to_amplitude(how.peak_db) / peak)).astype(np.float32)
    rows = [truth_row(model, k, strikes, rate_hz=how.rate_hz) for k in keys]
    return ModelledScale(
        samples=sound,
        rate_hz=how.rate_hz,
        truth=pd.DataFrame(rows, columns=list(TRUTH_COLUMNS)),
        strikes=strikes,
        model=model,
        room=how.room,
        snr_db=how.snr_db,
        seed=seed,
    )


def _plan(keys: range, how: Playing, rng: np.random.Generator, *, seed: int) -> tuple[Strike, ...]:
    """When each key is struck and let go, with the unsteadiness of a hand."""
    twice, skipped = set(how.repeated), set(how.skipped)
    order = [k for k in keys if k not in skipped for _ in range(2 if k in twice else 1)]
    unsteady = np.clip(1.0 + how.jitter * rng.standard_normal((2, len(order))), 0.5, 1.5)
    holds, gaps = how.hold_s * unsteady[0], how.gap_s * unsteady[1]
    onsets = how.lead_in_s + np.concatenate([[0.0], np.cumsum(holds + gaps)[:-1]])
    blows = how.blow_spread_db * rng.standard_normal(len(order))
    return tuple(
        Strike(key=k, onset_s=float(t), release_s=float(t + h), blow_db=float(b), blow=(seed, number, 3))
        for number, (k, t, h, b) in enumerate(zip(order, onsets, holds, blows, strict=True))
    )


def _play(model: PianoModel, strikes: tuple[Strike, ...], how: Playing) -> Float32Array:
    """All strikes mixed into one dry sound; undamped notes ring on into the next."""
    rate_hz = how.rate_hz
    sound = np.zeros(round((strikes[-1].release_s + how.tail_s) * rate_hz), dtype=np.float32)
    for s in strikes:
        start = round(s.onset_s * rate_hz)
        hold_s = s.release_s - s.onset_s
        rng = np.random.default_rng(s.blow)
        modes = note_modes(model, s.key, blow_db=s.blow_db, rate_hz=rate_hz, blow=rng)
        rings = min(ring_seconds(modes, hold_s=hold_s, below_db=-90.0), hold_s + LONGEST_TAIL_S)
        length = min(max(rings, hold_s + 0.4), (sound.size - start) / rate_hz)
        press = Press(hold_s=hold_s, blow_db=s.blow_db)
        part = strike(model, s.key, press, seconds=length, rate_hz=rate_hz, rng=rng, modes=modes)
        part = part[: sound.size - start]
        sound[start : start + part.size] += part
    return sound


def _with_noise(
    sound: NDArray[np.float32],
    strikes: tuple[Strike, ...],
    how: Playing,
    rng: np.random.Generator,
) -> NDArray[np.float32]:
    """The sound with microphone noise; each channel its own, at one level."""
    energy, frames = 0.0, 0
    channels = sound.reshape(sound.shape[0], -1)
    for s in strikes:
        held = channels[round(s.onset_s * how.rate_hz) : round(s.release_s * how.rate_hz)]
        energy, frames = energy + float(np.sum(held.astype(float) ** 2)), frames + held.size
    level = np.sqrt(energy / max(frames, 1)) * db_to_amplitude(-how.snr_db)
    noisy = np.empty_like(channels)
    for c in range(channels.shape[1]):
        noise = microphone_noise(channels.shape[0], rate_hz=how.rate_hz, rng=rng, hum_hz=how.hum_hz)
        noisy[:, c] = channels[:, c] + level * noise
    return noisy.reshape(sound.shape)
