"""When a rule of the checklist holds: a grade at or under, an answer, a value over or under."""

from __future__ import annotations

from typing import Protocol

from pianolab.assess.places import value_of
from pianolab.checklist import Point
from pianolab.model import Finding


class Trigger(Protocol):
    """What any rule on a point says of the value that sets it off."""

    @property
    def at_grade(self) -> int | None: ...
    @property
    def on_answer(self) -> bool | None: ...
    @property
    def over(self) -> float | None: ...
    @property
    def under(self) -> float | None: ...


def holds(rule: Trigger, finding: Finding, point: Point) -> bool:
    """Whether a checked finding sets the rule off."""
    if finding.state != "checked":
        return False
    value = value_of(finding, point)
    if rule.at_grade is not None:
        return value <= rule.at_grade
    if rule.on_answer is not None:
        return bool(value) == rule.on_answer
    return (rule.over is not None and value > rule.over) or (rule.under is not None and value < rule.under)
