"""The invented shortlist: four instruments, four conditions, and findings that fit a condition.

Conditions are independent of the instruments' names: any condition can be given to any instrument.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from decimal import Decimal
from typing import Any, get_args

from pianolab.checklist.load import load_checklist
from pianolab.checklist.points import VALUE_OF, Checklist, Point, Spot
from pianolab.errors import BadInput
from pianolab.model import Finding, FindingState, Piano, Room
from pianolab.shipped import shipped

DETAILS = ("keys", "place", "note", "promised")
STATES = tuple(s for s in get_args(FindingState) if s != "checked")


@dataclass(frozen=True, kw_only=True)
class Condition:
    """One state an instrument may be in, as findings; ``sound`` names the sound that goes with it.

    ``otherwise`` is the grade of every point that is not listed; yes/no points then get their good answer,
    counts and readings a usual value. Points that bear on nothing stay "not asked" unless listed.
    """

    name: str
    description: str
    otherwise: int
    found: dict[str, dict[str, Any]] = field(default_factory=dict)
    unseen: dict[str, tuple[FindingState, str]] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class Scenario:
    """The invented instruments, the conditions, which one each instrument has unless told otherwise."""

    instruments: tuple[Piano, ...]
    conditions: dict[str, Condition]
    default_condition: dict[str, str]
    rooms: dict[str, Room]


def load_scenario(checklist: Checklist | None = None) -> Scenario:
    """The invented shortlist that comes with pianolab, checked against the checklist.

    Parameters
    ----------
    checklist : the points; None for the usual ones

    Returns
    -------
    Scenario

    Examples
    --------
    >>> scenario = load_scenario()
    >>> len(scenario.instruments), sorted(scenario.conditions)
    (4, ['fine in a dull room', 'masked treble', 'polished and failing', 'worn but honest'])
    """
    checklist = checklist or load_checklist()
    raw = {name: _read(f"datasets/scenario/{name}.toml") for name in ("instruments", "conditions")}
    conditions = {c["name"]: _condition(c, checklist) for c in raw["conditions"]["condition"]}
    entries = raw["instruments"]["instrument"]
    pianos = tuple(_piano(entry) for entry in entries)
    defaults = {entry["name"]: entry["condition"] for entry in entries}
    if missing := sorted(set(defaults.values()) - set(conditions)):
        raise BadInput("instruments.toml: condition", missing, "one of " + ", ".join(conditions))
    rooms = {entry["name"]: _room(entry.get("room", {})) for entry in entries}
    return Scenario(instruments=pianos, conditions=conditions, default_condition=defaults, rooms=rooms)


def _read(name: str) -> dict[str, Any]:
    return tomllib.loads(shipped(name).read_text(encoding="utf-8"))


def _piano(entry: Mapping[str, Any]) -> Piano:
    values = {k: v for k, v in entry.items() if k not in ("condition", "room")}
    values["asking_price"] = Decimal(str(values["asking_price"]))
    return Piano(**values)


def _room(entry: Mapping[str, Any]) -> Room:
    sizes = {k: v for k, v in entry.items() if k != "surfaces"}
    return Room(**sizes, surfaces=tuple(entry.get("surfaces", ())))


def _condition(raw: Mapping[str, Any], checklist: Checklist) -> Condition:
    spot = Spot("conditions.toml", raw["name"])
    found = raw.get("found", {})
    for point, value in found.items():
        expected = {VALUE_OF[checklist[point].record]}
        if set(value) - set(DETAILS) != expected:
            raise spot.bad(point, sorted(value), f"{expected.pop()}, and perhaps {', '.join(DETAILS)}")
    unseen = {}
    for entry in raw.get("unseen", ()):
        if entry["state"] not in STATES:
            raise spot.bad("unseen", repr(entry["state"]), "one of " + ", ".join(STATES))
        unseen.update({checklist[p].id: (entry["state"], entry["reason"]) for p in entry["points"]})
    if both := sorted(set(found) & set(unseen)):
        raise spot.bad(both[0], "found and unseen", "one of the two")
    return Condition(
        name=raw["name"],
        description=raw["description"],
        otherwise=raw["otherwise"],
        found=found,
        unseen=unseen,
    )


def findings_for(
    condition: Condition,
    *,
    visit_id: str,
    piano: Piano,
    examiner: str = "",
    checklist: Checklist | None = None,
) -> tuple[Finding, ...]:
    """A finding for every point that exists on this piano, as the condition has it.

    Points for technicians stay "not checked" unless the condition lists them.

    Parameters
    ----------
    condition : what is wrong with the piano, by point
    visit_id : the visit they belong to
    piano : the piano, which says what points exist on it
    examiner : who looked
    checklist : the points; None for the usual ones

    Returns
    -------
    tuple of `Finding`, in the order of the checklist
    """
    points = (checklist or load_checklist()).for_piano(piano)
    return tuple(
        replace(_finding(point, condition, visit_id), examiner=examiner, id=f"{visit_id}-{point.id}")
        for point in points
    )


def _finding(point: Point, condition: Condition, visit_id: str) -> Finding:
    blank: dict[str, Any] = {"visit_id": visit_id, "point": point.id}
    if point.id in condition.found:
        value = dict(condition.found[point.id])
        value["keys"] = tuple(value.get("keys", ()))
        return Finding(**blank, **value)
    if point.id in condition.unseen:
        state, reason = condition.unseen[point.id]
        return Finding(**blank, state=state, reason=reason)
    if point.access == "technician only":
        return Finding(**blank, state="not checked", reason="no technician was there")
    usual = _usual_value(point, condition.otherwise)
    if usual is None:
        return Finding(**blank, state="not checked", reason="nobody asked")
    return Finding(**blank, **usual)


def _usual_value(point: Point, grade: int) -> dict[str, Any] | None:
    if point.record == "grade":
        return {"grade": grade}
    if point.record == "yes_no":
        return None if point.good_answer is None else {"answer": point.good_answer}
    if point.usual is None or not point.aspects:
        return None
    low, high = point.usual
    return {"count": int(low)} if point.record == "count" else {"reading": round(0.5 * (low + high), 1)}
