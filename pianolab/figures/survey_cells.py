"""Cells of a survey's rows as figures need them: numbers or None, lists of words, reasons for gaps."""

from __future__ import annotations

from collections.abc import Mapping
from math import isfinite
from typing import Any

from pianolab.acoustics.named_reasons import split_reasons


def number(value: Any) -> float | None:
    """A cell as a number, None where it holds none."""
    if value is None:
        return None
    try:
        x = float(value)
    except (TypeError, ValueError):
        return None
    return x if isfinite(x) else None


def why_missing(row: Mapping[str, Any], column: str) -> str:
    """Why a key has no value in that column, in words; never empty.

    Examples
    --------
    >>> why_missing({"status": "measured", "cents": None, "gaps": {"cents": "noisy"}}, "cents")
    'noisy'
    >>> why_missing({"status": "silent", "cents": None, "gaps": {}}, "cents")
    'key is silent'
    >>> why_missing({"status": "measured", "gaps": {}}, "cents")
    'not measured when this recording was listened to'
    """
    reason = split_reasons(row.get("gaps")).get(column)
    if reason:
        return reason
    status = str(row.get("status") or "unclear")
    if status != "measured":
        return f"key is {status}"
    return "no reason recorded" if column in row else "not measured when this recording was listened to"
