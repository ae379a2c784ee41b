"""The strings' movement along themselves: its own short lines, and what the partials force on it."""

from __future__ import annotations

import numpy as np

from pianolab.sound_model.hammer import at_key
from pianolab.sound_model.piano import OFF_DB, PianoModel
from pianolab.sound_model.strings import ComplexArray, FloatArray
from pianolab.units import db_to_amplitude, t60_to_rate

BAR_M = {"upright": ((1, 1.2), (40, 0.62), (88, 0.055)), "grand": ((1, 1.9), (40, 0.65), (88, 0.055))}
BAR_SPEED_M_PER_S = 5050.0
ALONG_DB, ALONG_T60_S, ALONG_TOP_HZ = -45.0, 0.5, 5000.0
HIGHER_LINES, HIGHER_DB, HIGHER_TOP_HZ = 5, -5.0, 9000.0
PHANTOM_DB, PHANTOM_PARTIALS, PHANTOM_LAST_KEY = -34.0, 14, 50
Lines = tuple[ComplexArray, ComplexArray]


def longitudinal_lines(model: PianoModel, key: int, level: FloatArray) -> Lines:
    """The weak, short lines of the movement along the strings; they fit none of the partials."""
    rng = model.stream(key, "along")
    f_hz = BAR_SPEED_M_PER_S / (2.0 * at_key(BAR_M[model.kind], key)) * np.exp(0.05 * rng.standard_normal())
    loud = np.sqrt(np.sum(level**2)) * db_to_amplitude(ALONG_DB) * (f_hz < ALONG_TOP_HZ)
    phase = np.exp(2j * np.pi * rng.random())
    first = np.array([loud * phase]), np.array([complex(-t60_to_rate(ALONG_T60_S), 2.0 * np.pi * f_hz)])
    if model.phantom_db <= OFF_DB or model.longitudinal_db <= OFF_DB:
        return first if model.longitudinal_db > OFF_DB else (np.zeros(0, complex), np.zeros(0, complex))
    n = np.arange(2, HIGHER_LINES + 2)
    f_n = n * f_hz * np.exp(0.01 * rng.standard_normal(n.size))
    size = loud * db_to_amplitude(HIGHER_DB * (n - 1) + 3.0 * rng.standard_normal(n.size))
    more = size * (f_n < HIGHER_TOP_HZ) * np.exp(2j * np.pi * rng.random(n.size))
    rate = t60_to_rate(ALONG_T60_S) * np.sqrt(n)
    gain = db_to_amplitude(model.longitudinal_db)
    return gain * np.concatenate([first[0], more]), np.concatenate([first[1], -rate + 2j * np.pi * f_n])


def phantom_lines(model: PianoModel, key: int, level: FloatArray, poles: ComplexArray) -> Lines:
    """Sums of neighbouring partials, forced by the string's tension: near the odd partials but below them.

    Parameters
    ----------
    level : amplitudes of partials 1, 2, ..., shape (partials,)
    poles : one pole of each, 1/s

    Notes
    -----
    The tension follows the square of the movement, so two partials f_m, f_n leave a line at f_m + f_n
    [conklin1999]; here n and n + 1, which fall at the sum of their rates.
    """
    count = min(PHANTOM_PARTIALS, level.size - 1)
    if model.phantom_db <= OFF_DB or key > PHANTOM_LAST_KEY or count < 1:
        return np.zeros(0, complex), np.zeros(0, complex)
    loud = float(np.sqrt(np.sum(level**2)))
    size = db_to_amplitude(PHANTOM_DB + model.phantom_db) * level[:count] * level[1 : count + 1] / loud
    return size * np.arange(1, count + 1) ** 0.5 + 0j, poles[:count] + poles[1 : count + 1]
