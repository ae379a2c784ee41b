"""How the brightness of a key hangs on the strength of the blow, read from soft and loud takes of the same strings."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pianolab.acoustics.results import Survey
from pianolab.acoustics.strings.unison import weighted_median
from pianolab.acoustics.survey_table import Row, rows_of
from pianolab.keyboard import REGISTERS, register_of
from pianolab.units import FloatArray

ONE_GAIN_DB = 2.0
"""Takes whose background, re full scale, agrees within this were made at one gain [practice]."""

LEAST_LOUDER_DB, LEAST_PAIRS = 1.5, 8
"""How far from the key's mean level a take must lie to show the slope, and how many such values a register needs."""


def at_one_level(takes: Sequence[Survey]) -> tuple[list[dict[int, Row]], dict[str, float]]:
    """The takes' rows by key, brightness brought to one level where the takes allow it; and the slopes used."""
    tables = [{int(row["key"]): row for row in rows_of(t.table)} for t in takes]
    if len(takes) < 2 or not _one_gain(takes):
        return tables, {}
    keys = np.array(sorted({k for t in tables for k in t}))
    names = [r.name for r in REGISTERS]
    register = np.array([names.index(register_of(int(k))) for k in keys])
    flat, slopes = touch_taken_out(
        _grid(tables, keys, "brightness_db"), _grid(tables, keys, "level_db"), register=register
    )
    for i, key in enumerate(keys):
        for n, table in enumerate(tables):
            if int(key) in table:
                table[int(key)] = {**table[int(key)], "brightness_db": float(flat[i, n])}
    return tables, {names[n]: slope for n, slope in slopes.items()}


def _grid(tables: Sequence[dict[int, Row]], keys: np.ndarray[Any, Any], name: str) -> FloatArray:
    nothing: Row = {}
    return np.array([[float(t.get(int(k), nothing).get(name, np.nan)) for t in tables] for k in keys])


def _one_gain(takes: Sequence[Survey]) -> bool:
    """Whether the background shows one gain for all."""
    noise = [t.summary.noise_db + float(t.table["level_db"].median()) for t in takes]
    return bool(np.all(np.isfinite(noise)) and max(noise) - min(noise) <= ONE_GAIN_DB)


def touch_taken_out(
    brightness_db: FloatArray, level_db: FloatArray, *, register: NDArray[np.int64]
) -> tuple[FloatArray, dict[int, float]]:
    """Brightness of every take brought to the key's mean level over the takes.

    One strike per key leaves the slope of brightness on level to be guessed from neighbours; soft and loud takes show
    it on the same strings. Within each register the slope through the differences between takes is taken by least
    absolute deviations (a weighted median of ratios), kept between 0 and 2 dB per dB.

    Parameters
    ----------
    brightness_db, level_db : shape (keys, takes), NaN where unknown; takes at one gain
    register : shape (keys,)

    Returns
    -------
    brightness, slopes : same shape; dB per dB by register, only where the takes differ enough

    Examples
    --------
    >>> level = np.array([[-20.0, -10.0]] * 6)
    >>> flat, slope = touch_taken_out(-30.0 + 0.4 * level, level, register=np.zeros(6, dtype=int))
    >>> slope, bool(np.allclose(flat, -36.0))
    ({0: 0.4}, True)
    """
    known = ~np.isnan(brightness_db) & ~np.isnan(level_db)
    count = np.maximum(known.sum(axis=1, keepdims=True), 1)
    middle = np.where(known, level_db, 0.0).sum(axis=1, keepdims=True) / count
    louder = np.where(known, level_db - middle, 0.0)
    brighter = np.where(
        known, brightness_db - np.where(known, brightness_db, 0.0).sum(axis=1, keepdims=True) / count, 0.0
    )
    out, slopes = brightness_db.copy(), {}
    for name in np.unique(register):
        own = (register == name)[:, None] & known & (np.abs(louder) >= LEAST_LOUDER_DB)
        if own.sum() < LEAST_PAIRS:
            continue
        ratio = weighted_median((brighter[own] / louder[own])[None], np.abs(louder[own])[None])
        slopes[int(name)] = float(np.clip(np.round(ratio[0], 3), 0.0, 2.0))
        rows = register == name
        out[rows] = brightness_db[rows] - slopes[int(name)] * louder[rows]
    return out, slopes
