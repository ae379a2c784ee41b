"""The comparison page of a casebook, and its tables, into files."""

from __future__ import annotations

import csv
import io
import json
import math
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

from pianolab.acoustics import Survey
from pianolab.acoustics.survey_result import csv_rows
from pianolab.casebook import Casebook
from pianolab.casebook.book import check_open
from pianolab.keyboard import HIGHEST_KEY, LOWEST_KEY, note_name
from pianolab.units import cents_between, key_to_hz
from pianolab.workflow.deciding import Decision, decide
from pianolab.workflow.page_making import Written, write_out
from pianolab.workflow.progress import Progress, quiet, stoppable
from pianolab.workflow.settings import Settings

PAGE = "comparison.html"


@stoppable("Nothing was written; what was there before is as it was.")
def export(
    what: Casebook | Decision,
    html: str | Path | None = None,
    *,
    tables: str | Path | None = None,
    leave_out: Sequence[str] = (),
    replace: bool = False,
    settings: Settings | None = None,
    progress: Progress | None = None,
) -> Written:
    """Write the comparison page (one HTML file with everything inside), its numbers as CSV tables, or both.

    Parameters
    ----------
    what : a decision, or an open casebook, which is decided first
    html : where the page goes; the file appears when it is complete
    tables : the folder for the tables; made where it is missing, other files in it stay
    leave_out : any of ``names``, ``addresses``, ``prices``, which then stand nowhere in them
    replace : whether files that are there may be replaced
    settings : for a casebook: for whom, with which points and prices; what it remembers if not given
    progress : called with what is being done and a share from 0 to 1

    Returns
    -------
    Written: the files, which of them were replaced, and the decision they were made from

    Raises
    ------
    BadInput
        no place, one that can't be written, a file there and not ``replace``, a casebook's own file, settings for what
        is decided already, and what `decide` refuses; then neither page nor tables are written
    """
    if isinstance(what, Decision):
        again = {"tables": tables, "leave_out": leave_out, "replace": replace, "progress": progress}
        return what.export(html, settings=settings, **again)
    check_open(what, name="export")
    return write_out(
        what,
        lambda: decide(what, settings, progress=progress or quiet),
        html,
        tables=tables,
        leave_out=leave_out,
        replace=replace,
        progress=progress,
    )


def survey_csv(survey: Survey) -> str:
    """The survey table as CSV: a row per key, the agreed columns first, an empty field for what is unknown.

    Parameters
    ----------
    survey : what was measured

    Returns
    -------
    str
    """
    header, rows = csv_rows(survey.table)
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows([header, *rows])
    return out.getvalue()


def survey_json(survey: Survey, *, source: str = "") -> str:
    """Summary, all strikes, the rows with the reasons for gaps, and the other reading where there is one.

    Parameters
    ----------
    survey : what was measured
    source : name of the sound file; empty leaves it out

    Returns
    -------
    str
    """
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
