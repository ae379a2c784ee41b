"""Statistical room acoustics: how long a room rings, how near is near, how loud it is where one sits.

All of it holds for a field that is evenly spread, above the Schroeder frequency; in a small furnished room that
is a rough picture, and below that frequency single resonances decide.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from pianolab.errors import BadInput
from pianolab.units import FloatArray

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

    Parameters as in `sabine_t60`, and ``surface_m2``, the area of all surfaces. The air's share is added to
    the absorption: more air never makes a room ring longer. [eyring1930]

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

    Examples
    --------
    >>> float(schroeder_frequency(0.5, 50.0))
    200.0
    """
    return np.asarray(2000.0 * np.sqrt(np.asarray(t60_s, dtype=float) / volume_m3))


def critical_distance(absorption_m2: ArrayLike, *, directivity: float = 1.0) -> FloatArray:
    """Distance at which the direct sound and the room are equally loud, in m.

    ``directivity`` is the factor Q: 1 for a source that radiates to all sides, 2 on a hard floor.

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

    Parameters as in `eyring_t60`, and ``distance_m`` from the source, m. The room's share dies away with
    Eyring's time and can't arrive before the direct sound, so it falls a little with distance [barron1988].

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
