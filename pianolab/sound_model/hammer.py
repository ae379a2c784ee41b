"""What the hammer gives the strings: level, spectrum, knock; and what the damper takes away.

The anchors of the curves are plausible values for a medium blow, set by comparison with recordings of real
instruments [practice]; they describe no particular piano.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy import signal

from pianolab.sound_model.strings import FloatArray
from pianolab.units import db_to_amplitude

LEVEL_DB = ((1, -1.0), (20, 0.0), (60, -1.0), (76, -4.0), (88, -10.0))
CORNER_HZ = ((1, 650.0), (25, 750.0), (40, 850.0), (52, 950.0), (64, 1200.0), (76, 1500.0), (88, 2000.0))
STRIKE_POINT = ((1, 0.125), (52, 0.12), (76, 0.08), (88, 0.05))
CONTACT_S = ((1, 4.0e-3), (40, 2.0e-3), (88, 0.7e-3))
PROMPT_DB_PER_S = ((1, 2.0), (13, 4.2), (25, 6.5), (40, 11.0), (52, 17.0), (64, 30.0), (76, 55.0), (88, 90.0))
DAMPER_T60_S = ((1, 1.0), (20, 0.6), (40, 0.35), (60, 0.22), (72, 0.18))
BOARD_CORNER_HZ = 75.0
CORNER_PER_BLOW_DB = 0.02


def at_key(anchors: tuple[tuple[int, float], ...], key: int) -> float:
    """Value of a curve over the compass, straight between its anchors."""
    keys, values = zip(*anchors, strict=True)
    return float(np.interp(key, keys, values))


def hammer_spectrum(
    key: int, f_hz: ArrayLike, *, blow_db: float = 0.0, touch: float = 1.0, strike_point_scale: float = 1.0
) -> FloatArray:
    """Amplitudes of the partials right after the blow, before the level of the note is set.

    Parameters
    ----------
    key : key number
    f_hz : array, shape (partials,); partial 1 first
    blow_db : level of the blow against a medium one; harder blows are brighter, by ``touch``
    strike_point_scale : factor on the share of the string where the hammer strikes

    Returns
    -------
    ndarray, shape (partials,); gaps where a node lies at the strike point, weak under the soundboard's
    first resonances, falling above the corner that the hammer's felt sets
    """
    f = np.asarray(f_hz, dtype=float)
    n = np.arange(1, f.size + 1)
    comb = np.sqrt(np.sin(np.pi * n * at_key(STRIKE_POINT, key) * strike_point_scale) ** 2 + 0.02)
    corner = at_key(CORNER_HZ, key) * np.exp(CORNER_PER_BLOW_DB * touch * blow_db)
    felt = (1.0 + (f / corner) ** 2) ** -2.0
    below = (f / BOARD_CORNER_HZ) ** 2
    return np.asarray(comb * felt * (below / (1.0 + below)) ** 1.6)


def voicing_gain(key: int, numbers: ArrayLike, *, brightness_db: float) -> FloatArray:
    """Gain of each partial: all of it from the fifth up, none on the first two (key 77 up: third, first)."""
    from_n, full_n = (2.0, 5.0) if key <= 76 else (1.5, 3.0)
    octaves = np.log2(np.asarray(numbers, dtype=float) / from_n)
    return np.asarray(db_to_amplitude(brightness_db * np.clip(octaves / np.log2(full_n / from_n), 0.0, 1.0)))


def noise_burst(
    rng: np.random.Generator, *, rate_hz: int, band_hz: tuple[float, float], decay_s: float, level_db: float
) -> FloatArray:
    """A short band-limited burst of noise, ``level_db`` its level over the first ``decay_s``.

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> noise_burst(rng, rate_hz=8000, band_hz=(100, 900), decay_s=0.02, level_db=-30).shape
    (1600,)
    """
    frames = round(10 * decay_s * rate_hz)
    top = min(band_hz[1], 0.45 * rate_hz)
    sos = signal.butter(2, (band_hz[0], top), "bandpass", fs=rate_hz, output="sos")
    noise = signal.sosfilt(sos, rng.standard_normal(frames + 400))[400:]
    t = np.arange(frames) / rate_hz
    burst = noise * np.exp(-t / decay_s) * np.minimum(1.0, t / 1e-3)
    loudest = np.sqrt(np.mean(burst[: max(1, round(decay_s * rate_hz))] ** 2))
    return np.asarray(burst * db_to_amplitude(level_db) / max(loudest, 1e-12))


def buzz_pulses(
    rng: np.random.Generator, *, rate_hz: int, frames: int, f1_hz: float, periodic: bool
) -> FloatArray:
    """Clicks of something loose: about one in each period, or irregular ones; unit power."""
    count = round(frames / rate_hz * (f1_hz if periodic else 45.0)) + 1
    if periodic:
        at = (np.arange(count) + 0.04 * rng.standard_normal(count)) / f1_hz
    else:
        at = np.sort(rng.uniform(0.0, frames / rate_hz, count))
    places = np.round(at * rate_hz).astype(int)
    inside = (places >= 0) & (places < frames)
    train = np.zeros(frames)
    np.add.at(train, places[inside], (1.0 + 0.3 * rng.standard_normal(count))[inside])
    band = (1800.0, min(8000.0, 0.45 * rate_hz))
    pulses = signal.sosfilt(signal.butter(2, band, "bandpass", fs=rate_hz, output="sos"), train)
    return np.asarray(pulses / max(np.sqrt(np.mean(pulses**2)), 1e-12))
