"""One key heard in several takes: the best value of every measure, the spread between takes, and faults with their count.

A measure with its own ``_sd`` is averaged with inverse variances; others plainly. The ``_sd`` of the average is the
least of the takes', and never less than the standard error of the takes themselves: what is common to all takes (the
bridge, the room) does not average out. Measured times go before bounds; of lower bounds the highest counts, of upper
bounds the lowest.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pianolab.units import FloatArray, key_to_hz

Row = dict[str, Any]

SD_OF = {
    "cents": "cents_sd",
    "inharmonicity": "inharmonicity_sd",
    "unison_cents": "unison_cents_sd",
    "brightness_db": "brightness_db_sd",
}
BOUND_OF = {"decay_20_s": "decay_20_bound", "release_20_s": "release_bound"}
PLAIN = ("early_db_per_s", "late_db_per_s", "brightness_dev", "buzz_db", "string_db_per_s")
SPREAD_MEASURES = (*SD_OF, *BOUND_OF, "early_db_per_s", "late_db_per_s", "buzz_db", "level_db")
ABSENT_ORDER = ("silent", "unclear", "skipped")
TRUST_ORDER = ("ok", "masked by unison")


def merge_key(rows: Sequence[Row], *, a4_hz: float) -> tuple[Row, int]:
    """The merged row of one key, and which of the rows is the best take.

    Parameters
    ----------
    rows : one per take that covers the key, as in the survey table, at least one
    a4_hz : Hz

    Returns
    -------
    row, index : the row has the survey's columns and ``takes``, ``take_notes``; the curve is left as the best take has it
    """
    sounding = [i for i, r in enumerate(rows) if r["status"] == "measured"]
    if not sounding:
        return _absent(rows)
    best = max(sounding, key=lambda i: (_number(rows[i]["hold_s"]), _number(rows[i]["snr_db"]), -i))
    heard = [rows[i] for i in sounding]
    out = dict(rows[best])
    out |= _averages(heard) | _times(heard)
    out["f1_hz"] = float(key_to_hz(out["key"], a4_hz=a4_hz) * 2.0 ** (out["cents"] / 1200.0))
    out |= _beat(heard, rows[best]) | _sustain(heard, rows[best])
    out["strikes"] = float(sum(_number(r["strikes"], 0.0) for r in rows))
    out["gaps"] = join(_gaps(out, heard, rows[best]))
    notes = _faults(out, heard, rows[best])
    absent = [r["status"] for r in rows if r["status"] in ("silent", "unclear")]
    notes += [
        f"{s} in {absent.count(s)} of {len(rows)} takes, sounding in {len(heard)}"
        for s in dict.fromkeys(absent)
    ]
    out["takes"], out["take_notes"] = float(len(heard)), "; ".join(notes)
    return out, best


def spreads(rows: Sequence[Row]) -> dict[str, float]:
    """Largest less smallest value of each measure over the takes that measured it; NaN with fewer than two."""
    out = {}
    for measure in SPREAD_MEASURES:
        values = [
            r[measure]
            for r in rows
            if r["status"] == "measured" and r.get(BOUND_OF.get(measure, ""), "=") == "="
        ]
        known = [v for v in values if not np.isnan(v)]
        out[f"{measure}_spread"] = float(max(known) - min(known)) if len(known) > 1 else np.nan
    return out


def weighted_mean(values: FloatArray, weights: FloatArray) -> float:
    """Weighted mean that equal values go through unchanged; NaN where nothing is known.

    Examples
    --------
    >>> weighted_mean(np.array([0.1, 0.1, 0.1]), np.array([1.0, 3.0, 7.0]))
    0.1
    """
    known = ~np.isnan(values) & (weights > 0)
    if not known.any():
        return float("nan")
    start = values[known][0]
    return float(start + np.sum(weights[known] * (values[known] - start)) / np.sum(weights[known]))


def _number(value: Any, unknown: float = -np.inf) -> float:
    return unknown if value is None or np.isnan(value) else float(value)


def _column(rows: Sequence[Row], name: str) -> FloatArray:
    return np.array([_number(r.get(name), np.nan) for r in rows])


def _averages(heard: Sequence[Row]) -> Row:
    out: Row = {}
    for measure, sd_name in SD_OF.items():
        values, sd = _column(heard, measure), _column(heard, sd_name)
        known = ~np.isnan(values)
        usual = float(np.nanmax(sd[known])) if np.any(~np.isnan(sd[known])) else 1.0
        out[measure] = weighted_mean(values, np.where(np.isnan(sd), usual, np.maximum(sd, 1e-12)) ** -2.0)
        out[sd_name] = _sd(values[known], sd[known])
    for measure in PLAIN:
        out[measure] = weighted_mean(_column(heard, measure), np.ones(len(heard)))
    return out


def _sd(values: FloatArray, sd: FloatArray) -> float:
    """The least of the takes' uncertainties, and not less than the takes' own standard error."""
    least = float(np.nanmin(sd)) if np.any(~np.isnan(sd)) else np.nan
    if len(values) < 2:
        return least
    error = float(np.std(values, ddof=1) / np.sqrt(len(values)))
    return float(np.fmax(least, error))


def _times(heard: Sequence[Row]) -> Row:
    """Decay and release: measured values before bounds."""
    out: Row = {}
    for measure, bound_name in BOUND_OF.items():
        values, bounds = _column(heard, measure), [r[bound_name] for r in heard]
        sd = _column(heard, f"{measure}_sd")
        by_bound = {b: np.array([b == one for one in bounds]) & ~np.isnan(values) for b in ("=", ">", "<")}
        if by_bound["="].any():
            own = np.where(by_bound["="], values, np.nan)
            weight = (
                np.where(np.isnan(sd), 1.0, np.maximum(sd, 1e-6) ** -2.0)
                if not np.isnan(sd[by_bound["="]]).any()
                else np.ones(len(sd))
            )
            out[measure], out[bound_name] = weighted_mean(own, weight), "="
            out[f"{measure}_sd"] = _sd(values[by_bound["="]], sd[by_bound["="]])
        elif by_bound[">"].any():
            out[measure], out[bound_name] = float(values[by_bound[">"]].max()), ">"
        elif by_bound["<"].any():
            out[measure], out[bound_name] = float(values[by_bound["<"]].min()), "<"
        if f"{measure}_sd" not in heard[0]:
            out.pop(f"{measure}_sd", None)
    return out


def _beat(heard: Sequence[Row], best: Row) -> Row:
    """The best take's beat, or that of the first take that has a clear one."""
    row = next((r for r in (best, *heard) if not np.isnan(r["beat_hz"])), best)
    return {"beat_hz": row["beat_hz"], "beat_partial": row["beat_partial"]}


def _sustain(heard: Sequence[Row], best: Row) -> Row:
    """The verdict of the takes that could judge; short if one of them says so."""
    for trust in TRUST_ORDER:
        said = [r["sustain_verdict"] for r in heard if r["sustain_trust"] == trust]
        if said:
            verdict = "short" if "short" in said else said[0]
            return {"sustain_trust": trust, "sustain_verdict": verdict}
    return {"sustain_trust": best["sustain_trust"], "sustain_verdict": best["sustain_verdict"]}


def split(text: str) -> dict[str, str]:
    """``name=reason;name=reason`` as a dictionary."""
    return {name: why for name, _, why in (part.partition("=") for part in text.split(";")) if name}


def join(reasons: Mapping[str, str]) -> str:
    """A dictionary as ``name=reason;name=reason``."""
    return ";".join(f"{name}={why}" for name, why in reasons.items())


def _gaps(out: Row, heard: Sequence[Row], best: Row) -> dict[str, str]:
    """Reasons for what is still missing, in the best take's order."""
    reasons: dict[str, str] = {}
    for row in (best, *heard):
        for name, why in split(row["gaps"]).items():
            missing = (
                name not in out or out[name] == "" or (isinstance(out[name], float) and np.isnan(out[name]))
            )
            if missing:
                reasons.setdefault(name, why)
    return reasons


def _faults(out: Row, heard: Sequence[Row], best: Row) -> list[str]:
    """Unites faults in ``out``; returns a remark for each that not every take which could hear it has heard."""
    found = [r["faults"].split(";") if r["faults"] else [] for r in heard]
    untested = [split(r["not_judged"]) for r in heard]
    order = list(dict.fromkeys(name for own in found for name in own))
    out["faults"] = ";".join(sorted(order, key=_fault_place))
    skipped = {
        n: w for n, w in split(best["not_judged"]).items() if n not in order and all(n in u for u in untested)
    }
    out["not_judged"] = join(skipped)
    notes = []
    for name in sorted(order, key=_fault_place):
        times = sum(name in own for own in found)
        could = sum(name in own or name not in skip for own, skip in zip(found, untested, strict=True))
        if times < could:
            notes.append(f"{name} heard in {times} of {could} takes")
    return notes


def _fault_place(name: str) -> int:
    from pianolab.acoustics.results import FAULTS

    return FAULTS.index(name) if name in FAULTS else len(FAULTS)


def _absent(rows: Sequence[Row]) -> tuple[Row, int]:
    """A key that sounds in no take: silent before unclear before not struck."""
    index = min(range(len(rows)), key=lambda i: (ABSENT_ORDER.index(rows[i]["status"]), i))
    said = [r["status"] for r in rows]
    note = f"{said[index]} in {said.count(said[index])} of {len(rows)} takes" if len(set(said)) > 1 else ""
    return {**rows[index], "takes": 0.0, "take_notes": note}, index


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
    from pianolab.acoustics.unison import weighted_median

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


LEAST_LOUDER_DB, LEAST_PAIRS = 1.5, 8
"""How far from the key's mean level a take must lie to show the slope, and how many such values a register needs."""
