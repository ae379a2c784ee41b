"""The rows of a survey: every measure of every key, and the reason beside each value that could not be had."""

from __future__ import annotations

from typing import Any

import numpy as np

from pianolab.acoustics.judge import NOT_STRUCK, Judged
from pianolab.acoustics.keypath import NO_NOTE, KeyPath
from pianolab.acoustics.notes import NoteMeasures
from pianolab.acoustics.onsets import Onsets
from pianolab.acoustics.results import (
    COLUMNS,
    EXTRA_COLUMNS,
    FAULTS,
    TEXT_COLUMNS,
    LevelCurve,
    PartialPitches,
)
from pianolab.acoustics.sequence import Sequence
from pianolab.keyboard import note_name


def _join(reasons: dict[str, str]) -> str:
    return ";".join(f"{name}={why}" for name, why in reasons.items())


def survey_table(m: NoteMeasures, j: Judged, sequence: Sequence, *, first_key: int, last_key: int) -> Any:
    """The table, a row per key of the compass that was asked for, as `Survey` describes it."""
    import pandas as pd

    rows: dict[int, dict[str, Any]] = {}
    for i, key in enumerate(m.strikes.key):
        d, f = m.decays[i], m.falls[i]
        rows[int(key)] = {
            "status": "measured", "onset_s": m.strikes.onset_s[i], "hold_s": m.release.hold_s[i],
            "snr_db": m.snr_db[i], "f1_hz": m.f1_hz[i], "cents": j.cents[i], "curve_cents": j.curve_cents[i],
            "off_curve_cents": j.cents[i] - j.curve_cents[i], "inharmonicity": np.nan if np.isnan(m.f1_hz[i]) else m.inharmonicity[i],
            "unison_cents": m.unison.spread_cents[i], "beat_hz": m.unison.beat_hz[i],
            "beat_partial": m.unison.beat_partial[i], "decay_20_s": d.decay_20_s, "decay_20_bound": d.bound,
            "early_db_per_s": d.early_db_per_s, "late_db_per_s": d.late_db_per_s, "release_20_s": f.release_20_s,
            "release_bound": f.bound, "brightness_db": j.brightness.brightness_db[i],
            "brightness_dev": j.brightness.dev[i], "buzz_db": j.buzz_db[i], "sustain_trust": j.trust[i],
            "sustain_verdict": j.verdict[i], "not_judged": _join(j.not_judged[i]), "gaps": _join(j.gaps[i]),
            "faults": ";".join(j.faults[i]), "strikes": sequence.count[int(key)], "level_db": m.level_db[i],
            "cents_sd": m.f1_sd_cents[i], "unison_cents_sd": m.unison.spread_sd[i], "inharmonicity_sd": m.b_sd[i],
            "brightness_db_sd": j.brightness.sd[i], "string_db_per_s": m.string_db_per_s[i], "decay_20_s_sd": d.sd_s,
        }  # fmt: skip
    for key, (status, why) in sequence.absent.items():
        rows[key] = absent_row(status, why)
    table = pd.DataFrame(
        [{"key": k, "note": note_name(k), **rows[k]} for k in range(first_key, last_key + 1)]
    )
    for column in (*COLUMNS, *EXTRA_COLUMNS, "inharmonicity_sd", "brightness_db_sd", "string_db_per_s"):
        if column not in table:
            table[column] = "" if column in TEXT_COLUMNS else np.nan
        if column in TEXT_COLUMNS:
            table[column] = table[column].fillna("").astype(str)
        elif column != "key":
            table[column] = table[column].astype(float)
    return table[[*COLUMNS, *(c for c in table.columns if c not in COLUMNS)]]


STATED_COLUMNS = TEXT_COLUMNS - {"decay_20_bound", "release_bound"}
"""Texts that are statements themselves; an empty one needs no reason."""


def absent_row(status: str, why: str) -> dict[str, Any]:
    """The row of a key that was not measured: every measure and every fault with the reason."""
    reason = why if status != "skipped" else NOT_STRUCK
    measures = [c for c in COLUMNS if c not in STATED_COLUMNS and c != "key"]
    untested = [f for f in FAULTS if not (status == "silent" and f == "silent")]
    return {
        "status": status, "strikes": 0, "sustain_trust": "not sounded", "gaps": _join(dict.fromkeys(measures, reason)),
        "not_judged": _join(dict.fromkeys(untested, reason)), "faults": "silent" if status == "silent" else "",
    }  # fmt: skip


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
