"""Whether a long recording can hold notes at all, asked block by block before anything is kept of it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.fft import rfft

from pianolab.errors import BadInput
from pianolab.io.read import Source, read_blocks, sound_info
from pianolab.io.sound import say_duration
from pianolab.units import FloatArray

ASK_FROM_S = 300.0
"""From this length on it is asked; what is shorter is refused quickly where it is listened to."""

BLOCK_S, WINDOW_S = 60.0, 0.085
"""What is held in memory at once, s; and a window, s, short beside the shortest note of a piano [practice]."""

OCTAVES_HZ, THIRDS_FROM_HZ, HIGHEST_HZ = (60.0, 120.0), 240.0, 8000.0
"""Bands: octaves at the bottom, where narrower ones hold too few bins, thirds of an octave above."""

SILENCE = 1e-4
"""Below this, of full scale, nothing is heard; as `pianolab.acoustics.listen` has it."""

RISE_DB = 9.0
"""A blow lifts a band at least so far above that band's own minute. Steady noise does not: even in the lowest band,
where a window holds about four bins (chi-squared of seven degrees), the loudest of an hour lies 7 dB above the middle."""


def check_listenable(source: Source) -> None:
    """Refuse a long recording in which nothing ever begins, in bounded memory; a short one passes unasked.

    Where nothing rises above the noise, no note could be measured either. What does rise may still be no note: that is
    for `pianolab.acoustics.listen` to say.

    Parameters
    ----------
    source : path, or a binary file open for reading; it is read from its beginning

    Raises
    ------
    BadInput : silence, or noise without any beginning, in five minutes or more; or what can't be read

    Examples
    --------
    >>> from importlib.resources import as_file
    >>> from pianolab.io import real_notes
    >>> with as_file(real_notes()[49]) as path:
    ...     check_listenable(path)
    """
    info = sound_info(source)
    if info.frames is not None and info.frames < ASK_FROM_S * info.rate_hz:
        return
    loudest, seconds = 0.0, 0.0
    for block in read_blocks(source, block_s=BLOCK_S):
        loudest = max(loudest, float(np.abs(block.samples).max()))
        if something_begins(block.samples, rate_hz=block.rate_hz):
            return
        seconds += block.seconds
    if seconds < ASK_FROM_S:
        return
    long = say_duration(seconds)
    if loudest < SILENCE:
        raise BadInput(
            info.name,
            f"{long} of silence",
            "a recording of notes",
            "Wrong input chosen, or the microphone muted?",
        )
    got = f"{long} of steady noise in which nothing begins"
    raise BadInput(
        info.name, got, "a recording of notes", "The microphone too far away, or another recording?"
    )


def something_begins(samples: NDArray[np.float32], *, rate_hz: int) -> bool:
    """Whether some band of some window stands out from its own middle over the whole block.

    Parameters
    ----------
    samples : shape (frames, channels), full scale 1
    rate_hz : int, Hz

    Examples
    --------
    >>> noise = np.random.default_rng(1).standard_normal((32000, 1)).astype(np.float32) * 0.01
    >>> something_begins(noise, rate_hz=16000)
    False
    >>> noise[16000:24000, 0] += np.sin(np.arange(8000) * 0.2) * 0.05
    >>> something_begins(noise, rate_hz=16000)
    True
    """
    size = round(WINDOW_S * rate_hz)
    whole = len(samples) // size
    if whole < 3 or float(np.abs(samples).max()) < SILENCE:
        return False
    return any(
        bool((_band_levels(channel[: whole * size].reshape(whole, size), rate_hz=rate_hz) > RISE_DB).any())
        for channel in samples.T
    )


def _band_levels(windows: NDArray[np.float32], *, rate_hz: int) -> FloatArray:
    """Level of each band of each window above its median over all windows, dB; shape (windows, bands)."""
    size = windows.shape[1]
    power = np.abs(rfft(windows * np.hanning(size).astype(np.float32), axis=1)) ** 2
    count = int(3 * np.log2(min(HIGHEST_HZ, 0.45 * rate_hz) / THIRDS_FROM_HZ)) + 1
    edges_hz = np.concatenate([OCTAVES_HZ, THIRDS_FROM_HZ * 2.0 ** (np.arange(count) / 3)])
    edges = np.round(edges_hz * size / rate_hz).astype(int)
    bands = np.add.reduceat(power, edges, axis=1)[:, :-1]
    levels = 10.0 * np.log10(bands + SILENCE**2 * 1e-2)
    return np.asarray(levels - np.median(levels, axis=0), float)
