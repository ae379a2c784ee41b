"""The noise of a room as a recording holds it: measured where nothing else sounds, and made anew without end."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft, ndimage, signal

from benchmarks import shoebox
from benchmarks.takes import Sound
from pianolab.errors import BadInput

FROM_SHARE, FROM_S, END_SHARE, END_S = 0.55, 1.0, 0.12, 0.5
"""Of a note's file the room is heard best from the later of the first two on, until the file's own fade begins."""
HISS_HZ = (6000.0, 11000.0)
"""Here nothing of any note is left by then, and coders still keep the noise."""
BLOCK = 8192
LIKE_LINES = 9
EMPTY = 1e-20
"""Least power of a line, full scale squared per Hz; the noise of 24 bits has about 1e-19."""


@dataclass(frozen=True, eq=False)
class RoomTone:
    """Noise of two channels: power of each over frequency and how alike they are.

    ``power`` has shape (lines, 2) in full scale squared per Hz, ``likeness`` shape (lines,) is the complex coherence.
    """

    rate_hz: int
    power: NDArray[np.float64]
    likeness: NDArray[np.complex128]

    @property
    def level_db(self) -> NDArray[np.float64]:
        """Level of each channel, dB of full scale (mean square)."""
        return 10 * np.log10(self.power.sum(axis=0) * self.rate_hz / BLOCK)

    def noise(self, frames: int, *, seed: int) -> Sound:
        """Noise of this kind, shape (frames, 2); the same seed gives the same."""
        rng = np.random.default_rng([seed, 41])
        size = fft.next_fast_len(max(frames, BLOCK), real=True)
        at = np.linspace(0, BLOCK // 2, size // 2 + 1)
        lines = np.arange(BLOCK // 2 + 1)
        # White noise of variance 1 has the power 2 / rate per Hz.
        gain = [np.interp(at, lines, np.sqrt(self.power[:, c] * self.rate_hz / 2)) for c in (0, 1)]
        like = np.interp(at, lines, self.likeness.real) + 1j * np.interp(at, lines, self.likeness.imag)
        one, other = (fft.rfft(rng.standard_normal(size, dtype=np.float32)) for _ in range(2))
        second = like * one + np.sqrt(1 - np.abs(like) ** 2) * other
        both = (fft.irfft(gain[0] * one, size)[:frames], fft.irfft(gain[1] * second, size)[:frames])
        return np.stack(both, axis=1).astype(np.float32)


def hiss(note: Sound, rate_hz: int) -> float:
    """Power per Hz of the noise in `HISS_HZ` late in a note, whatever still sounds below.

    Makers of samples give each note a gain of its own; this tells it. NaN where the note is too short.
    """
    rest = _room_part(note, rate_hz)
    if len(rest) < rate_hz // 4:
        return float("nan")
    f, power = signal.welch(rest[-4 * rate_hz :], rate_hz, nperseg=2048, axis=0, average="median")
    return float(np.median(power[(f > HISS_HZ[0]) & (f < HISS_HZ[1])].mean(axis=1)))


def measured_tone(notes: Sequence[Sound], rate_hz: int, *, level: float) -> RoomTone:
    """The room behind several short notes, each of shape (frames, 2): what most of them have after they are over.

    Medians over time and over the notes leave out what one of them has alone: its last partials, a pedal, a step.
    ``level`` is the `hiss` that the result has.

    Raises
    ------
    BadInput
        none of the notes leaves a second of room
    """
    rests = [(_room_part(note, rate_hz), hiss(note, rate_hz)) for note in notes]
    scaled = [
        [part * level / gain for part in _spectra(rest, rate_hz)]
        for rest, gain in rests
        if len(rest) >= max(4 * BLOCK, rate_hz // 2) and gain > 0
    ]
    if not scaled:
        raise BadInput("notes", "no stretch of room", "files that last a second longer than their notes")
    left, right, cross = (_median(parts) for parts in zip(*scaled, strict=True))
    like = cross / np.sqrt(left * right).real
    # Few blocks make strangers look alike by chance; neighbouring lines hardly differ, so their mean is nearer.
    like = ndimage.uniform_filter1d(like, LIKE_LINES)
    like /= np.maximum(1.0, np.abs(like) / 0.99)
    return RoomTone(rate_hz, np.stack([left.real, right.real], axis=1), like)


def _room_part(note: Sound, rate_hz: int) -> Sound:
    first = max(round(FROM_S * rate_hz), round(FROM_SHARE * len(note)))
    return note[first : len(note) - max(round(END_S * rate_hz), round(END_SHARE * len(note)))]


def _median(spectra: Sequence[NDArray[np.complex128]]) -> NDArray[np.complex128]:
    return np.median(np.real(spectra), axis=0) + 1j * np.median(np.imag(spectra), axis=0)


def _spectra(rest: Sound, rate_hz: int) -> tuple[NDArray[np.complex128], ...]:
    how = {"fs": rate_hz, "nperseg": BLOCK, "average": "median", "detrend": "linear"}
    left, right, cross = (
        signal.csd(rest[:, a], rest[:, b], **how)[1].astype(complex) for a, b in ((0, 0), (1, 1), (0, 1))
    )
    # Coders leave the topmost lines empty.
    return np.maximum(left.real, EMPTY) + 0j, np.maximum(right.real, EMPTY) + 0j, cross


def room_noise(
    frames: int, rate_hz: int, seed: int, channels: int = 1, *, tone: RoomTone | None = None
) -> Sound:
    """Room noise of power 1 (or as ``tone`` has it), shape (frames, channels): what gaps are filled with.

    Without a measured tone it is a microphone's: half white, half pink, other in each channel.
    """
    if tone is not None:
        if rate_hz != tone.rate_hz or channels > 2:
            raise BadInput(
                "rate_hz, channels", (rate_hz, channels), f"{tone.rate_hz} Hz and one or two channels"
            )
        return tone.noise(frames, seed=seed)[:, :channels]
    rng = np.random.default_rng([seed, 43])
    noise = [shoebox.microphone_noise(frames, rng) for _ in range(channels)]
    return np.stack(noise, axis=1).astype(np.float32)
