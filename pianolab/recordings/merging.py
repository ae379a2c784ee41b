"""One key heard in several takes: the best value of every measure, the spread between takes, and faults with their count.

How a column merges is declared with it (`pianolab.acoustics.columns`); here stand the ways. A measure with its own
uncertainty is averaged with inverse variances; others plainly. The uncertainty of the average is the least of the takes',
and never less than the standard error of the takes themselves: what is common to all takes (the bridge, the room) does
not average out. Measured times go before bounds; of lower bounds the highest counts, of upper bounds the lowest.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from pianolab.acoustics.columns import Column, bound_of, declared, is_empty, sd_of, tied_to
from pianolab.acoustics.survey_result import FAULTS, Row
from pianolab.units import FloatArray, key_to_hz

ABSENT_ORDER = ("silent", "unclear", "skipped")
TRUST_ORDER = ("ok", "masked by unison")
NOT_ASKED = "not measured when these takes were listened to"


@dataclass(frozen=True)
class KeyTakes:
    """The rows of one key: all that cover it, those in which it sounds, and the best of them."""

    rows: Sequence[Row]
    heard: Sequence[Row]
    best: Row


def merge_key(rows: Sequence[Row], *, a4_hz: float) -> tuple[Row, int]:
    """The merged row of one key, and which of the rows is the best take.

    Parameters
    ----------
    rows : one per take that covers the key, as in `survey_table`, at least one
    a4_hz : Hz

    Returns
    -------
    row, index : the row has the survey's columns and ``takes``, ``take_notes``; the curve is left as the best take has it
    """
    sounding = [i for i, r in enumerate(rows) if r["status"] == "measured"]
    if not sounding:
        return _absent(rows)
    best = max(sounding, key=lambda i: (_number(rows[i]["hold_s"]), _number(rows[i]["snr_db"]), -i))
    takes = KeyTakes(rows, [rows[i] for i in sounding], rows[best])
    out = dict(takes.best)
    for column in declared():
        out |= WAYS[column.merge](column, takes)
    out["f1_hz"] = float(key_to_hz(out["key"], a4_hz=a4_hz) * 2.0 ** (out["cents"] / 1200.0))
    out |= _sustain(takes)
    out["gaps"] = _gaps(out, takes)
    notes = _faults(out, takes)
    out["takes"], out["take_notes"] = float(len(takes.heard)), "; ".join([*notes, *_absences(takes)])
    return out, best


def _absences(takes: KeyTakes) -> list[str]:
    """A remark for each other state that the key has in some of the takes."""
    absent = [r["status"] for r in takes.rows if r["status"] in ("silent", "unclear")]
    return [
        f"{s} in {absent.count(s)} of {len(takes.rows)} takes, sounding in {len(takes.heard)}"
        for s in dict.fromkeys(absent)
    ]


def spread_measures() -> tuple[str, ...]:
    """The measures whose distance between takes is told."""
    return tuple(c.name for c in declared() if c.spread)


def spreads(rows: Sequence[Row]) -> dict[str, float]:
    """Largest less smallest value of each measure over the takes that measured it; NaN with fewer than two."""
    out = {}
    for measure in spread_measures():
        bound = bound_of(measure)
        of = [r for r in rows if r["status"] == "measured" and (not bound or r.get(bound) == "=")]
        values = _column(of, measure)
        known = values[~np.isnan(values)]
        out[f"{measure}_spread"] = float(known.max() - known.min()) if len(known) > 1 else np.nan
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


def _kept(column: Column, takes: KeyTakes) -> Row:  # noqa: ARG001
    """What the best take has stays."""
    return {}


def _mean(column: Column, takes: KeyTakes) -> Row:
    values = _column(takes.heard, column.name)
    sd_name = sd_of(column.name)
    if not sd_name:
        return {column.name: weighted_mean(values, np.ones(len(values)))}
    sd = _column(takes.heard, sd_name)
    known = ~np.isnan(values)
    usual = float(np.nanmax(sd[known])) if np.any(~np.isnan(sd[known])) else 1.0
    weights = np.where(np.isnan(sd), usual, np.maximum(sd, 1e-12)) ** -2.0
    return {column.name: weighted_mean(values, weights), sd_name: _sd(values[known], sd[known])}


def _sd(values: FloatArray, sd: FloatArray) -> float:
    """The least of the takes' uncertainties, and not less than the takes' own standard error."""
    least = float(np.nanmin(sd)) if np.any(~np.isnan(sd)) else np.nan
    if len(values) < 2:
        return least
    error = float(np.std(values, ddof=1) / np.sqrt(len(values)))
    return float(np.fmax(least, error))


def _time(column: Column, takes: KeyTakes) -> Row:
    """Measured times before bounds."""
    bound_name, sd_name = bound_of(column.name), sd_of(column.name)
    values, bounds = _column(takes.heard, column.name), np.array([r[bound_name] for r in takes.heard])
    known = {b: (bounds == b) & ~np.isnan(values) for b in ("=", ">", "<")}
    if known["="].any():
        own = values[known["="]]
        sd = _column(takes.heard, sd_name)[known["="]] if sd_name else np.full(len(own), np.nan)
        weights = np.ones(len(own)) if np.isnan(sd).any() else np.maximum(sd, 1e-6) ** -2.0
        found: Row = {column.name: weighted_mean(own, weights), bound_name: "="}
        return found | ({sd_name: _sd(own, sd)} if sd_name else {})
    for bound, most in ((">", np.max), ("<", np.min)):
        if known[bound].any():
            return {column.name: float(most(values[known[bound]])), bound_name: bound}
    return {}


def _first_known(column: Column, takes: KeyTakes) -> Row:
    """That of the best take, or of the first that has one, with what is told with it."""
    row = next((r for r in (takes.best, *takes.heard) if not is_empty(r.get(column.name))), takes.best)
    return {name: row.get(name) for name in (column.name, *(c.name for c in tied_to(column.name)))}


def _sum(column: Column, takes: KeyTakes) -> Row:
    return {column.name: float(sum(_number(r.get(column.name), 0.0) for r in takes.rows))}


WAYS: Mapping[str, Callable[[Column, KeyTakes], Row]] = {
    "best take": _kept,
    "mean": _mean,
    "time": _time,
    "first known": _first_known,
    "sum": _sum,
    "with its measure": _kept,
    "apart": _kept,
}
"""How takes of one key become one value, by the word that the column's declaration has for it."""


def _sustain(takes: KeyTakes) -> Row:
    """The verdict of the takes that could judge; short if one of them says so."""
    for trust in TRUST_ORDER:
        said = [r["sustain_verdict"] for r in takes.heard if r["sustain_trust"] == trust]
        if said:
            verdict = "short" if "short" in said else said[0]
            return {"sustain_trust": trust, "sustain_verdict": verdict}
    return {name: takes.best[name] for name in ("sustain_trust", "sustain_verdict")}


def _gaps(out: Row, takes: KeyTakes) -> dict[str, str]:
    """Reasons for what is still missing, in the best take's order."""
    reasons: dict[str, str] = {}
    for row in (takes.best, *takes.heard):
        for name, why in row["gaps"].items():
            if is_empty(out.get(name)):
                reasons.setdefault(name, why)
    for column in declared():
        if column.needs_reason and is_empty(out.get(column.name)):
            usual = column.absent if any(column.name in row for row in takes.heard) else NOT_ASKED
            reasons.setdefault(column.name, reasons.get(column.of, usual))
    return reasons


def _faults(out: Row, takes: KeyTakes) -> list[str]:
    """Unites faults in ``out``; returns a remark for each that not every take which could hear it has heard."""
    found = [r["faults"] for r in takes.heard]
    untested = [r["not_judged"] for r in takes.heard]
    united = sorted({name for own in found for name in own}, key=_fault_place)
    out["faults"] = tuple(united)
    out["not_judged"] = {
        name: why
        for name, why in takes.best["not_judged"].items()
        if name not in united and all(name in u for u in untested)
    }
    notes = []
    for name in united:
        times = sum(name in own for own in found)
        could = sum(name in own or name not in skip for own, skip in zip(found, untested, strict=True))
        if times < could:
            notes.append(f"{name} heard in {times} of {could} takes")
    return notes


def _fault_place(name: str) -> tuple[int, str]:
    return (FAULTS.index(name) if name in FAULTS else len(FAULTS)), name


def _absent(rows: Sequence[Row]) -> tuple[Row, int]:
    """A key that sounds in no take: silent before unclear before not struck."""
    index = min(range(len(rows)), key=lambda i: (ABSENT_ORDER.index(rows[i]["status"]), i))
    said = [r["status"] for r in rows]
    note = f"{said[index]} in {said.count(said[index])} of {len(rows)} takes" if len(set(said)) > 1 else ""
    return {**rows[index], "takes": 0.0, "take_notes": note}, index
