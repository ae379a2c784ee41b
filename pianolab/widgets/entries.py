"""What comes in from the form, read into the fields of a finding; what can't be read is refused in one line."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Any

from pianolab.checklist.points import VALUE_OF, Point
from pianolab.errors import BadInput
from pianolab.model import Finding, FindingState, Piano
from pianolab.report.twin_keyboard import read_keys

NOTED_ONLY = "noted, not judged yet"
OTHER = "other"
LONGEST_PLACE = 200


@dataclass(frozen=True)
class Reason:
    """A reason for not checking a point, as a button shows it."""

    key: str
    label: str
    state: FindingState
    text: str


REASONS: tuple[Reason, ...] = (
    Reason("time", "No time", "not checked", "no time"),
    Reason("helper", "No helper", "not checked", "no helper"),
    Reason("tool", "No tool for it", "not checked", "no tool for it"),
    Reason("reach", "Could not see or reach it", "not checked", "could not be seen or reached"),
    Reason("allowed", "Not allowed", "not allowed", "not allowed by the owner"),
    Reason("technician", "Left to a technician", "not checked", "left to a technician"),
    Reason("absent", "This piano has none", "does not apply", "this piano has none"),
    Reason(OTHER, "Another reason", "not checked", ""),
)

ONE_BUTTON = {"not allowed": "allowed", "does not apply": "absent"}
"""States with a button of their own, whatever words the reason has."""

Fields = dict[str, Any]
EMPTY: Fields = {"grade": None, "answer": None, "count": None, "reading": None}


def value_fields(point: Point, raw: object) -> Fields:
    """The fields of a checked finding from what was chosen or typed for a point.

    Raises
    ------
    BadInput
        Where the value is not of the kind the point records.

    Examples
    --------
    >>> dip = Point(id="dip", area="touch", title="Key dip", why="w", how="h", record="reading", unit="mm")
    >>> value_fields(dip, "10,2")["reading"]
    10.2
    """
    read = {"grade": _grade, "yes_no": _answer, "count": _count, "reading": _reading}[point.record]
    return {**EMPTY, VALUE_OF[point.record]: read(point, raw), "state": "checked", "reason": ""}


def _grade(point: Point, raw: object) -> int:
    if isinstance(raw, bool) or not isinstance(raw, int) or not 1 <= raw <= 5:
        raise BadInput(point.title, _shown(raw), "one of the five described grades")
    return raw


def _answer(point: Point, raw: object) -> bool:
    if not isinstance(raw, bool):
        raise BadInput(point.title, _shown(raw), "yes or no")
    return raw


def _count(point: Point, raw: object) -> int:
    text = str(raw).strip()
    if not re.fullmatch(r"[0-9]{1,6}", text):
        raise BadInput(point.title, _shown(raw), "a whole number, 0 or more", "None found is 0.")
    return int(text)


def _reading(point: Point, raw: object) -> float:
    text = str(raw).strip().replace(",", ".").replace("−", "-")
    for unit in (point.unit, point.unit.partition(" ")[0]):  # "38%" where the unit is "% relative humidity"
        text = text.removesuffix(unit).strip() if unit else text
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value) or "_" in text:
        raise BadInput(point.title, _shown(raw), f"a number in {point.unit}" if point.unit else "a number")
    return value


def _shown(raw: object) -> str:
    text = " ".join(str(raw).split())
    return repr(text if len(text) <= 40 else text[:40] + "…") if text else "nothing"


def reason_fields(point: Point, raw: object, text: object) -> Fields:
    """The fields of a finding that was not made, with its reason.

    Examples
    --------
    >>> lid = Point(id="lid", area="case", title="Lid", why="w", how="h")
    >>> reason_fields(lid, "allowed", "")["state"]
    'not allowed'
    """
    reason = next((r for r in REASONS if r.key == raw), None)
    if reason is None:
        raise BadInput(point.title, _shown(raw), "one of the reasons shown")
    words = reason.text or " ".join(str(text or "").split())
    if not words:
        raise BadInput(point.title, "no reason", "a few words why it was not looked at")
    return {**EMPTY, "state": reason.state, "reason": words}


def reason_key(finding: Finding | None) -> str:
    """Which button stands for a finding's reason; empty where none is pressed.

    Examples
    --------
    >>> reason_key(Finding(visit_id="v", point="p", state="not checked", reason="the lamp died"))
    'other'
    >>> reason_key(Finding(visit_id="v", point="p", state="not allowed", reason="the lid was not opened"))
    'allowed'
    """
    if finding is None or finding.state == "checked" or finding.reason == NOTED_ONLY:
        return ""
    if finding.state in ONE_BUTTON:
        return ONE_BUTTON[finding.state]
    return next((r.key for r in REASONS if (r.state, r.text) == (finding.state, finding.reason)), OTHER)


def keys_fields(piano: Piano, raw: object) -> Fields:
    """The keys concerned, from a list of numbers or from words such as ``C4, F5-A5``."""
    if isinstance(raw, (list, tuple)):
        raw = ", ".join(str(k) for k in raw)
    return {"keys": read_keys(str(raw), first_key=piano.first_key, last_key=piano.last_key)}


def place_fields(raw: object) -> Fields:
    """The section of the instrument, in a few words."""
    text = " ".join(str(raw).split())
    if len(text) > LONGEST_PLACE:
        raise BadInput(
            "place", f"{len(text)} characters", f"up to {LONGEST_PLACE}", "Longer text belongs in the note."
        )
    return {"place": text}


def promise_fields(raw: object) -> Fields:
    """What the seller promised, as one line; nothing but blanks is no promise.

    Examples
    --------
    >>> promise_fields(" hammers filed,\\n by May ")
    {'promised': 'hammers filed, by May'}
    """
    return {"promised": " ".join(str(raw).split())}
