"""What is heard: the clips to compare, and what the tuning hides."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from pianolab.acoustics.survey_result import Survey
from pianolab.keyboard import note_name
from pianolab.report import phrases
from pianolab.report.instruments import Instrument
from pianolab.report.photos_and_clips import Clip


def clip_grid(clips: Mapping[str, Sequence[Clip]], instruments: Sequence[Instrument]) -> list[dict[str, Any]]:
    """Rows of the listening table: one key each, with the clip of every instrument, or None where there is none."""
    keys = sorted({c.key for own in clips.values() for c in own})
    rows = []
    for key in keys:
        cells: list[dict[str, Any]] = [
            {"on": i, "clip": next((c for c in clips.get(i.id, ()) if c.key == key), None)}
            for i in instruments
        ]
        label = next(c["clip"].label for c in cells if c["clip"])
        rows.append({"key": key, "note": note_name(key), "label": label, "cells": cells})
    return rows


def sustain_counts(survey: Survey) -> dict[str, int]:
    """Keys by what can be said of how long they sing: as they should, too short, hidden by the tuning."""
    verdict = survey.table["sustain_verdict"].fillna("")
    return {v: int((verdict == v).sum()) for v in ("sound", "short", "tune first")}


def hidden_rows(instruments: Sequence[Instrument]) -> list[dict[str, Any]]:
    """What the tuning hides, per instrument: keys by what can be said of how long they sing."""
    rows: list[dict[str, Any]] = []
    for i in instruments:
        if i.survey is None:
            rows.append({"on": i, "counts": None, "text": "not recorded"})
            continue
        t = i.survey.table
        verdict = t["sustain_verdict"].fillna("")
        counts = sustain_counts(i.survey)
        rest = t[verdict == ""]
        reasons = rest["sustain_trust"].fillna("").value_counts()
        why = ", ".join(f"{n} {phrases.WHY_NOT_JUDGED.get(str(r), str(r))}" for r, n in reasons.items())
        rows.append(
            {
                "on": i,
                "counts": counts,
                "open": len(rest),
                "why": why,
                "text": i.assessment.hidden_by_tuning or "nothing found that the tuning hides",
                "offset": i.survey.summary.offset_cents,
                "reading": i.survey.summary.reading,
            }
        )
    return rows
