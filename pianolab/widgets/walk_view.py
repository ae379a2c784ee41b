"""What the walk's screen shows, as ready-made plain data: the screen draws it and decides nothing."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from pianolab.checklist.points import Point
from pianolab.checklist.stations import load_openings
from pianolab.model import Finding, Piano
from pianolab.report.twin_keyboard import keyboard_layout
from pianolab.report.twins import (
    against_usual,
    answer_in_words,
    usual_in_words,
    usual_side,
)
from pianolab.widgets.entries import OTHER, REASONS, Reason, reason_key
from pianolab.widgets.walk import Walk
from pianolab.widgets.walk_actions import both_sides, finding_line, is_first, is_last
from pianolab.widgets.walk_hour import hour_view
from pianolab.words import keys_in_words

View = dict[str, Any]

ACCESS_WORDS = {
    "anyone": "",
    "ask first": "Ask the owner before you touch or open this.",
    "technician only": "Only a technician does this. Don't try it; write down what papers or people say, or leave it.",
}

ON_RECORD = {"papers-serial": ("serial",), "papers-make": ("make", "model")}
"""What the piano's own record says already where a point asks whether it is so: fields of `Piano`."""


def walk_view(walk: Walk) -> View:
    """Everything on the screen for the walk as it stands now."""
    areas = walk.checklist.areas
    points = [p for p in walk.checklist if p.area == walk.point.area]
    whole = walk.mode == "area"
    return {
        "title": walk.piano.name,
        "subtitle": ", ".join(t for t in (f"visit of {walk.visit.day.isoformat()}", walk.visit.place) if t),
        "day": f"{walk.visit.day.day} {walk.visit.day:%b %Y}",
        "examiner": walk.examiner,
        "total": _tally(walk, walk.checklist),
        "progress": _progress(_tally(walk, walk.checklist)),
        "areas": [_area(walk, area, number=i + 1, count=len(areas)) for i, area in enumerate(areas)],
        "points": [
            {"id": p.id, "title": p.title, "state": point_state(walk, p), "here": p.id == walk.point_id}
            for p in points
        ],
        "point": _point(walk, walk.point, number=points.index(walk.point) + 1, count=len(points)),
        "cards": [_point(walk, p, number=i + 1, count=len(points)) for i, p in enumerate(points)]
        if whole
        else [],
        "mode": walk.mode,
        "first": is_first(walk),
        "last": is_last(walk),
        "hour": hour_view(walk),
        "can_take_back": walk.can_take_back,
    }


def keyboard_view(first_key: int, last_key: int) -> View:
    """The keyboard's drawing as plain data; it never changes during a walk."""
    return {
        "first": first_key,
        "last": last_key,
        "keys": [
            {"key": k.key, "note": k.note, "black": k.black, "left": k.left, "width": k.width}
            for k in keyboard_layout(first_key, last_key)
        ],
    }


def point_state(walk: Walk, point: Point) -> str:
    """``checked``, ``not checked`` (with a reason), ``absent`` (the piano has none) or ``open``."""
    states = {f.state for f in walk.findings if f.point == point.id}
    if "checked" in states:
        return "checked"
    if not states:
        return "open"
    return "absent" if states == {"does not apply"} else "not checked"


def _tally(walk: Walk, points: Iterable[Point]) -> View:
    states = [point_state(walk, p) for p in points]
    checked, put_off = states.count("checked"), states.count("not checked")
    total = len(states) - states.count("absent")
    text = f"{checked} of {total}" + (f", {put_off} not checked" if put_off else "")
    return {"checked": checked, "put_off": put_off, "total": total, "text": text}


def _progress(tally: View) -> str:
    put_off = f", {tally['put_off']} not checked" if tally["put_off"] else ""
    return f"{tally['checked']} of {tally['total']} points checked{put_off}"


def _area(walk: Walk, area: str, *, number: int, count: int) -> View:
    points = [p for p in walk.checklist if p.area == area]
    return {
        "id": area,
        "title": area[:1].upper() + area[1:],
        "step": f"Area {number} of {count}",
        "here": area == walk.point.area,
        **_tally(walk, points),
    }


def _point(walk: Walk, point: Point, *, number: int, count: int) -> View:
    record, finding = walk.shown(point.id)
    return {
        "id": point.id,
        "step": f"Point {number} of {count}",
        "title": point.title,
        "why": point.why,
        "how": point.how,
        "facts": _facts(point, walk.piano),
        "access": "" if point.opens and point.access == "ask first" else ACCESS_WORDS[point.access],
        "cautions": [*_opening_cautions(walk, point), *point.cautions],
        "not_opened": _not_opened(walk, point),
        "asked": both_sides(point, walk.asked.get(point.id)),
        "kind": point.record,
        "choices": _choices(point, finding),
        "unit": point.unit,
        "usual": usual_in_words(point),
        "per_key": point.per_key,
        **_recorded(walk, point, record, finding),
    }


def _recorded(walk: Walk, point: Point, record: str, finding: Finding | None) -> View:
    pressed = reason_key(finding)
    return {
        "record": record,
        "said": finding_line(finding, point=point) if finding else "",
        "number": _number(finding),
        "against": _against(point, finding),
        "side": _side(point, finding),
        "reasons": [
            {"value": r.key, "text": r.label, "chosen": r.key == pressed}
            for r in reasons_for(point, walk.piano)
        ],
        "reason_text": finding.reason if finding and pressed == OTHER else "",
        "put_off": f"{finding.state.capitalize()}: {finding.reason}" if finding and pressed else "",
        "pending": finding.reason if finding and finding.state != "checked" and not pressed else "",
        "keys": list(finding.keys) if finding else [],
        "keys_text": keys_in_words(finding.keys, most=None) if finding else "",
        "place": finding.place if finding else "",
        "note": finding.note if finding else "",
        "promised": finding.promised if finding else "",
        "can_add": finding is not None,
        "photos": [p.id for p in walk.photos if p.point == point.id],
        "records": _records(walk.own(point.id), record),
        "others": [
            f"{f.examiner or 'Somebody'}: {finding_line(f, point=point)}" for f in walk.others(point.id)
        ],
    }


def reasons_for(point: Point, piano: Piano) -> tuple[Reason, ...]:
    """The reasons for not checking a point, the likeliest one first; that a piano has none only where that can be.

    What an older casebook says of it stays on the screen in words, without its button.
    """
    likely = (
        "technician"
        if point.access == "technician only"
        else "allowed"
        if point.opens
        else "helper"
        if point.helper
        else "time"
    )
    offered = (r for r in REASONS if r.state != "does not apply" or point.can_be_missing(piano))
    return tuple(sorted(offered, key=lambda r: r.key != likely))


def _opening_cautions(walk: Walk, point: Point) -> tuple[str, ...]:
    return load_openings()[point.opens].cautions(walk.piano.kind) if point.opens else ()


def _not_opened(walk: Walk, point: Point) -> View:
    """The button that sets aside everything behind a lid that stays shut; empty where there is none."""
    if not point.opens:
        return {}
    touched = walk.touched()
    count = sum(p.opens == point.opens and p.id not in touched for p in walk.checklist)
    said = load_openings()[point.opens].not_opened
    return {"opens": point.opens, "text": f"{said.capitalize()}: {count} points not allowed"} if count else {}


def _facts(point: Point, piano: Piano) -> list[list[str]]:
    told = (getattr(piano, name) for name in ON_RECORD.get(point.id, ()))
    minutes = "under a minute" if point.minutes < 1 else f"about {point.minutes:g} min"
    facts = [
        ("Where", point.where),
        ("Position", point.position),
        ("Bring", point.tool),
        ("Helper", "needed" if point.helper else ""),
        ("Time", minutes),
        ("Photo", "worth taking" if point.photo else ""),
        ("On record", " ".join(str(t) for t in told if t)),
    ]
    return [[name, text] for name, text in facts if text]


def _choices(point: Point, finding: Finding | None) -> list[View]:
    if point.record == "grade":
        chosen = finding.grade if finding else None
        words = (
            point.anchors if len(point.anchors) == 5 else ("Sound", "Light wear", "Worn", "Poor", "Failed")
        )
        return [
            {"value": 5 - i, "text": text, "mark": str(5 - i), "chosen": chosen == 5 - i}
            for i, text in enumerate(words)
        ]
    if point.record == "yes_no":
        answer = finding.answer if finding else None
        return [
            {
                "value": value,
                "text": answer_in_words(value, point=point),
                "mark": "Y" if value else "N",
                "chosen": answer is value,
            }
            for value in (True, False)
        ]
    return []


def _value(finding: Finding | None) -> float | None:
    if finding is None:
        return None
    return finding.count if finding.count is not None else finding.reading


def _number(finding: Finding | None) -> str:
    value = _value(finding)
    return "" if value is None else f"{value:.10g}"


def _against(point: Point, finding: Finding | None) -> str:
    value = _value(finding)
    return "" if value is None else against_usual(point, value)


def _side(point: Point, finding: Finding | None) -> str:
    value = _value(finding)
    return "" if value is None else usual_side(point, value)


def _records(own: Sequence[Finding], record: str) -> list[View]:
    tabs = [
        {"id": f.id, "text": f.place or keys_in_words(f.keys) or f"Record {i + 1}", "here": f.id == record}
        for i, f in enumerate(own)
    ]
    if own and record not in {f.id for f in own}:
        tabs.append({"id": record, "text": "New record", "here": True})
    return tabs if len(tabs) > 1 else []
