"""How loud a clip is to the ear, so that clips can be played equally loud."""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import ArrayLike
from scipy.signal import bilinear_zpk, sosfilt, tf2zpk, zpk2sos

from pianolab.units import FloatArray, power_to_db

LOUDNESS_S = 1.0
BLOCK_S, HOP_S = 0.4, 0.1
"""Momentary loudness: length of a block and step from one to the next, s [ebu3341]."""

K_RATE_HZ = 48000
K_STAGES = (
    ((1.53512485958697, -2.69169618940638, 1.19839281085285), (1.0, -1.69065929318241, 0.73248077421585)),
    ((1.0, -2.0, 1.0), (1.0, -1.99004745483398, 0.99007225036621)),
)
"""Numerators and denominators of the K-weighting at 48 kHz: the head's shelf, then the high-pass [bs1770]."""

K_OFFSET_DB = -0.691
"""So that 997 Hz at full scale in one channel reads -3.01 LUFS [bs1770]."""


def a_weight_db(f_hz: ArrayLike) -> FloatArray:
    """A-weighting in dB, 0 at 1 kHz; corner frequencies of [iec61672].

    Parameters
    ----------
    f_hz : array_like of float, frequencies in Hz, above 0

    Returns
    -------
    ndarray of float, shape of ``f_hz``; dB

    Examples
    --------
    >>> a_weight_db(np.array([100.0, 1000.0])).round(1) + 0.0
    array([-19.1,   0. ])
    """
    f2 = np.maximum(np.asarray(f_hz, float), 1e-3) ** 2
    low, mid_low, mid_high, high = 20.598997, 107.65265, 737.86223, 12194.217
    gain = (
        high**2 * f2**2 / ((f2 + low**2) * np.sqrt((f2 + mid_low**2) * (f2 + mid_high**2)) * (f2 + high**2))
    )
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


@cache
def k_filter(rate_hz: int) -> FloatArray:
    """The K-weighting at any sampling rate, as second-order sections: the one at 48 kHz, carried over.

    Examples
    --------
    >>> bool(np.allclose(k_filter(48000)[0, :3], K_STAGES[0][0]))
    True
    """
    sections = []
    for b, a in K_STAGES:
        zeros, poles, _ = tf2zpk(b, a)
        # The bilinear transform back to the plane in which a filter has no sampling rate.
        plane = [2.0 * K_RATE_HZ * (p - 1.0) / (p + 1.0) for p in (zeros, poles)]
        far = float(np.polyval(b, -1.0) / np.polyval(a, -1.0))
        sections.append(zpk2sos(*bilinear_zpk(*plane, far, rate_hz)))
    return np.concatenate(sections)


def momentary_lufs(samples: ArrayLike, *, rate_hz: int) -> float:
    """The loudest moment of a clip: largest loudness of its blocks of 400 ms, LUFS [bs1770] [ebu3341].

    Parameters
    ----------
    samples : array, shape (frames,) or (frames, channels); full scale is 1; left and right count alike
    rate_hz : int, Hz

    Examples
    --------
    >>> tone = np.sin(2 * np.pi * 997 * np.arange(48000) / 48000)
    >>> round(momentary_lufs(tone, rate_hz=48000), 2)
    -3.01
    """
    sound = np.asarray(samples, np.float64)
    sound = sound.reshape(len(sound), -1)
    block, hop = round(BLOCK_S * rate_hz), round(HOP_S * rate_hz)
    sound = np.pad(sound, ((0, max(0, block - len(sound))), (0, 0)))
    power = (sosfilt(k_filter(rate_hz), sound, axis=0) ** 2).sum(axis=1)
    whole = np.concatenate([[0.0], np.cumsum(power)])
    starts = np.arange(0, len(sound) - block + 1, hop)
    return float(K_OFFSET_DB + power_to_db((whole[starts + block] - whole[starts]).max() / block))
