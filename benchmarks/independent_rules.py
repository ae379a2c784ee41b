"""When the independent analysis rules out a shown value: each rule with its reason, all on the careful side.

A value is only called impossible where the raw sound contradicts it. "Not found by us" is never a contradiction.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

ROOM_PART = 1 / 3
"""What a room of T60 can add to a fall of 20 dB: its own fall of 20 dB, T60 / 3."""


def excludes(
    row: Mapping[str, Any] | pd.Series, column: str, value: float, sd: float = np.nan, *, bound: str = "="
) -> bool:
    """Whether a row of `benchmarks.independent.analyse` rules out what a survey shows.

    Parameters
    ----------
    row : a row of the analysis (a mapping or pandas Series)
    column : ``cents``, ``f1_hz``, ``inharmonicity``, ``unison_cents``, ``decay_20_s`` or ``release_20_s``
    value, sd : what the survey shows and its standard deviation (NaN where it states none)
    bound : of a time: ``=``, ``>`` (not fallen by then) or ``<`` (fallen by then)

    Examples
    --------
    >>> row = {"cents": 2.0, "cents_se": 0.1}
    >>> excludes(row, "cents", 2.5, 0.2), excludes(row, "cents", 5.0, 0.2)
    (False, True)
    """
    if not np.isfinite(value):
        return False
    sd = sd if np.isfinite(sd) else 0.0
    if column == "decay_20_s":
        return _decay(row, value, bound)
    if column == "release_20_s":
        return _release(row, value, bound)
    rule = {"cents": _cents, "f1_hz": _f1, "inharmonicity": _inharmonicity, "unison_cents": _unison}[column]
    return bool(rule(row, value, sd))


def _cents(row: Mapping[str, Any] | pd.Series, value: float, sd: float) -> bool:
    """Three combined sd and 1 cent: the mean of strings and the centroid of their energy may differ by that."""
    return abs(value - row["cents"]) > 3 * np.hypot(sd, row["cents_se"]) + 1.0


def _f1(row: Mapping[str, Any] | pd.Series, value: float, sd: float) -> bool:
    """The same in cents."""
    if value <= 0:
        return bool(np.isfinite(row["f1_hz"]))
    away = 1200 * np.log2(value / row["f1_hz"])
    return bool(_cents({"cents": 0.0, "cents_se": row["cents_se"]}, away, 1731 * sd / value))


def _inharmonicity(row: Mapping[str, Any] | pd.Series, value: float, sd: float) -> bool:
    """Five combined se and 5 %: B depends on which partials are fitted, for the bridge is no rigid end."""
    b = row["inharmonicity"]
    return abs(value - b) > 5 * np.hypot(sd, row["inharmonicity_se"]) + 0.05 * abs(b)


def _unison(row: Mapping[str, Any] | pd.Series, value: float, sd: float) -> bool:
    """More than 1 cent (and two of the survey's sd) outside: a narrower one could not beat so, a wider one not fit."""
    grant = 1.0 + 2 * sd
    return bool(value < row["unison_low_cents"] - grant or value > row["unison_high_cents"] + grant)


def _room_s(row: Mapping[str, Any] | pd.Series) -> float:
    """Time a room that was added can have added to a fall; 0 where there is none."""
    t60_s = row.get("t60_s", np.nan)
    return ROOM_PART * t60_s if np.isfinite(t60_s) else 0.0


def _decay(row: Mapping[str, Any] | pd.Series, value: float, bound: str) -> bool:
    """Outside the interval by over 25 % and 0.05 s: less is a matter of the window and of where 0 dB lies.

    In a room the survey may show the dry note: shorter than heard by up to what the room adds, and longer by 10 %
    at most beyond that grant, for a room may weaken a lasting partial against the others but can't hide a note.
    ``>`` is wrong only where the level fell for good well before; ``<`` only where it hadn't fallen by then.
    """
    low, high = row["decay_low_s"], row["decay_high_s"]
    if not row["decay_kind"]:
        return False
    room = _room_s(row)
    shortest = low - room
    longest = high * (1.1 if room else 1.0)
    too_short = value < shortest - max(0.25 * shortest, 0.05)
    too_long = value > longest + max(0.25 * longest, 0.05)
    return bool({"=": too_short or too_long, ">": too_long, "<": too_short}[bound])


def _release(row: Mapping[str, Any] | pd.Series, value: float, bound: str) -> bool:
    """As heard: outside by over 50 % and 0.1 s, since the moment of release is not sharp; lower bounds only bound."""
    heard, kind = row["release_20_s"], row["release_kind"]
    if not kind:
        return False
    room = _room_s(row)
    too_short = value < heard - room - max(0.5 * heard, 0.1)
    too_long = kind == "=" and value > heard * 1.1 + max(0.5 * heard, 0.1)
    return bool({"=": too_short or too_long, ">": too_long, "<": too_short}[bound])
