"""What is known of single keys: marks for the drawing, and lines of what was recorded and measured."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

from pianolab.acoustics.survey_table import rows_of
from pianolab.checklist.points import Checklist
from pianolab.model import Finding
from pianolab.report.twin_keyboard import KeyMark, MarkShape
from pianolab.report.twins import finding_in_words, note_in_words

if TYPE_CHECKING:
    from pianolab.acoustics import Survey

KeyMarks = dict[int, tuple[KeyMark, ...]]


def key_marks(
    *, findings: Iterable[Finding] = (), survey: Survey | None = None, checklist: Checklist | None = None
) -> KeyMarks:
    """What is known of single keys, by key number: findings that name keys, and what the survey heard.

    A finding that says the point is sound makes no mark; one that was not checked makes none either.

    Parameters
    ----------
    findings : findings of the visit; only those with ``keys`` count
    survey : the measured survey, or None where nothing was recorded
    checklist : gives the points' titles and scales; without it a point shows by its id
    """
    marks: dict[int, list[KeyMark]] = {}
    for finding in findings:
        if finding.state == "checked" and not _is_sound(finding, checklist):
            point = checklist.get(finding.point) if checklist is not None else None
            title = point.title if point else finding.point
            beside = note_in_words(finding)
            text = f"{title}: {finding_in_words(finding, point=point)}" + (f", {beside}" if beside else "")
            for key in finding.keys:
                marks.setdefault(key, []).append(KeyMark(shape="triangle", text=text))
    for key, faults in _heard(survey):
        shape: MarkShape = "cross" if "silent" in faults else "circle"
        words = ", ".join(f.replace("_", " ") for f in faults)
        marks.setdefault(key, []).append(KeyMark(shape=shape, text=f"heard: {words}"))
    return {key: tuple(found) for key, found in sorted(marks.items())}


def _is_sound(finding: Finding, checklist: Checklist | None) -> bool:
    if finding.grade is not None:
        return finding.grade == 5
    if finding.answer is not None and checklist is not None and finding.point in checklist:
        return checklist[finding.point].good_answer is finding.answer
    return finding.count == 0


def _heard(survey: Survey | None) -> list[tuple[int, list[str]]]:
    if survey is None:
        return []
    return [(int(row["key"]), list(row["faults"])) for row in rows_of(survey.table) if row["faults"]]


def measured_lines(survey: Survey | None) -> dict[int, list[str]]:
    """What the recording says of each key, a few short lines; what could not be judged is said too."""
    if survey is None:
        return {}
    return {int(row["key"]): _lines(row) for row in rows_of(survey.table)}


def _lines(row: Mapping[Any, Any]) -> list[str]:
    if row.get("status") != "measured":
        return [f"recording: {row.get('status', 'not heard')}"]
    lines = [line for line in (_tuning(row), _sustain(row)) if line]
    unjudged = [f"{fault.replace('_', ' ')}: {why}" for fault, why in row["not_judged"].items()]
    faults = [f.replace("_", " ") for f in row["faults"]]
    none = f"no fault heard; {len(unjudged)} could not be judged" if unjudged else "no fault heard"
    lines.append(f"heard: {', '.join(faults)}" if faults else none)
    return [*lines, *([f"not judged: {', '.join(unjudged)}"] if unjudged else [])]


def _tuning(row: Mapping[Any, Any]) -> str:
    cents, unison = _number(row.get("off_curve_cents")), _number(row.get("unison_cents"))
    return ", ".join(
        text
        for text in (
            f"{cents:+.1f} cents from this piano's own curve" if cents is not None else "",
            f"strings {unison:.1f} cents apart" if unison is not None else "",
        )
        if text
    )


def _sustain(row: Mapping[Any, Any]) -> str:
    decay_s = _number(row.get("decay_20_s"))
    if decay_s is None:
        return ""
    bound = row.get("decay_20_bound")
    if bound == "<":
        return f"falls 20 dB in at most {math.ceil(10.0 * decay_s - 1e-9) / 10.0:.1f} s: the room rings on"
    if bound == ">":
        return f"falls 20 dB in at least {math.floor(10.0 * decay_s + 1e-9) / 10.0:.1f} s"
    return f"falls 20 dB in {decay_s:.1f} s"


def _number(value: object) -> float | None:
    if not isinstance(value, (int, float)) or not math.isfinite(value):
        return None
    return float(value)
