"""Short-time and whole-note spectra: the arithmetic that every measure starts from.

Everything is done per channel; channels are never mixed before the partials are measured, because two
microphones can hear a partial in opposite phase.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import fft as sp_fft
from scipy.ndimage import median_filter

Samples = NDArray[np.float32]


def as_channels(samples: NDArray[np.floating]) -> Samples:
    """Samples as a (channels, frames) float32 array, whatever they came as."""
    array = np.asarray(samples, dtype=np.float32)
    return np.ascontiguousarray(array[None, :] if array.ndim == 1 else array.T)


def framed(channel: Samples, *, size: int, hop: int) -> NDArray[np.float32]:
    """Overlapping frames of one channel as a view, shape (count, size)."""
    count = max(0, 1 + (len(channel) - size) // hop)
    step = channel.strides[0]
    return np.lib.stride_tricks.as_strided(
        channel, shape=(count, size), strides=(hop * step, step), writeable=False
    )


@lru_cache(maxsize=512)
def _hann(size: int) -> NDArray[np.float32]:
    """A Hann window without its zeros at the ends, under which a sine of amplitude 1 has power 1."""
    window = np.hanning(size + 2)[1:-1]
    window = (window * (2.0 / window.sum())).astype(np.float32)
    window.flags.writeable = False
    return np.asarray(window)


def power_of_frames(
    channels: Samples, *, size: int, hop: int, rows: slice = slice(None)
) -> NDArray[np.float32]:
    """Power spectra of Hann-windowed frames, summed over channels, shape (frames, size // 2 + 1).

    A sine of amplitude 1 has power 1; ``rows`` picks some of the frames.
    """
    window = np.hanning(size + 1)[:-1].astype(np.float32)
    window *= np.float32(2.0 / window.sum())
    power = None
    for channel in channels:
        spectrum = sp_fft.rfft(framed(channel, size=size, hop=hop)[rows] * window, axis=-1)
        own = np.square(spectrum.real)
        own += np.square(spectrum.imag)
        power = own if power is None else power + own
    assert power is not None
    return np.asarray(power)


def frame_blocks(channels: Samples, *, size: int, hop: int, most: int = 1024) -> list[slice]:
    """Which frames there are, in blocks that keep memory small."""
    count = max(0, 1 + (channels.shape[1] - size) // hop)
    return [slice(first, min(first + most, count)) for first in range(0, count, most)]


def note_spectra(
    channels: Samples, *, starts: NDArray[np.int64], lengths: NDArray[np.int64], size: int
) -> NDArray[np.complex64]:
    """Whole-note spectra without a window, zero-padded to ``size``; shape (notes, channels, size // 2 + 1)."""
    padded = np.zeros((len(starts), channels.shape[0], size), dtype=np.float32)
    for row, (start, length) in enumerate(zip(starts, lengths, strict=True)):
        padded[row, :, :length] = channels[:, start : start + length]
    return np.asarray(sp_fft.rfft(padded, axis=-1, workers=2, overwrite_x=True), dtype=np.complex64)


def line_spectra(
    channels: Samples, *, starts: NDArray[np.int64], lengths: NDArray[np.int64], size: int
) -> NDArray[np.float32]:
    """Power of Hann-windowed stretches, summed over channels, a sine of amplitude 1 having power 1.

    Shape (stretches, size // 2 + 1); a stretch may be shorter than ``size``.
    """
    padded = np.zeros((len(starts), channels.shape[0], size), dtype=np.float32)
    for row, (start, length) in enumerate(zip(starts, lengths, strict=True)):
        n = int(length)
        if n < 8:
            continue
        padded[row, :, :n] = channels[:, start : start + n] * _hann(n)
    spectrum = sp_fft.rfft(padded, axis=-1, workers=2, overwrite_x=True)
    return np.asarray(np.sum(spectrum.real**2 + spectrum.imag**2, axis=1), dtype=np.float32)


def standing_out_db(
    power: NDArray[np.float32], *, rate_hz: int, size: int, beside_hz: float = 45.0
) -> NDArray[np.float32]:
    """How far each bin stands out of the noise beside it, in dB, 0 to 45; shape as ``power``."""
    half = max(3, round(beside_hz * size / rate_hz))
    step = max(1, half // 6)
    thin = np.log10(power[:, ::step] + 1e-20)
    floor = median_filter(thin, size=(1, 2 * (half // step) + 1), mode="nearest")
    full = np.repeat(floor, step, axis=1)[:, : power.shape[1]]
    # The median of a chi-square variable with two degrees of freedom lies 1.6 dB under its mean.
    return np.clip(10.0 * (np.log10(power + 1e-20) - full) - 7.0, 0.0, 45.0).astype(np.float32)


def fast_size(count: int) -> int:
    """A transform length at or above ``count`` that is quick."""
    return int(sp_fft.next_fast_len(int(count), real=True))
