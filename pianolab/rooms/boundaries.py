"""A source near hard walls: its mirror images push back on it, and in the bass it radiates more power.

Two numbers are easily mixed up. The power that a source radiates rises by 3, 6 and 9 dB beside one, two and
three walls; the pressure far away in front of them by 6, 12 and 18 dB, because the same power goes into a
smaller part of space. In a closed room the first one counts: it is what the room is filled with.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from pianolab.errors import BadInput
from pianolab.units import FloatArray


def power_gain_db(
    f_hz: ArrayLike, distances_m: Sequence[ArrayLike], *, speed_m_s: float = 343.2
) -> FloatArray:
    """How much more power a small source radiates beside hard walls, by its image sources.

    Parameters
    ----------
    f_hz : array of any shape, Hz
    distances_m : distances to one, two or three walls at right angles, m; numbers or arrays that fit ``f_hz``
    speed_m_s : speed of sound, m/s

    Returns
    -------
    ndarray, dB against the same source in the open

    Notes
    -----
    Each image at distance r adds sin(kr)/(kr) to the power [waterhouse1955]. A soundboard isn't small: where
    it is larger than half a wavelength the gain is less.

    Examples
    --------
    >>> round(float(power_gain_db(50.0, [0.5], speed_m_s=343.2)), 2)
    2.71
    """
    wave = np.asarray(f_hz, dtype=float)
    gains = [np.asarray(d, dtype=float) for d in distances_m]
    if len(gains) > 3 or any(np.any(d < 0.0) for d in gains):
        raise BadInput("distances_m", distances_m, "up to three distances of 0 m or more")
    power = np.ones(np.broadcast_shapes(wave.shape, *(d.shape for d in gains)))
    for mirrored in range(1, 2 ** len(gains)):
        squares = sum((2.0 * d) ** 2 for i, d in enumerate(gains) if mirrored >> i & 1)
        power = power + np.sinc(2.0 * wave * np.sqrt(squares) / speed_m_s)
    return np.asarray(10.0 * np.log10(np.maximum(power, 1e-3)))


def band_power_gain_db(
    centres_hz: ArrayLike, distances_m: Sequence[ArrayLike], *, speed_m_s: float = 343.2
) -> FloatArray:
    """The same, as the mean power over octave bands around ``centres_hz``.

    ``distances_m`` are arrays of shape (draws,) or numbers; the result has shape (draws, bands).

    Examples
    --------
    >>> bass, treble = band_power_gain_db([63.0, 4000.0], [0.1])[0]
    >>> round(float(bass), 1), round(abs(float(treble)), 1)
    (3.0, 0.0)
    """
    within = 2.0 ** np.linspace(-0.46, 0.46, 12)
    f_hz = np.asarray(centres_hz, dtype=float)[:, None] * within
    walls = [np.atleast_1d(np.asarray(d, dtype=float))[:, None, None] for d in distances_m]
    gain = 10.0 ** (power_gain_db(f_hz, walls, speed_m_s=speed_m_s) / 10.0)
    return np.asarray(10.0 * np.log10(np.mean(gain, axis=-1)))


def pressure_on_axis_db(f_hz: ArrayLike, distance_m: float, *, speed_m_s: float = 343.2) -> FloatArray:
    """Pressure far in front of one hard wall with the source ``distance_m`` off it, dB against no wall.

    It doubles in the deep bass and vanishes first where the way to the wall and back is half a wavelength.

    Examples
    --------
    >>> round(float(pressure_on_axis_db(100.0, 0.5)), 2)
    1.72
    """
    turn = 2.0 * np.pi * np.asarray(f_hz, dtype=float) * distance_m / speed_m_s
    return np.asarray(20.0 * np.log10(np.maximum(np.abs(2.0 * np.cos(turn)), 1e-6)))
