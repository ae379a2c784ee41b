"""What the air of a room does to sound: how fast it travels, how much of the treble it swallows."""

from __future__ import annotations

from math import exp, sqrt

import numpy as np
from numpy.typing import ArrayLike

from pianolab.errors import BadInput
from pianolab.units import FloatArray

ZERO_C_IN_K = 273.15
REFERENCE_K = 293.15
TRIPLE_POINT_K = 273.16
DB_PER_KM_IN_INTENSITY_PER_M = 1000.0 * 10.0 / np.log(10.0)


def speed_of_sound(temperature_c: float) -> float:
    """Speed of sound in dry air, m/s: 343.2 at 20 °C, rising with the root of the absolute temperature.

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
