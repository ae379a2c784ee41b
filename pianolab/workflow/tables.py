"""The survey as CSV and JSON text."""

from __future__ import annotations

import csv
import io
import json
import math
from dataclasses import asdict
from typing import Any

from pianolab.acoustics import Survey
from pianolab.acoustics.survey_table import csv_rows
from pianolab.keyboard import HIGHEST_KEY, LOWEST_KEY, note_name
from pianolab.units import cents_between, key_to_hz


def survey_csv(survey: Survey) -> str:
    """The survey table as CSV: a row per key, the agreed columns first, an empty field for what is unknown."""
    header, rows = csv_rows(survey.table)
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows([header, *rows])
    return out.getvalue()


def survey_json(survey: Survey, *, source: str = "") -> str:
    """Summary, all strikes, the rows with the reasons for gaps, and the other reading where there is one."""
    data = {
        "source": source,
        "summary": asdict(survey.summary),
        "other_reading": other_reading(survey),
        "strikes": list(survey.strikes),
        "rows": survey.to_frame().to_dict(orient="records"),
    }
    return json.dumps(_plain(data), ensure_ascii=False, indent=1, allow_nan=False) + "\n"


def _plain(value: Any) -> Any:
    """JSON knows no NaN: what is unknown becomes null."""
    if isinstance(value, dict):
        return {str(k): _plain(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(v) for v in value]
    if hasattr(value, "item"):
        value = value.item()
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def other_reading(survey: Survey) -> dict[str, Any] | None:
    """The keys one semitone over, where the recording alone can't tell which it was; else None.

    The pitches stay as measured, only the keys they are counted for move, and their cents with them.
    """
    other = survey.summary.other_first_key
    if other is None:
        return None
    table = survey.to_frame()
    heard = table[table["status"] == "measured"]
    shift = other - int(heard["key"].min())
    rows = [
        {
            "key": key + shift,
            "note": note_name(key + shift),
            "f1_hz": f1_hz,
            "cents": float(cents_between(f1_hz, key_to_hz(key + shift, a4_hz=survey.summary.a4_hz))),
        }
        for key, f1_hz in zip(heard["key"].astype(int), heard["f1_hz"], strict=True)
        if LOWEST_KEY <= key + shift <= HIGHEST_KEY
    ]
    offset = survey.summary.offset_cents
    return {
        "first_key": other,
        "shift_keys": shift,
        "offset_cents": None if offset is None else offset - 100.0 * shift,
        "rows": rows,
    }
