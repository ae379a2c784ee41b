"""From the plain tables of a TOML file to checked points; every complaint names file, point and field."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from difflib import get_close_matches
from typing import Any, get_args

from pianolab.checklist.points import (
    ANY_PIANO,
    KNOWN_FACTS,
    Access,
    Nature,
    Need,
    Point,
    RecordKind,
    RepairRule,
    SettledBy,
    Spot,
    VetoRule,
)
from pianolab.checklist.stations import load_openings
from pianolab.model import ASPECTS
from pianolab.sources import SOURCES

POINT_FIELDS = tuple(f.name for f in fields(Point))
REQUIRED = ("id", "area", "title", "why", "how", "record")
CHOICES: dict[str, tuple[str, ...]] = {
    "record": get_args(RecordKind),
    "nature": get_args(Nature),
    "access": get_args(Access),
    "source": tuple(SOURCES),
    "opens": tuple(load_openings()),
}
TEXTS = (
    "id",
    "area",
    "title",
    "why",
    "how",
    "where",
    "position",
    "tool",
    "unit",
    "yes_means",
    "no_means",
    "question",
    "mark",
    *CHOICES,
)
SWITCHES = ("helper", "photo", "per_key", "short_walk", "good_answer")
NUMBERS = ("minutes", "failed_under", "failed_over")
SPANS = ("usual", "possible")
TEXT_LISTS = ("anchors", "cautions")
FACTS = {"applies_to": KNOWN_FACTS, "may_lack": (ANY_PIANO, *KNOWN_FACTS)}
RULE_TRIGGERS = ("at_grade", "on_answer", "over", "under")


def build_point(raw: Mapping[str, Any], *, file: str) -> Point:
    """One checked point from its TOML table; `BadInput` names the first thing that is wrong."""
    spot = Spot(file, str(raw.get("id", "a point without id")))
    for name in raw:
        if name not in POINT_FIELDS:
            close = get_close_matches(name, POINT_FIELDS, n=1)
            raise spot.bad(
                name, "an unknown field", "a field of a point", f"Did you mean {close[0]}?" if close else ""
            )
    for name in REQUIRED:
        if not raw.get(name):
            raise spot.bad(name, "nothing", "a text", "Every point needs it.")
    values = {name: _value(name, value, spot) for name, value in raw.items()}
    point = Point(**values)
    _check_record(point, spot)
    _check_safety(point, spot)
    _check_sight(point, spot)
    return point


def _value(name: str, value: Any, spot: Spot) -> Any:
    if name in TEXTS:
        return _text(name, value, spot)
    if name in SWITCHES:
        return _switch(name, value, spot)
    if name == "shows":
        return _part(name, value, spot)
    if name == "settled_by":
        return tuple(_settled_by(item, spot) for item in _list(name, value, spot))
    if name in NUMBERS:
        return _number(name, value, spot, least=0.0 if name == "minutes" else None)
    if name in TEXT_LISTS:
        return tuple(_text(name, item, spot) for item in _list(name, value, spot))
    if name in FACTS:
        return tuple(_fact(name, item, spot) for item in _list(name, value, spot))
    if name in SPANS:
        return _span(name, value, spot)
    if name == "aspects":
        return _aspects(value, spot)
    rule = RepairRule if name == "repairs" else VetoRule
    return tuple(_rule(name, rule, item, spot) for item in _list(name, value, spot))


def _text(name: str, value: Any, spot: Spot) -> str:
    if not isinstance(value, str):
        raise spot.bad(name, repr(value), "a text in quotation marks")
    if name in CHOICES and value not in CHOICES[name]:
        raise spot.bad(name, repr(value), "one of " + ", ".join(CHOICES[name]))
    return " ".join(value.split())


def _switch(name: str, value: Any, spot: Spot) -> bool:
    if not isinstance(value, bool):
        raise spot.bad(name, repr(value), "true or false, without quotation marks")
    return value


def _number(name: str, value: Any, spot: Spot, *, least: float | None = None) -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float)) or value != value:
        raise spot.bad(name, repr(value), "a number")
    if least is not None and value < least:
        raise spot.bad(name, value, f"{least:g} or more")
    return float(value)


def _part(name: str, value: Any, spot: Spot) -> float:
    if not 0.0 < _number(name, value, spot) <= 1.0:
        raise spot.bad(name, value, "a part of the whole, above 0, up to 1")
    return float(value)


def _list(name: str, value: Any, spot: Spot) -> list[Any]:
    if not isinstance(value, list):
        raise spot.bad(name, repr(value), "a list in square brackets")
    return value


def _fact(name: str, value: Any, spot: Spot) -> str:
    """A misspelt condition would hide its point, or the right to say that there is none, on every piano."""
    text, known = _text(name, value, spot), FACTS[name]
    if text not in known:
        close = get_close_matches(text, known, n=1)
        hint = f"Did you mean {close[0]}?" if close else ""
        raise spot.bad(name, repr(text), "one of " + ", ".join(known), hint)
    return text


def _span(name: str, value: Any, spot: Spot) -> tuple[float, float]:
    items = [_number(name, item, spot) for item in _list(name, value, spot)]
    if len(items) != 2 or items[0] > items[1]:
        raise spot.bad(name, value, "two numbers, the smaller first")
    return items[0], items[1]


def _aspects(value: Any, spot: Spot) -> dict[str, float]:
    if not isinstance(value, dict):
        raise spot.bad("aspects", repr(value), "a table such as { tone = 0.4 }")
    for aspect, strength in value.items():
        if aspect not in ASPECTS:
            raise spot.bad("aspects", repr(aspect), "one of " + ", ".join(ASPECTS))
        if not 0.0 < _number(f"aspects, {aspect}", strength, spot) <= 1.0:
            raise spot.bad(f"aspects, {aspect}", strength, "a strength above 0, up to 1")
    return {aspect: float(strength) for aspect, strength in value.items()}


def _rule(name: str, kind: type[Any], value: Any, spot: Spot) -> Any:
    known = {f.name for f in fields(kind)}
    if not isinstance(value, dict) or set(value) - known:
        raise spot.bad(name, repr(value), "tables with " + ", ".join(sorted(known)))
    needed = "job" if kind is RepairRule else "reason"
    if not isinstance(value.get(needed), str) or not value[needed].strip():
        raise spot.bad(name, repr(value), f"a {needed} in each table")
    if not any(trigger in value for trigger in RULE_TRIGGERS):
        raise spot.bad(name, repr(value), "one of " + ", ".join(RULE_TRIGGERS), "When does it hold?")
    grade = value.get("at_grade")
    if grade is not None and grade not in (1, 2, 3, 4):
        raise spot.bad(f"{name}, at_grade", grade, "1, 2, 3 or 4")
    if not 0.0 < _number(f"{name}, chance", value.get("chance", 1.0), spot) <= 1.0:
        raise spot.bad(f"{name}, chance", value["chance"], "above 0, up to 1")
    if not 0.0 <= _number(f"{name}, severity", value.get("severity", 0.8), spot) <= 1.0:
        raise spot.bad(f"{name}, severity", value["severity"], "0 to 1")
    _switch(f"{name}, final", value.get("final", False), spot)
    if value.get("need") not in (None, *get_args(Need)):
        raise spot.bad(f"{name}, need", repr(value["need"]), "one of " + ", ".join(get_args(Need)))
    if type(value.get("count", 0)) is not int or not 0 <= value.get("count", 0) <= 100:
        raise spot.bad(f"{name}, count", repr(value["count"]), "a whole number up to 100")
    return kind(**value)


def _settled_by(value: Any, spot: Spot) -> SettledBy:
    known = {f.name for f in fields(SettledBy)}
    if not isinstance(value, dict) or set(value) - known or len(set(value) & {"on_answer", "within"}) != 1:
        raise spot.bad("settled_by", repr(value), "tables with point, and on_answer or within")
    point = _text("settled_by, point", value.get("point"), spot)
    if "within" in value:
        return SettledBy(point=point, within=_span("settled_by, within", value["within"], spot))
    return SettledBy(point=point, on_answer=_switch("settled_by, on_answer", value["on_answer"], spot))


def _check_sight(point: Point, spot: Spot) -> None:
    """A doubt that nothing can settle would stand on every piano for ever."""
    if (point.shows < 1.0) != bool(point.settled_by):
        got = f"shows = {point.shows:g} with {len(point.settled_by)} ways to settle the rest"
        raise spot.bad("settled_by", got, "shows under 1 and settled_by together")


def check_settling(points: Mapping[str, Point], *, file_of: Mapping[str, str]) -> None:
    """Refuse a point whose doubt another point is to settle that isn't there or records something else."""
    for point in points.values():
        for rule in point.settled_by:
            spot, other = Spot(file_of[point.id], point.id), points.get(rule.point)
            if other is None or other is point:
                close = get_close_matches(rule.point, [p for p in points if p != point.id], n=1)
                hint = f"Did you mean {close[0]}?" if close else ""
                raise spot.bad("settled_by", repr(rule.point), "the id of another checklist point", hint)
            if (rule.on_answer is not None) != (other.record == "yes_no") or other.record == "grade":
                need = "on_answer for a yes_no, within for a reading or count"
                raise spot.bad("settled_by", f"{rule.point}, which records a {other.record}", need)


def _check_record(point: Point, spot: Spot) -> None:
    if point.record == "grade" and len(point.anchors) != 5:
        raise spot.bad(
            "anchors", f"{len(point.anchors)} sentences", "five, from 5 (sound) down to 1 (failed)"
        )
    if point.record != "grade" and point.anchors:
        raise spot.bad("anchors", "sentences", "none, as this point is not graded")
    if point.record == "reading" and not point.unit:
        raise spot.bad("unit", "nothing", "the unit of the reading")
    if point.aspects and point.record == "yes_no" and point.good_answer is None:
        raise spot.bad("good_answer", "nothing", "true or false", "The point bears on an aspect.")
    if point.aspects and point.record in ("count", "reading") and point.usual is None:
        raise spot.bad("usual", "nothing", "the usual range", "The point bears on an aspect.")
    _check_triggers(point, spot)


def _check_triggers(point: Point, spot: Spot) -> None:
    fits = {"grade": {"at_grade"}, "yes_no": {"on_answer"}}.get(point.record, {"over", "under"})
    for rule in (*point.vetoes, *point.repairs):
        used = {trigger for trigger in RULE_TRIGGERS if getattr(rule, trigger) is not None}
        if not used <= fits:
            raise spot.bad(
                "rule",
                ", ".join(sorted(used - fits)),
                " or ".join(sorted(fits)),
                f"It records a {point.record}.",
            )


def _check_safety(point: Point, spot: Spot) -> None:
    if point.opens and point.access == "anyone":
        raise spot.bad(
            "access", "anyone", "ask first or technician only", "Something is opened or moved for it."
        )
    if point.mark and not (point.record == "count" and point.per_key):
        raise spot.bad("mark", repr(point.mark), "no mark", "Only a count with per_key is marked on keys.")
