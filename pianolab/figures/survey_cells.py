"""Cells of a survey table as figures need them: numbers or None, lists of words, reasons for gaps."""

from __future__ import annotations

from collections.abc import Mapping
from math import isfinite
from typing import Any

from pianolab.acoustics.results import Survey


def number(value: Any) -> float | None:
    """A cell as a number, None where the table holds none."""
    if value is None:
        return None
    try:
        x = float(value)
    except (TypeError, ValueError):
        return None
    return x if isfinite(x) else None


def pairs(text: Any) -> dict[str, str]:
    """``name=reason`` pairs of a survey cell.

    Examples
    --------
    >>> pairs("decay_20_s=key let go after 1.9 s;cents=noisy")
    {'decay_20_s': 'key let go after 1.9 s', 'cents': 'noisy'}
    """
    found = (part.partition("=") for part in str(text or "").split(";") if part.strip())
    return {name.strip(): reason.strip() for name, _, reason in found}


def names_in(text: Any) -> tuple[str, ...]:
    """Words of a ``;``-separated survey cell."""
    return tuple(w.strip() for w in str(text or "").split(";") if w.strip())


def records(survey: Survey) -> list[dict[str, Any]]:
    """The survey's rows as dictionaries, in key order."""
    rows = survey.table.sort_values("key").to_dict("records")
    return [{str(name): value for name, value in row.items()} for row in rows]


def why_missing(row: Mapping[str, Any], column: str) -> str:
    """Why a key has no value in that column, in words; never empty."""
    reason = pairs(row.get("gaps")).get(column)
    if reason:
        return reason
    status = str(row.get("status") or "unclear")
    return "no reason recorded" if status == "measured" else f"key is {status}"
