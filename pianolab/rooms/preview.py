"""A visit's clip as it might sound at home: only the difference of the two rooms, laid over it. Approximate."""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray

from pianolab.errors import BadInput
from pianolab.rooms.change import RoomChange
from pianolab.rooms.results import Span
from pianolab.rooms.surfaces import BANDS_HZ
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
    Echo that the recording has can't be removed: where home rings less, only the level changes.

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
    shape = _minimum_phase(_gain_db(spans, rate_hz), rate_hz)
    out = np.stack([_convolve(c, shape)[: len(clip)] for c in columns.T], axis=1)
    tail = _longer_tail(change, rate_hz, seed=seed)
    if tail is not None:
        out = np.stack([_convolve(c, tail) for c in out.T], axis=1)
    out /= max(1.0, float(np.max(np.abs(out))) / PEAK)
    return np.asarray(out[:, 0] if clip.ndim == 1 else out, dtype=np.float32)


def _gain_db(spans: tuple[Span, ...], rate_hz: int) -> FloatArray:
    """Gain at each frequency of the filter: the bands' middles, straight lines over the octaves between."""
    size = 2 ** int(np.ceil(np.log2(FILTER_S * rate_hz)))
    f = np.fft.rfftfreq(size, 1.0 / rate_hz)
    return np.asarray(np.interp(np.log2(np.maximum(f, 1.0)), np.log2(BANDS_HZ), [s.middle for s in spans]))


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


def _longer_tail(change: RoomChange, rate_hz: int, *, seed: int) -> FloatArray | None:
    """Direct sound of 1 and the echo that home adds, or None where it adds none."""
    before, after = change.showroom_t60_s, change.home.t60_s
    if before is None or after is None:
        return None
    pairs = [(b.middle, b.middle + c.middle) for b, c in zip(before, change.t60_s or (), strict=True)]
    bands = [i for i, (b, a) in enumerate(pairs) if a > LONGER_BY * b and BANDS_HZ[i] < 0.35 * rate_hz]
    if not bands:
        return None
    frames = round(1.1 * max(pairs[i][1] for i in bands) * rate_hz)
    rng = np.random.default_rng(seed)
    t = np.arange(frames) / rate_hz
    tail = np.zeros(frames)
    for i in bands:
        was, will = pairs[i]
        envelope = np.exp(-3.0 * np.log(10.0) * t / will)
        noise = _octave_noise(rng, frames, BANDS_HZ[i], rate_hz) * envelope
        share = 1.0 - was / will
        tail += noise * np.sqrt(share / max(float(np.sum(noise**2)), 1e-12)) * np.sqrt(_band_part(i))
    tail[0] = 0.0
    return np.asarray(_direct(frames) + tail)


def _band_part(i: int) -> float:
    """Energy of one octave in an impulse that has the same in each hertz, against all bands."""
    return float(BANDS_HZ[i] / np.sum(BANDS_HZ))


def _direct(frames: int) -> FloatArray:
    out = np.zeros(frames)
    out[0] = 1.0
    return out


def _octave_noise(rng: np.random.Generator, frames: int, f_hz: float, rate_hz: int) -> FloatArray:
    spectrum = np.fft.rfft(rng.standard_normal(frames))
    f = np.fft.rfftfreq(frames, 1.0 / rate_hz)
    octaves = np.abs(np.log2(np.maximum(f, 1.0) / f_hz))
    return np.asarray(np.fft.irfft(spectrum * np.clip(2.0 - 2.0 * octaves, 0.0, 1.0), frames))


def _convolve(sound: FloatArray, response: FloatArray) -> FloatArray:
    full = len(sound) + len(response) - 1
    size = 2 ** int(np.ceil(np.log2(full)))
    return np.asarray(np.fft.irfft(np.fft.rfft(sound, size) * np.fft.rfft(response, size), size)[:full])
