"""How loud a clip is to the ear, so that clips can be played equally loud."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from pianolab.units import FloatArray, power_to_db

LOUDNESS_S = 1.0


def a_weight_db(f_hz: ArrayLike) -> FloatArray:
    """A-weighting in dB, 0 at 1 kHz; corner frequencies of [iec61672].

    Examples
    --------
    >>> a_weight_db(np.array([100.0, 1000.0])).round(1) + 0.0
    array([-19.1,   0. ])
    """
    f2 = np.maximum(np.asarray(f_hz, float), 1e-3) ** 2
    low, mid_low, mid_high, high = 20.598997, 107.65265, 737.86223, 12194.217
    gain = high**2 * f2**2 / (
        (f2 + low**2) * np.sqrt((f2 + mid_low**2) * (f2 + mid_high**2)) * (f2 + high**2)
    )  # fmt: skip
    return np.asarray(20.0 * np.log10(gain) + 2.0)


def loudness_db(samples: ArrayLike, *, rate_hz: int, first_s: float = LOUDNESS_S) -> float:
    """A-weighted level over the first moments of a clip, dB re full scale; the loudest channel counts.

    Parameters
    ----------
    samples : array, shape (frames,) or (frames, channels)
    rate_hz : int, Hz
    first_s : float, s; only so much of the clip is weighed, so that a note that rings on is not turned down

    Examples
    --------
    >>> tone = np.sin(2 * np.pi * 1000 * np.arange(16000) / 16000)
    >>> round(loudness_db(tone, rate_hz=16000) - loudness_db(0.1 * tone, rate_hz=16000), 3)
    20.0
    """
    part = np.asarray(samples, np.float64)[: round(first_s * rate_hz)]
    part = part.reshape(len(part), -1)
    weight = 10.0 ** (a_weight_db(np.fft.rfftfreq(len(part), 1.0 / rate_hz)) / 10.0)
    power = 2.0 * (np.abs(np.fft.rfft(part, axis=0)) ** 2 * weight[:, None]).sum(axis=0) / len(part) ** 2
    return float(np.max(power_to_db(power)))
