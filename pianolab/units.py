"""Conversions of pitch, level and decay: the one place where these formulas stand.

Names say their unit: ``_hz``, ``_cents``, ``_db``, ``_s``. Keys are numbered as on an 88-key
piano (A0 = 1, A4 = 49, C8 = 88); extra bass keys are 0, -1, …, extra treble keys 89, 90, ….
"""

from __future__ import annotations

from math import log
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

A4_KEY = 49
"""Key number of A4, the key that equal temperament is counted from."""

MIDI_OF_KEY_0 = 20
"""MIDI note number of key 0; key k has MIDI number k + 20."""

CENTS_PER_NEPER = 1200.0 / log(2.0)
DB_PER_NEPER = 20.0 / log(10.0)

FloatArray = NDArray[np.float64]


def key_to_hz(key: ArrayLike, *, a4_hz: float = 440.0) -> Any:
    """Frequency of a key in equal temperament, in Hz.

    Parameters
    ----------
    key : int or array of any shape; key number, A4 = 49
    a4_hz : float, Hz

    Returns
    -------
    float or ndarray of the same shape, Hz

    Notes
    -----
    ISO 16 puts A4 at 440 Hz [iso16].

    Examples
    --------
    >>> float(key_to_hz(1)), float(key_to_hz(49))
    (27.5, 440.0)
    """
    return a4_hz * 2.0 ** ((np.asarray(key, dtype=float) - A4_KEY) / 12.0)


def cents_between(f_hz: ArrayLike, ref_hz: ArrayLike) -> Any:
    """Interval from ``ref_hz`` up to ``f_hz`` in cents (1200 an octave).

    Examples
    --------
    >>> round(float(cents_between(441.0, 440.0)), 6)
    3.930158
    """
    return 1200.0 * np.log2(np.asarray(f_hz, dtype=float) / np.asarray(ref_hz, dtype=float))


def shift_cents(f_hz: ArrayLike, cents: ArrayLike) -> Any:
    """Frequency ``cents`` above ``f_hz``.

    Examples
    --------
    >>> float(shift_cents(220.0, 1200.0))
    440.0
    """
    return np.asarray(f_hz, dtype=float) * 2.0 ** (np.asarray(cents, dtype=float) / 1200.0)


def power_to_db(power: ArrayLike, *, floor: float = 1e-30) -> Any:
    """Level of a power in dB; powers under ``floor`` count as ``floor``.

    Examples
    --------
    >>> float(power_to_db(100.0))
    20.0
    """
    return 10.0 * np.log10(np.maximum(np.asarray(power, dtype=float), floor))


def amplitude_to_db(amplitude: ArrayLike, *, floor: float = 1e-15) -> Any:
    """Level of an amplitude in dB.

    Examples
    --------
    >>> float(amplitude_to_db(0.1))
    -20.0
    """
    return 20.0 * np.log10(np.maximum(np.abs(np.asarray(amplitude)), floor))


def db_to_amplitude(db: ArrayLike) -> Any:
    """Amplitude of a level in dB.

    Examples
    --------
    >>> float(db_to_amplitude(-20.0))
    0.1
    """
    return 10.0 ** (np.asarray(db, dtype=float) / 20.0)


def rate_to_db_per_s(rate_per_s: ArrayLike) -> Any:
    """Decay in dB/s of an amplitude e^(-rate t); 1 /s is 8.685889638 dB/s.

    Examples
    --------
    >>> round(float(rate_to_db_per_s(1.0)), 6)
    8.68589
    """
    return DB_PER_NEPER * np.asarray(rate_per_s, dtype=float)


def db_per_s_to_rate(db_per_s: ArrayLike) -> Any:
    """Amplitude decay rate in 1/s of a decay in dB/s.

    Examples
    --------
    >>> float(db_per_s_to_rate(rate_to_db_per_s(2.5)))
    2.5
    """
    return np.asarray(db_per_s, dtype=float) / DB_PER_NEPER


def t60_to_rate(t60_s: ArrayLike) -> Any:
    """Amplitude decay rate in 1/s of a reverberation or decay time T60 in s.

    Examples
    --------
    >>> round(float(t60_to_rate(1.0)), 6)
    6.907755
    """
    return db_per_s_to_rate(60.0 / np.asarray(t60_s, dtype=float))
