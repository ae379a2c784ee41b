"""A visit's clip as it might sound at home: only the difference of the two rooms, laid over it. Approximate."""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray

from pianolab.errors import BadInput
from pianolab.rooms.change import RoomChange
from pianolab.rooms.room_acoustics import RoomAcoustics
from pianolab.rooms.surfaces import BANDS_HZ, load_surfaces
from pianolab.units import FloatArray

FILTER_S = 0.1
LONGER_BY = 1.1
"""The tail is lengthened only where home rings longer than this many times the showroom."""
PEAK = 0.99


def listening_preview(
    samples: NDArray[np.floating],
    rate_hz: int,
    change: RoomChange,
    *,
    at: Literal["ear", "room"] = "room",
    seed: int = 0,
) -> NDArray[np.float32]:
    """The clip filtered by the calculated difference of the rooms; an approximation, to be marked as one.

    Parameters
    ----------
    samples : shape (frames,) or (frames, channels), full scale 1
    rate_hz : int, Hz
    change : from `compare_rooms`; its ``preview_note`` belongs beside the clip
    at : whose change of level is used, the player's or a listener's
    seed : int, for the noise that the longer tail is made of

    Returns
    -------
    ndarray float32, same channels; longer by the tail where home rings longer. Turned down as a whole if it
    would be over full scale.

    Raises
    ------
    BadInput
        Where the change isn't known, or for a clip with no sound in it.

    Notes
    -----
    A minimum-phase filter takes on the middle of the change in each octave; bands between are interpolated.
    Where home rings longer, the part of its echo that comes later than the showroom's is made of noise that dies
    away with home's time; filter and echo together make the change of level. Echo that the recording has can't be
    removed: where home rings less, only the level changes.

    Examples
    --------
    >>> from pianolab.model import Room
    >>> from pianolab.rooms.change import compare_rooms
    >>> home = Room(length_m=5, width_m=4, height_m=2.5, surfaces=("parquet", "plaster"))
    >>> same = compare_rooms(home, home)
    >>> click = np.zeros(4000); click[100] = 0.5
    >>> bool(np.allclose(listening_preview(click, 16000, same), click, atol=1e-6))
    True
    """
    spans = change.ear_db if at == "ear" else change.room_db
    if spans is None:
        raise BadInput("change", change.why_unknown or "nothing known", "two rooms that can be calculated")
    clip = np.asarray(samples, dtype=float)
    if clip.ndim not in (1, 2) or len(clip) == 0 or not np.all(np.isfinite(clip)):
        raise BadInput("samples", f"shape {clip.shape}", "sound of shape (frames,) or (frames, channels)")
    if not 8000 <= rate_hz <= 400_000:
        raise BadInput("rate_hz", rate_hz, "8000 to 400000 Hz")
    columns = clip[:, None] if clip.ndim == 1 else clip
    echo = _added_echo(change, rate_hz, at=at)
    gain_db = [span.middle - 10.0 * np.log10(1.0 + added) for span, added in zip(spans, echo, strict=True)]
    shape = _minimum_phase(_gain_db(gain_db, rate_hz), rate_hz)
    out = np.stack([_convolve(c, shape)[: len(clip)] for c in columns.T], axis=1)
    if any(echo):
        tail = _tail(change, echo, rate_hz, seed=seed)
        out = np.stack([_convolve(c, tail) for c in out.T], axis=1)
    out /= max(1.0, float(np.max(np.abs(out))) / PEAK)
    return np.asarray(out[:, 0] if clip.ndim == 1 else out, dtype=np.float32)


def _gain_db(bands_db: list[float], rate_hz: int) -> FloatArray:
    """Gain at each frequency of the filter: the bands' values, straight lines over the octaves between."""
    size = 2 ** int(np.ceil(np.log2(FILTER_S * rate_hz)))
    f = np.fft.rfftfreq(size, 1.0 / rate_hz)
    return np.asarray(np.interp(np.log2(np.maximum(f, 1.0)), np.log2(BANDS_HZ), bands_db))


def _minimum_phase(gain_db: FloatArray, rate_hz: int) -> FloatArray:
    """The impulse response with this gain that comes as early as possible: nothing sounds before the blow."""
    size = 2 * (len(gain_db) - 1)
    cepstrum = np.fft.irfft(gain_db * np.log(10.0) / 20.0, size)
    cepstrum[1 : size // 2] *= 2.0
    cepstrum[size // 2 + 1 :] = 0.0
    response = np.fft.irfft(np.exp(np.fft.rfft(cepstrum)), size)
    fade = round(0.2 * FILTER_S * rate_hz)
    response[size - fade :] *= np.linspace(1.0, 0.0, fade)
    return np.asarray(response)


def _added_echo(change: RoomChange, rate_hz: int, *, at: Literal["ear", "room"]) -> list[float]:
    """Energy of the late echo at home in each octave, against all that comes before it."""
    table = load_surfaces()
    limits = table.listener_m if at == "room" else table.placing[change.home.kind].ear_m
    added = []
    for i, f_hz in enumerate(BANDS_HZ):
        was, will = _t60_s(change.showroom, i), _t60_s(change.home, i)
        ratio = _echo_ratio(change.home, i, sum(limits) / 2.0)
        late = ratio / (1.0 + ratio) * (1.0 - was / will)
        added.append(late / (1.0 - late) if will > LONGER_BY * was and f_hz < 0.35 * rate_hz else 0.0)
    return added


def _echo_ratio(room: RoomAcoustics, i: int, distance_m: float) -> float:
    """Energy of the room's sound over that of the direct sound."""
    spans = room.critical_distance_m or ()
    longest = max(room.room.length_m or 0.0, room.room.width_m or 0.0)
    return float((min(distance_m, 0.8 * longest) / spans[i].middle) ** 2)


def _t60_s(room: RoomAcoustics, i: int) -> float:
    return (room.t60_s or ())[i].middle


def _tail(change: RoomChange, echo: list[float], rate_hz: int, *, seed: int) -> FloatArray:
    """Direct sound of 1, and behind it in each octave noise of the energy ``echo`` that dies with home's time."""
    times = [_t60_s(change.home, i) for i in range(len(echo))]
    longest_s = max(t for t, e in zip(times, echo, strict=True) if e)
    frames = 2 ** int(np.ceil(np.log2(longest_s * rate_hz)))
    t = np.arange(frames) / rate_hz
    rng = np.random.default_rng(seed)
    tail = np.zeros(frames)
    for i, added in enumerate(echo):
        noise = _octave_noise(rng, frames, BANDS_HZ[i], rate_hz) * np.exp(-3.0 * np.log(10.0) * t / times[i])
        power = np.abs(np.fft.rfft(noise)) ** 2
        mean = float(np.mean(power[_within(frames, BANDS_HZ[i], rate_hz)]))
        tail += noise * np.sqrt(added / max(mean, 1e-12))
    tail[0] = 1.0
    return tail[: round(longest_s * rate_hz)]


def _within(frames: int, f_hz: float, rate_hz: int) -> NDArray[np.bool_]:
    """Frequencies of the middle half of an octave."""
    return np.asarray(np.abs(np.log2(np.maximum(np.fft.rfftfreq(frames, 1.0 / rate_hz), 1.0) / f_hz)) < 0.25)


def _octave_noise(rng: np.random.Generator, frames: int, f_hz: float, rate_hz: int) -> FloatArray:
    spectrum = np.fft.rfft(rng.standard_normal(frames))
    f = np.fft.rfftfreq(frames, 1.0 / rate_hz)
    octaves = np.abs(np.log2(np.maximum(f, 1.0) / f_hz))
    return np.asarray(np.fft.irfft(spectrum * np.clip(1.5 - 2.0 * octaves, 0.0, 1.0) ** 0.5, frames))


def _convolve(sound: FloatArray, response: FloatArray) -> FloatArray:
    full = len(sound) + len(response) - 1
    size = 2 ** int(np.ceil(np.log2(full)))
    return np.asarray(np.fft.irfft(np.fft.rfft(sound, size) * np.fft.rfft(response, size), size)[:full])
