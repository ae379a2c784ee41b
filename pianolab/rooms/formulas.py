"""Statistical room acoustics: how long a room rings, how near is near, how loud it is where one sits,
what the air swallows, what walls nearby give back.

All of it holds for a field that is evenly spread, above the Schroeder frequency; in a small furnished room that
is a rough picture, and below that frequency single resonances decide.

Two numbers are easily mixed up. The power that a source radiates rises by 3, 6 and 9 dB beside one, two and
three walls; the pressure far away in front of them by 6, 12 and 18 dB, because the same power goes into a
smaller part of space. In a closed room the first one counts: it is what the room is filled with.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import exp, sqrt

import numpy as np
from numpy.typing import ArrayLike

from pianolab.errors import BadInput
from pianolab.units import FloatArray

ZERO_C_IN_K = 273.15
REFERENCE_K = 293.15
TRIPLE_POINT_K = 273.16
DB_PER_KM_IN_INTENSITY_PER_M = 1000.0 * 10.0 / np.log(10.0)
DECAY = 24.0 * np.log(10.0)
"""60 dB as a ratio of energies, times four: the constant of Sabine's formula before the speed of sound."""


def sabine_t60(
    volume_m3: float, absorption_m2: ArrayLike, *, air_per_m: ArrayLike = 0.0, speed_m_s: float = 343.2
) -> FloatArray:
    """Reverberation time by Sabine's formula.

    Parameters
    ----------
    volume_m3 : float, m³
    absorption_m2 : array of any shape, m²; sum of surfaces times their coefficients
    air_per_m : array that fits, 1/m; the air's attenuation of intensity
    speed_m_s : speed of sound, m/s

    Returns
    -------
    ndarray, s; infinite where nothing absorbs

    Raises
    ------
    BadInput
        For a volume that isn't above 0 or a negative absorption.

    Notes
    -----
    Holds for mean coefficients up to about 0.3. [sabine1922]

    Examples
    --------
    >>> round(float(sabine_t60(3000.0, 399.0, speed_m_s=343.0)), 3)
    1.211
    """
    absorption = _checked(volume_m3, absorption_m2, air_per_m)
    with np.errstate(divide="ignore"):
        return np.asarray(
            DECAY / speed_m_s * volume_m3 / (absorption + 4.0 * np.asarray(air_per_m) * volume_m3)
        )


def eyring_t60(
    volume_m3: float,
    absorption_m2: ArrayLike,
    surface_m2: float,
    *,
    air_per_m: ArrayLike = 0.0,
    speed_m_s: float = 343.2,
) -> FloatArray:
    """Reverberation time by Eyring's formula, which also holds where much is absorbed.

    The air's share is added to the absorption: more air never makes a room ring longer. [eyring1930]

    Parameters
    ----------
    volume_m3, absorption_m2, air_per_m, speed_m_s : as in `sabine_t60`
    surface_m2 : area of all surfaces, m²

    Returns
    -------
    ndarray of float, s

    Examples
    --------
    >>> round(float(eyring_t60(3000.0, 399.0, 1340.0, speed_m_s=343.0)), 3)
    1.02
    """
    absorption = _checked(volume_m3, absorption_m2, air_per_m)
    mean = absorption / surface_m2
    if np.any(mean >= 1.0):
        raise BadInput("absorption_m2", f"{float(np.max(absorption)):.1f}", f"less than {surface_m2:.1f} m²")
    return sabine_t60(volume_m3, -surface_m2 * np.log1p(-mean), air_per_m=air_per_m, speed_m_s=speed_m_s)


def schroeder_frequency(t60_s: ArrayLike, volume_m3: float) -> FloatArray:
    """Frequency above which a room's resonances overlap, in Hz: 2000 times the root of T60 over volume.

    Parameters
    ----------
    t60_s : array_like of float, reverberation time, s
    volume_m3 : m³

    Examples
    --------
    >>> float(schroeder_frequency(0.5, 50.0))
    200.0
    """
    return np.asarray(2000.0 * np.sqrt(np.asarray(t60_s, dtype=float) / volume_m3))


def critical_distance(absorption_m2: ArrayLike, *, directivity: float = 1.0) -> FloatArray:
    """Distance at which the direct sound and the room are equally loud, in m.

    Parameters
    ----------
    absorption_m2 : array_like of float, the room's equivalent absorption area, m²
    directivity : the factor Q: 1 for a source that radiates to all sides, 2 on a hard floor

    Returns
    -------
    ndarray of float, shape of ``absorption_m2``; m

    Examples
    --------
    >>> round(float(critical_distance(16.1)), 3)
    0.566
    """
    return np.asarray(np.sqrt(directivity * np.asarray(absorption_m2, dtype=float) / (16.0 * np.pi)))


def level_in_room(
    distance_m: ArrayLike,
    absorption_m2: ArrayLike,
    surface_m2: float,
    volume_m3: float,
    *,
    air_per_m: ArrayLike = 0.0,
) -> FloatArray:
    """Level of direct sound and room together, in dB against the same source in the open at 1 m.

    The room's share dies away with Eyring's time and can't arrive before the direct sound, so it falls a little with distance [barron1988].

    Parameters
    ----------
    distance_m : array_like of float, distance from the source, m
    absorption_m2, surface_m2, volume_m3, air_per_m : as in `eyring_t60`

    Returns
    -------
    ndarray of float, dB

    Examples
    --------
    >>> round(float(level_in_room(1.0, 10.0, 90.0, 50.0)), 1), bool(level_in_room(2.0, 89.9999, 90.0, 50.0) < -4.0)
    (7.4, True)
    """
    absorption = _checked(volume_m3, absorption_m2, air_per_m)
    away = np.asarray(distance_m, dtype=float)
    taken = -surface_m2 * np.log1p(-absorption / surface_m2) + 4.0 * np.asarray(air_per_m) * volume_m3
    room = 16.0 * np.pi / taken * np.exp(-taken * away / (4.0 * volume_m3))
    return np.asarray(10.0 * np.log10(1.0 / away**2 + room))


def _checked(volume_m3: float, absorption_m2: ArrayLike, air_per_m: ArrayLike) -> FloatArray:
    absorption = np.asarray(absorption_m2, dtype=float)
    if not volume_m3 > 0.0:
        raise BadInput("volume_m3", volume_m3, "more than 0 m³")
    if not np.all(absorption >= 0.0) or not np.all(np.asarray(air_per_m) >= 0.0):
        raise BadInput("absorption", "a negative value", "0 or more")
    return absorption


def speed_of_sound(temperature_c: float) -> float:
    """Speed of sound in dry air, m/s: 343.2 at 20 °C, rising with the root of the absolute temperature.

    Parameters
    ----------
    temperature_c : °C

    Examples
    --------
    >>> round(speed_of_sound(20.0), 1), round(speed_of_sound(10.0), 1)
    (343.2, 337.3)
    """
    return 343.2 * sqrt(_kelvin(temperature_c) / REFERENCE_K)


def air_absorption(f_hz: ArrayLike, *, temperature_c: float, humidity_percent: float) -> FloatArray:
    """How much of a sound the air swallows on its way.

    Parameters
    ----------
    f_hz : float or array of any shape, Hz; the standard holds from 50 Hz to 10 kHz
    temperature_c : °C, -20 to 50
    humidity_percent : relative humidity, 0 to 100

    Returns
    -------
    ndarray of the same shape, dB for each km, at a pressure of 101.325 kPa

    Raises
    ------
    BadInput
        For a temperature or a humidity that no room has.

    References
    ----------
    [iso9613]

    Examples
    --------
    >>> round(float(air_absorption(1000.0, temperature_c=20.0, humidity_percent=50.0)), 2)
    4.66
    """
    if not 0.0 <= humidity_percent <= 100.0:
        raise BadInput("humidity_percent", humidity_percent, "0 to 100 %")
    f = np.asarray(f_hz, dtype=float)
    kelvin = _kelvin(temperature_c)
    t = kelvin / REFERENCE_K
    water = humidity_percent * 10.0 ** (-6.8346 * (TRIPLE_POINT_K / kelvin) ** 1.261 + 4.6151)
    oxygen_hz = 24.0 + 4.04e4 * water * (0.02 + water) / (0.391 + water)
    nitrogen_hz = t**-0.5 * (9.0 + 280.0 * water * exp(-4.170 * (t ** (-1.0 / 3.0) - 1.0)))
    oxygen = 0.01275 * exp(-2239.1 / kelvin) / (oxygen_hz + f**2 / oxygen_hz)
    nitrogen = 0.1068 * exp(-3352.0 / kelvin) / (nitrogen_hz + f**2 / nitrogen_hz)
    classical = 1.84e-11 * sqrt(t)
    return np.asarray(1000.0 * 8.686 * f**2 * (classical + t**-2.5 * (oxygen + nitrogen)))


def air_loss_per_m(f_hz: ArrayLike, *, temperature_c: float, humidity_percent: float) -> FloatArray:
    """The same as the attenuation constant m of the intensity, in 1/m: what Sabine's formula takes.

    Parameters
    ----------
    f_hz : array_like of float, Hz
    temperature_c : °C
    humidity_percent : relative humidity, %

    Returns
    -------
    ndarray of float, shape of ``f_hz``; 1/m

    Examples
    --------
    >>> print(f"{air_loss_per_m(1000.0, temperature_c=20.0, humidity_percent=50.0):.6f}")
    0.001074
    """
    loss = air_absorption(f_hz, temperature_c=temperature_c, humidity_percent=humidity_percent)
    return np.asarray(loss / DB_PER_KM_IN_INTENSITY_PER_M)


def _kelvin(temperature_c: float) -> float:
    if not -20.0 <= temperature_c <= 50.0:
        raise BadInput("temperature_c", temperature_c, "-20 to 50 °C", "Fahrenheit instead of Celsius?")
    return temperature_c + ZERO_C_IN_K


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

    Parameters
    ----------
    centres_hz : array_like of float, shape (bands,)
    distances_m : from the source to each wall, m; arrays of shape (draws,) or numbers
    speed_m_s : speed of sound

    Returns
    -------
    ndarray of float, shape (draws, bands); dB

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

    Parameters
    ----------
    f_hz : array_like of float, Hz
    distance_m : from the source to the wall, m
    speed_m_s : speed of sound

    Returns
    -------
    ndarray of float, shape of ``f_hz``; dB

    Examples
    --------
    >>> round(float(pressure_on_axis_db(100.0, 0.5)), 2)
    1.72
    """
    turn = 2.0 * np.pi * np.asarray(f_hz, dtype=float) * distance_m / speed_m_s
    return np.asarray(20.0 * np.log10(np.maximum(np.abs(2.0 * np.cos(turn)), 1e-6)))
