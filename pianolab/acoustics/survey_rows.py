"""The rows of a survey and their summary: every measure of every key, and why a value could not be had.

What a row holds is declared in `pianolab.acoustics.columns`, what form it has in `pianolab.acoustics.survey_result`. The
summary says the pitch of the whole piano, what tuning and recording hide, and what to be warned of.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from pianolab.acoustics.columns import Column, Listened, declared, is_empty
from pianolab.acoustics.envelope.reverberation import told_t60
from pianolab.acoustics.judging.fault_rules import FoundFaults
from pianolab.acoustics.judging.tuning import robust_spread
from pianolab.acoustics.judging.tuning_need import need_of_table, pitch_words
from pianolab.acoustics.keys.compass import usual_stretch_cents
from pianolab.acoustics.keys.keypath import NO_NOTE, KeyPath
from pianolab.acoustics.keys.onsets import Onsets
from pianolab.acoustics.keys.sequence import Sequence
from pianolab.acoustics.notes import NoteMeasures
from pianolab.acoustics.recorder.quality import RecordingQuality
from pianolab.acoustics.survey_result import (
    FAULTS,
    LevelCurve,
    PartialPitches,
    Row,
    SurveySummary,
    count_faults,
)
from pianolab.errors import BadInput
from pianolab.keyboard import note_name

if TYPE_CHECKING:
    import pandas as pd

NOT_STRUCK = "key not struck"


def survey_rows(heard: Listened, sequence: Sequence, *, first_key: int, last_key: int) -> list[Row]:
    """A row for every key of the compass that was asked for, whether it was measured or not.

    Parameters
    ----------
    heard : the measured and judged notes
    sequence : the keys that were not measured, with their status and the reason
    """
    rows = {int(row["key"]): row for row in _measured_rows(heard)}
    for key, (status, why) in sequence.absent.items():
        rows[key] = absent_row(key, status, why)
    return [rows[key] for key in range(first_key, last_key + 1)]


def _measured_rows(heard: Listened) -> list[Row]:
    keys = heard.m.strikes.key
    columns = [c for c in declared() if c.values is not None]
    cells = {c.name: _cells(c, heard) for c in columns}
    reasons = {c.name: list(c.why(heard)) for c in columns if c.why is not None}
    rows = []
    for i, key in enumerate(keys):
        row = {**_empty_row(int(key)), "status": "measured", **{name: own[i] for name, own in cells.items()}}
        row["gaps"] = _gaps(row, {name: own[i] for name, own in reasons.items()})
        rows.append(row)
    return rows


def _cells(column: Column, heard: Listened) -> list[Any]:
    """The column's values, one per note, numbers as plain ones."""
    assert column.values is not None
    values = list(column.values(heard))
    if len(values) != len(heard.m.strikes.key):
        notes = len(heard.m.strikes.key)
        raise BadInput(f"column {column.name!r}", f"{len(values)} values", f"one for each of {notes} notes")
    return values if column.is_text else [float(v) for v in values]


def _empty_row(key: int) -> Row:
    statements: Row = {"gaps": {}, "not_judged": {}, "faults": ()}
    return {**{c.name: c.empty for c in declared()}, **statements, "key": key, "note": note_name(key)}


def _gaps(row: Row, reasons: Mapping[str, str]) -> dict[str, str]:
    """A reason for every empty measure: its own, that of the measure it belongs to, or the column's usual one."""
    found: dict[str, str] = {}
    for c in declared():
        if c.needs_reason and is_empty(row[c.name]):
            found[c.name] = reasons.get(c.name) or found.get(c.of) or c.absent
    return found


def absent_row(key: int, status: str, why: str) -> Row:
    """The row of a key that was not measured: every measure and every fault with the reason."""
    reason = why if status != "skipped" else NOT_STRUCK
    silent = status == "silent"
    return {
        **_empty_row(key),
        "status": status,
        "strikes": 0.0,
        "sustain_trust": "not sounded",
        "gaps": {c.name: reason for c in declared() if c.needs_reason},
        "not_judged": {f: reason for f in FAULTS if not (silent and f == "silent")},
        "faults": ("silent",) if silent else (),
    }


def level_curves(m: NoteMeasures) -> tuple[LevelCurve, ...]:
    out = []
    for key, level in zip(m.strikes.key, m.levels, strict=True):
        if len(level.power) == 0:
            continue
        db = level.level_db
        top = float(db.max())
        step = max(4, len(db) // 300)
        out.append(
            LevelCurve(
                key=int(key),
                time_s=tuple(float(t) for t in np.round(level.time_s[::step], 3)),
                level_db=tuple(float(v) for v in np.round(db[::step] - top, 2)),
                floor_db=round(level.floor_db - top, 2),
            )
        )
    return tuple(out)


def partial_pitches(m: NoteMeasures) -> tuple[PartialPitches, ...]:
    heard = (m.partial_weight > 0) & ~np.isnan(m.partial_hz)
    return tuple(
        PartialPitches(
            key=int(key),
            f_hz=tuple(round(float(f), 6) if h else None for f, h in zip(hz, own, strict=True)),
            weight=tuple(round(float(w), 3) if h else 0.0 for w, h in zip(weight, own, strict=True)),
        )
        for key, hz, weight, own in zip(m.strikes.key, m.partial_hz, m.partial_weight, heard, strict=True)
    )


def all_strikes(
    path: KeyPath, onsets: Onsets, sequence: Sequence, *, lead_s: float
) -> tuple[dict[str, Any], ...]:
    used = set(sequence.strike_of.values())
    return tuple(
        {
            "onset_s": round(float(t) - lead_s, 4),
            "key": None if k == NO_NOTE else int(k),
            "score": None if np.isnan(s) else round(float(s), 2),
            "used": i in used,
        }
        for i, (t, k, s) in enumerate(zip(onsets.times_s, path.keys, path.score, strict=True))
    )


@dataclass(frozen=True, kw_only=True)
class Asked:
    """What was asked of the listening: the keys that the recording covers, and what A4 should be, in Hz."""

    first_key: int
    last_key: int
    a4_hz: float


def summarise(
    listened: Listened,
    path: KeyPath,
    table: pd.DataFrame,
    *,
    asked: Asked,
    quality: RecordingQuality,
    clipped: NDArray[np.bool_],
) -> SurveySummary:
    """What holds for the whole piano and the whole recording."""
    m, j = listened.m, listened.judged
    by_status = {
        s: tuple(int(k) for k in table.loc[table["status"] == s, "key"])
        for s in ("silent", "skipped", "unclear")
    }
    offset = offset_cents(m, j)
    doubtful = path.other_shift != 0
    said = tuple(i for i in quality.impairments if i.says)
    says = tuple(i.says for i in said)
    withheld = quality.withholds("t60_s")
    t60_s, t60_reason = (np.nan, withheld) if withheld else told_t60(m.t60_s, m.t60_reason, m.t60_sd_s)
    return SurveySummary(
        first_key=asked.first_key,
        last_key=asked.last_key,
        a4_hz=asked.a4_hz,
        rate_hz=listened.rate_hz,
        channels=listened.channels.shape[0],
        seconds=listened.channels.shape[1] / listened.rate_hz,
        measured=len(m.strikes.key),
        silent=by_status["silent"],
        skipped=by_status["skipped"],
        unclear=by_status["unclear"],
        offset_cents=offset,
        tuning_spread_cents=robust_spread(j.cents - j.curve_cents) if len(j.cents) > 4 else None,
        reading="doubtful" if doubtful else "clear",
        other_first_key=int(m.strikes.key.min()) + path.other_shift if doubtful else None,
        t60_s=None if np.isnan(t60_s) else float(t60_s),
        t60_reason=t60_reason,
        noise_db=m.noise_db,
        clipped_keys=tuple(int(k) for k in m.strikes.key[clipped]),
        quality=says,
        sustain_hidden=tuned_first(table),
        sustain_heard=len(j.verdict),
        fault_counts=count_faults(table),
        warnings=warning_sentences(table, offset=offset, doubtful=doubtful, quality=says),
        impairments=tuple(i.name for i in said),
        quality_unknown=quality.unknown,
        **tuning_fields(table),
    )


def offset_cents(m: NoteMeasures, j: FoundFaults) -> float | None:
    """How far the whole piano is from the pitch that was asked for, usual stretch taken out; None without notes."""
    off = j.cents - usual_stretch_cents(m.strikes.key)
    return float(np.nanmedian(off)) if np.isfinite(off).any() else None


def tuning_fields(table: pd.DataFrame) -> dict[str, Any]:
    """The summary's fields on the state of the unisons."""
    need = need_of_table(table)
    return {"unisons_judged": need.judged, "wide_unisons": need.wide, "needs_tuning": need.needed}


def warning_sentences(
    table: pd.DataFrame, *, offset: float | None, doubtful: bool, quality: tuple[str, ...]
) -> tuple[str, ...]:
    """What the reader must know first: the pitch, what the tuning hides, what can't be told, what the recording forbids."""
    first = (
        pitch_words(offset),
        need_of_table(table).says(
            hidden=tuned_first(table), heard=int((table["status"] == "measured").sum())
        ),
        "the keys may all be one semitone off: --first-key N settles it" if doubtful else "",
    )
    return (*(w for w in first if w), *quality)


def tuned_first(table: pd.DataFrame) -> int:
    """How many notes sing through unisons too wide to judge how long."""
    return int((table["sustain_verdict"] == "tune first").sum())
