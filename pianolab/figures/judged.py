"""One finding on the scale of five, in words: how every figure and page takes it."""

from __future__ import annotations

from pianolab.checklist.points import Point
from pianolab.model import Finding
from pianolab.show import format_value

GRADE_WORDS = {5: "sound", 4: "light wear", 3: "worn", 2: "poor", 1: "failed"}
GOOD_FROM = 4
"""From this grade up a point is in order."""


def judged(f: Finding, point: Point | None) -> tuple[int | None, str, str]:
    """Grade on the scale of five (None where there is none), what was found, and what it means.

    An answer, count or reading has no grade of its own: within what is usual it counts as sound (5), outside
    as poor (2), and as failed (1) beyond the point's own limit of failure.

    Examples
    --------
    >>> judged(Finding(visit_id="v", point="lid", grade=3), None)
    (3, 'worn', '')
    """
    if f.state != "checked":
        return None, f.state, f.reason
    if f.grade is not None:
        anchors = point.anchors if point and len(point.anchors) == 5 else ()
        return f.grade, GRADE_WORDS[f.grade], anchors[5 - f.grade] if anchors else ""
    if f.answer is not None:
        return _answered(f.answer, point)
    value = f.count if f.count is not None else f.reading
    found = _with_unit(value, point.unit if point else "")
    if point is None or value is None:
        return None, found, ""
    return _measured_grade(float(value), point, is_count=f.count is not None), found, _usual_words(point)


def _answered(answer: bool, point: Point | None) -> tuple[int | None, str, str]:
    word = "yes" if answer else "no"
    if point is None:
        return None, word, ""
    meaning = point.yes_means if answer else point.no_means
    if point.good_answer is None:
        return None, word, meaning
    return (5 if point.good_answer == answer else 2), word, meaning


def _measured_grade(value: float, point: Point, *, is_count: bool) -> int | None:
    if point.failed_over is not None and value >= point.failed_over:
        return 1
    if point.failed_under is not None and value <= point.failed_under:
        return 1
    if point.usual is not None:
        return 5 if point.usual[0] <= value <= point.usual[1] else 2
    if is_count and point.nature != "information":
        return 5 if value == 0 else 2
    return None


def _usual_words(point: Point) -> str:
    """What is usual at a point; nothing is under zero where zero is usual, so only the upper end is told."""
    if point.usual is None:
        return ""
    low, high = point.usual
    if low == 0:
        return f"usual: up to {_with_unit(high, point.unit)}" if high else "usual: none"
    if low == high:
        return f"usual: {_with_unit(low, point.unit)}"
    return f"usual: {_plain(low)} to {_with_unit(high, point.unit)}"


def _plain(value: float | None) -> str:
    whole = int(value) if value is not None and float(value).is_integer() else value
    return format_value(whole).replace("-", "−")


def _with_unit(value: float | None, unit: str) -> str:
    one = unit in ("keys", "notes", "strings", "pins", "years", "parts") and value == 1
    return f"{_plain(value)} {unit[:-1] if one else unit}".strip()
