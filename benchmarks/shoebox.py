"""A rectangular room by image sources, with wall losses that depend on frequency, and microphone noise."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import fft, signal

from pianolab.errors import BadInput

SPEED_M_PER_S = 343.0
Point = tuple[float, float, float]
BANDS_HZ = np.array([125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0])
AIR_DB_PER_M = np.array([0.0003, 0.001, 0.002, 0.004, 0.009, 0.025, 0.09])
"""Order of magnitude at 20 degrees and 40 % humidity [from memory]."""


@dataclass(frozen=True, kw_only=True)
class Shoebox:
    """Room of ``size_m``; its walls absorb so much that the reverberation time is ``t60_s``."""

    size_m: tuple[float, float, float]
    t60_s: float
    piano_m: tuple[float, float, float]
    microphones_m: tuple[tuple[float, float, float], ...]
    absorption: float = 1.0


TILT = np.array([0.75, 0.85, 0.95, 1.0, 1.05, 1.1, 1.15])
"""Absorption at each octave over that at 1 kHz: a furnished room takes more of the treble [practice]."""


def room_of(name: str, rng: np.random.Generator) -> Shoebox:
    """A living room (``home``, T60 about 0.4 s) or a small hall (``hall``, about 1.1 s), varied a little."""
    size, t60, away = {
        "home": ((5.1, 3.9, 2.6), 0.40, 1.1),
        "hall": ((14.0, 9.5, 5.2), 1.10, 2.2),
    }[name]
    size = (
        size[0] * rng.uniform(0.92, 1.08),
        size[1] * rng.uniform(0.92, 1.08),
        size[2] * rng.uniform(0.92, 1.08),
    )
    piano, (first, second) = _places(size, away, rng.uniform(0.2, 1.3))
    wanted = t60 * rng.uniform(0.92, 1.08)
    return _settled(Shoebox(size_m=size, t60_s=wanted, piano_m=piano, microphones_m=(first, second)))


T60_S = (0.15, 2.0)
"""Reverberation times a room can be drawn for."""

MOST_IMAGES = 1.5e7
"""Image sources within reach that memory and patience allow."""


def room_for(t60_s: float, rng: np.random.Generator, *, volume_m3: float | None = None) -> Shoebox:
    """A room of a wanted reverberation time, with a piano and two microphones in it.

    Where no ``volume_m3`` is named it grows with the time as from a small room to a small hall, varied by half
    as much again: 22 m3 at the least, about 50 at 0.4 s, 700 at 1.1 s, 3000 at 2 s.

    Raises
    ------
    BadInput
        a time outside `T60_S`, a volume under 15 m3, or more images than `MOST_IMAGES`
    """
    if not T60_S[0] <= t60_s <= T60_S[1]:
        raise BadInput("t60_s", t60_s, f"{T60_S[0]} to {T60_S[1]} s", "For no room give none at all.")
    usual = max(22.0, 51.0 * (t60_s / 0.4) ** 2.6 * rng.uniform(0.67, 1.5))
    volume = usual if volume_m3 is None else volume_m3
    images = 4.19 * (1.1 * SPEED_M_PER_S * t60_s) ** 3 / max(volume, 1e-9)
    if volume < 15.0 or images > MOST_IMAGES:
        raise BadInput(
            "volume_m3",
            f"{volume:g}",
            "15 m3 or more, and more for long times",
            "Leave the size to the room.",
        )
    long, wide = rng.uniform(1.35, 1.75), rng.uniform(1.05, 1.3)
    height = 0.6 * float(np.cbrt(volume)) + 0.7
    floor = float(np.sqrt(volume / (height * long * wide)))
    size = (long * floor, wide * floor, height)
    away = 0.28 * float(np.cbrt(volume)) * rng.uniform(0.85, 1.15)
    piano, microphones = _places(size, away, rng.uniform(0.2, 1.3))
    return _settled(Shoebox(size_m=size, t60_s=t60_s, piano_m=piano, microphones_m=microphones))


def _places(size: Point, away: float, turn: float) -> tuple[Point, tuple[Point, Point]]:
    """Where the piano and two microphones stand, ``away`` m from it."""
    piano = (0.31 * size[0], 0.36 * size[1], 0.95)
    first = (piano[0] + away * np.cos(turn), piano[1] + away * np.sin(turn), 1.25)
    return piano, (first, (first[0] + 0.18, first[1] - 0.11, 1.27))


def _settled(room: Shoebox) -> Shoebox:
    """The room with so much absorption that the time measured in it is the one it says."""
    for _ in range(3):
        response = impulse_response(room, 0, rate_hz=16000, rng=np.random.default_rng(0))
        measured = measured_t60(response, rate_hz=16000)
        room = replace(room, absorption=room.absorption * measured / room.t60_s)
    return room


def reflection(room: Shoebox) -> NDArray[np.float64]:
    """Pressure reflection factor of the walls per octave: Eyring's formula, times what the shape of the room asks."""
    x, y, z = room.size_m
    surface, volume = 2 * (x * y + y * z + x * z), x * y * z
    per_s = 0.1611 * volume / (surface * room.t60_s)
    return np.exp(-0.5 * room.absorption * per_s * TILT)


def impulse_response(
    room: Shoebox, microphone: int, *, rate_hz: int, rng: np.random.Generator
) -> NDArray[np.float64]:
    """Direct sound and reflections at one microphone; the direct sound arrives with gain 1 at time 0."""
    reach = SPEED_M_PER_S * room.t60_s * 1.1
    axes = []
    for length, source, mic in zip(room.size_m, room.piano_m, room.microphones_m[microphone], strict=True):
        order = np.arange(-int(reach / length) - 1, int(reach / length) + 2)
        place = np.where(order % 2 == 0, order * length + source, (order + 1) * length - source)
        axes.append((place - mic, np.abs(order)))
    (dx, nx), (dy, ny), (dz, nz) = axes
    away = np.sqrt(dx[:, None, None] ** 2 + dy[None, :, None] ** 2 + dz[None, None, :] ** 2)
    bounces = nx[:, None, None] + ny[None, :, None] + nz[None, None, :]
    near = away < reach
    away, bounces = away[near], bounces[near]
    direct = away[bounces == 0][0]
    away = np.where(bounces > 0, away + rng.normal(0.0, 0.06, away.size) * np.sqrt(bounces), away)
    at = np.round((np.maximum(away, direct) - direct) / SPEED_M_PER_S * rate_hz).astype(int)
    keep = np.flatnonzero(at < int(reach / SPEED_M_PER_S * rate_hz))
    return _sum_bands(at[keep], away[keep], bounces[keep], direct, reflection(room), rate_hz)


def _sum_bands(at, away, bounces, direct, wall, rate_hz):  # type: ignore[no-untyped-def]
    """Arrivals per octave band, each through its zero-phase band filter, summed."""
    size = int(at.max()) + 1
    n = int(2 ** np.ceil(np.log2(size + rate_hz // 4)))
    f = np.fft.rfftfreq(n, 1 / rate_hz)
    place = np.clip(np.interp(np.log2(np.maximum(f, 1.0)), np.log2(BANDS_HZ), np.arange(7.0)), 0, 6)
    total = np.zeros(f.size, dtype=complex)
    for band in range(7):
        gain = direct / away * wall[band] ** bounces * 10 ** (-AIR_DB_PER_M[band] * (away - direct) / 20)
        total += np.fft.rfft(np.bincount(at, gain, minlength=size), n) * np.maximum(
            0, 1 - np.abs(place - band)
        )
    total *= f**2 / (f**2 + 40.0**2)
    return np.fft.irfft(total, n)[:size]


def measured_t60(response: NDArray[np.float64], *, rate_hz: int) -> float:
    """Reverberation time by backward integration from 350 to 2800 Hz, -5 to -25 dB."""
    band = signal.butter(2, [350.0, 2800.0], "bandpass", fs=rate_hz, output="sos")
    response = signal.sosfilt(band, response)
    left = np.cumsum(response[::-1] ** 2)[::-1]
    level = 10 * np.log10(left / left[0] + 1e-15)
    use = np.flatnonzero((level < -5) & (level > -25))
    return float(-60.0 / np.polyfit(use / rate_hz, level[use], 1)[0])


def microphone_noise(size: int, rng: np.random.Generator) -> NDArray[np.float64]:
    """Half white, half pink noise of power 1."""
    n = fft.next_fast_len(size, real=True)
    spectrum = fft.rfft(rng.standard_normal(n, dtype=np.float32))
    shape = 1 / np.sqrt(np.maximum(np.arange(spectrum.size), 4e-4 * n))
    pink = fft.irfft(spectrum * shape, n)[:size]
    return np.sqrt(0.5) * (pink / np.std(pink) + rng.standard_normal(size))


def in_room(dry: NDArray[np.float64], response: NDArray[np.float64]) -> NDArray[np.float64]:
    """The dry sound as heard through a room; same length."""
    return signal.oaconvolve(dry, response)[: dry.size]
