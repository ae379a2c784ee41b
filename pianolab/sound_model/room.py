"""The room and the microphone of a modelled recording."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from pianolab.errors import BadInput
from pianolab.sound_model.strings import FloatArray
from pianolab.units import db_to_amplitude, t60_to_rate

OCTAVES_HZ = (63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0, 16000.0)


@dataclass(frozen=True, kw_only=True)
class RecordingRoom:
    """A room as the microphone hears it.

    Parameters
    ----------
    t60_s : reverberation time at 500 Hz to 1 kHz
    drr_db : energy of the direct sound over that of all reflections
    bass_ratio, treble_ratio : reverberation time at 63 Hz and at 8 kHz over ``t60_s``
    treble_db : loss at 8 kHz on the way to the microphone, direct sound included
    early : number of single early reflections
    channels : 1, or 2 with different reflections

    Examples
    --------
    >>> room("hall").t60_s
    1.1
    """

    t60_s: float = 0.4
    drr_db: float = 2.0
    bass_ratio: float = 1.2
    treble_ratio: float = 0.6
    treble_db: float = 0.0
    early: int = 7
    channels: int = 1

    def __post_init__(self) -> None:
        limits = {
            "t60_s": (0.05, 10.0),
            "drr_db": (-30.0, 60.0),
            "bass_ratio": (0.2, 5.0),
            "treble_ratio": (0.1, 2.0),
            "treble_db": (0.0, 40.0),
            "early": (0, 50),
            "channels": (1, 2),
        }
        for name, (low, high) in limits.items():
            if not low <= getattr(self, name) <= high:
                raise BadInput(name, getattr(self, name), f"a value from {low:g} to {high:g}")

    def stereo(self) -> RecordingRoom:
        """The same room heard by two microphones."""
        return replace(self, channels=2)


ROOMS: dict[str, RecordingRoom] = {
    "home": RecordingRoom(),
    "hall": RecordingRoom(t60_s=1.1, drr_db=-2.0, bass_ratio=1.1, treble_ratio=0.5, early=9),
    "dull": RecordingRoom(t60_s=0.2, drr_db=5.0, bass_ratio=1.8, treble_ratio=0.45, treble_db=7.0, early=4),
    "bright": RecordingRoom(t60_s=0.9, drr_db=-1.0, bass_ratio=1.0, treble_ratio=0.85, early=9),
}


def room(name: str) -> RecordingRoom | None:
    """A room by name: ``dry`` (None: no room at all), ``home``, ``hall``, ``dull`` or ``bright``.

    Parameters
    ----------
    name : one of those names

    Returns
    -------
    Room, or None for ``dry``

    Examples
    --------
    >>> room("dry") is None, room("home").t60_s
    (True, 0.4)
    """
    if name == "dry":
        return None
    if name not in ROOMS:
        raise BadInput("room", repr(name), "one of dry, " + ", ".join(ROOMS))
    return ROOMS[name]


def t60_at(place: RecordingRoom, f_hz: FloatArray) -> FloatArray:
    """Reverberation time over frequency: flat from 500 Hz to 1 kHz, other ratios at the ends."""
    octaves = np.log2(np.asarray(f_hz, dtype=float) / 1000.0)
    ratio = np.interp(octaves, [-4.0, -1.0, 0.0, 3.0], [place.bass_ratio, 1.0, 1.0, place.treble_ratio])
    return np.asarray(place.t60_s * ratio)


def impulse_response(place: RecordingRoom, *, rate_hz: int, seed: int) -> FloatArray:
    """Impulse response of the room: direct sound, single reflections, noise that dies away by octaves.

    Parameters
    ----------
    place : the room
    rate_hz : frames per second
    seed : int; the same seed gives the same room

    Returns
    -------
    ndarray, shape (frames, channels); the direct sound is 1 in its first frame

    Examples
    --------
    >>> response = impulse_response(RecordingRoom(t60_s=0.3), rate_hz=16000, seed=1)
    >>> response.shape[1], float(response[0, 0])
    (1, 1.0)
    """
    longest = place.t60_s * max(1.0, place.bass_ratio, place.treble_ratio)
    frames = round(1.2 * longest * rate_hz)
    heard = [
        _one_channel(place, frames, rate_hz=rate_hz, rng=np.random.default_rng([seed, c, 5]))
        for c in range(place.channels)
    ]
    return np.stack(heard, axis=1)


def _one_channel(place: RecordingRoom, frames: int, *, rate_hz: int, rng: np.random.Generator) -> FloatArray:
    t = np.arange(frames) / rate_hz
    tail = np.zeros(frames)
    for f in OCTAVES_HZ:
        if f / np.sqrt(2.0) > 0.45 * rate_hz:
            break
        tail += _octave_noise(rng, frames, f_hz=f, rate_hz=rate_hz) * np.exp(
            -float(t60_to_rate(t60_at(place, np.array(f)))) * t
        )
    tail *= np.minimum(1.0, t / 0.012)
    delays = np.sort(rng.uniform(0.002, 0.035, place.early))
    spots = np.minimum(np.round(delays * rate_hz).astype(int), frames - 1)
    early = np.zeros(frames)
    strength = 0.6 * np.exp(-t60_to_rate(place.t60_s) * delays) * rng.choice([-1.0, 1.0], place.early)
    np.add.at(early, spots, strength / (1.0 + delays / 0.02))
    reflected = early / max(np.sqrt(np.sum(early**2)), 1e-12) * 0.6 + tail / np.sqrt(np.sum(tail**2)) * 0.8
    reflected *= db_to_amplitude(-place.drr_db) / np.sqrt(np.sum(reflected**2))
    reflected[0] = 1.0
    return reflected if place.treble_db == 0 else _dull(reflected, loss_db=place.treble_db, rate_hz=rate_hz)


def _octave_noise(rng: np.random.Generator, frames: int, *, f_hz: float, rate_hz: int) -> FloatArray:
    """Noise of one octave; equal power in each hertz over all octaves."""
    edges = (f_hz / np.sqrt(2.0), min(f_hz * np.sqrt(2.0), 0.49 * rate_hz))
    sos = signal.butter(3, edges, "bandpass", fs=rate_hz, output="sos")
    lead = round(8.0 * rate_hz / f_hz)
    return np.asarray(signal.sosfilt(sos, rng.standard_normal(frames + lead))[lead:])


def _dull(response: FloatArray, *, loss_db: float, rate_hz: int) -> FloatArray:
    """The response with the treble taken away, smoothly from 500 Hz down by ``loss_db`` at 8 kHz."""
    size = 2 * response.size
    f = np.fft.rfftfreq(size, 1.0 / rate_hz)
    octaves = np.log2(np.maximum(f, 1.0) / 500.0)
    gain_db = -loss_db * np.clip(octaves / 4.0, 0.0, 1.25)
    log_gain = np.concatenate([gain_db, gain_db[-2:0:-1]]) * np.log(10.0) / 20.0
    cepstrum = np.fft.ifft(log_gain).real
    cepstrum[1 : size // 2] *= 2.0
    cepstrum[size // 2 + 1 :] = 0.0
    shape = np.exp(np.fft.fft(cepstrum))[: size // 2 + 1]
    return np.asarray(np.fft.irfft(np.fft.rfft(response, size) * shape, size)[: response.size])


def in_room(
    sound: NDArray[np.float32], place: RecordingRoom | None, *, rate_hz: int, seed: int
) -> NDArray[np.float32]:
    """A dry sound as it is heard in a room; shape (frames,) or, in stereo, (frames, 2)."""
    if place is None:
        return sound
    response = impulse_response(place, rate_hz=rate_hz, seed=seed).astype(np.float32)
    heard = [signal.oaconvolve(sound, response[:, c])[: sound.size] for c in range(place.channels)]
    return np.asarray(heard[0] if place.channels == 1 else np.stack(heard, axis=1), dtype=np.float32)


def microphone_noise(
    frames: int, *, rate_hz: int, rng: np.random.Generator, hum_hz: float = 0.0, hum_db: float = -10.0
) -> FloatArray:
    """Noise of a microphone and a room at rest: half white, half pink, of power 1; hum comes on top.

    Examples
    --------
    >>> noise = microphone_noise(48000, rate_hz=48000, rng=np.random.default_rng(1))
    >>> bool(abs(np.mean(noise**2) - 1) < 0.01)
    True
    """
    white = rng.standard_normal(frames, dtype=np.float32)
    pink = signal.sosfilt(_pinking(rate_hz), rng.standard_normal(frames, dtype=np.float32))
    noise = white / np.sqrt(np.mean(white.astype(float) ** 2)) + pink / np.sqrt(np.mean(pink**2))
    noise = noise / np.sqrt(np.mean(noise.astype(float) ** 2))
    if hum_hz > 0:
        turn = 2.0 * np.pi * hum_hz * np.arange(frames) / rate_hz
        hum = np.sin(turn) + 0.5 * np.sin(2 * turn + 1.0) + 0.3 * np.sin(3 * turn + 2.0)
        noise = noise + hum * db_to_amplitude(hum_db) / np.sqrt(np.mean(hum**2))
    return np.asarray(noise)


def _pinking(rate_hz: int) -> FloatArray:
    """A filter that falls 3 dB an octave from 30 Hz: poles two octaves apart, zeros between them."""
    poles_hz = 30.0 * 4.0 ** np.arange(6)
    poles_hz = poles_hz[poles_hz < 0.2 * rate_hz]
    turn = 2.0 * np.pi / rate_hz
    return np.asarray(signal.zpk2sos(np.exp(-turn * 2.0 * poles_hz), np.exp(-turn * poles_hz), 1.0))
