"""The parts of a panel's case as records: piano, buyer, findings, sound, comparables, each checked where it is read."""

from __future__ import annotations

import tomllib
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pianolab.checklist import Checklist, Point
from pianolab.checklist.entry import check_finding, check_point
from pianolab.errors import BadInput
from pianolab.model import Buyer, Comparable, Finding, Piano

PANEL = Path(__file__).parent / "panel"
VISIT_YEAR = 2026
ROLES = ("layman", "pianist", "technician")
SCOPES = ("nothing", "short walk", "buyer", "technician")
KEY_TOPS = ("unknown", "plastic", "ivory", "celluloid", "wood", "bone")
MIDDLE_PEDALS = ("unknown", "none", "sostenuto", "practice felt", "bass dampers")
SELLERS = ("private", "dealer")
CONDITIONS = ("very good", "good", "worn", "poor")
DECAYS = ("long", "ordinary", "short", "not told")
QUALITIES = ("good", "noisy", "automatic gain", "clipped")

PIANO = (
    "kind",
    "year",
    "asking_price",
    "currency",
    "key_tops",
    "middle_pedal",
    "seller",
    "warranty_years",
    "storage",
)
BUYER = ("kind", "budget", "home")
LOOKED = ("scope", "grade", "by")
FINDING = ("points", "by")
FINDING_MAY = ("grade", "answer", "count", "reading", "state", "reason", "keys", "note", "promised")
SOUND = ("pitch_cents", "unisons_wide", "decay", "quality")
SOUND_MAY = ("slipped", "short", "masked", "dampers", "silent", "buzz")
COMPARABLE = ("price", "age_years", "condition", "seller")

NOT_BY_LOOKING = ("tuning-held", "papers-ivory")
"""What no scope supplies: only a tuner's word, a second recording or a paper tells it."""

KNOWN_ANSWERS = {
    "papers-serial": True,
    "papers-humidity": False,
    "papers-tuner": True,
    "papers-lid-habits": True,
    "state-prepared": False,
    "claims-invoices": True,
    "case-bench": True,
    "room-soft": False,
    "room-bare": False,
    "room-wall": True,
    "room-lid": False,
    "home-floor": True,
}
"""What a scope supplies where neither answer is good or bad."""


@dataclass(frozen=True)
class Sound:
    """What one recording of every key showed; an empty list means listened for and not found.

    ``slipped`` holds (key, cents from its neighbours); ``short`` and ``masked`` are keys whose note is too short,
    or whose sour unison hides how long it lasts; ``unisons_wide`` is (n, of m keys with several strings).
    """

    pitch_cents: float
    unisons_wide: tuple[int, int]
    decay: str
    quality: str
    slipped: tuple[tuple[int, float], ...] = ()
    short: tuple[int, ...] = ()
    masked: tuple[int, ...] = ()
    dampers: tuple[int, ...] = ()
    silent: tuple[int, ...] = ()
    buzz: tuple[int, ...] = ()


def read_piano(about: str, raw: Mapping[str, Any]) -> Piano:
    table = raw["piano"]
    check_fields(f"{about}, piano", table, PIANO)
    for name, allowed in (("seller", SELLERS), ("key_tops", KEY_TOPS), ("middle_pedal", MIDDLE_PEDALS)):
        check_one_of(about, name, table[name], allowed)
    known = {name: None if table[name] == "unknown" else table[name] for name in ("year", "asking_price")}
    words = {name: table[name] for name in ("kind", "currency", "key_tops", "middle_pedal", "storage")}
    sold_by = {"seller_kind": table["seller"], "warranty_years": table["warranty_years"]}
    return Piano(name=raw["id"], **words, **sold_by, **known)


def read_buyer(about: str, table: Mapping[str, Any], currency: str) -> Buyer:
    check_fields(f"{about}, buyer", table, BUYER)
    kinds = tomllib.loads((PANEL / "buyers.toml").read_text(encoding="utf-8"))["buyers"]
    check_one_of(about, "kind of buyer", table["kind"], kinds)
    profile = Buyer(name=table["kind"], budget=table["budget"], currency=currency, **kinds[table["kind"]])
    profile.check()
    return profile


def read_findings(
    about: str, entries: Iterable[Any], piano: Piano, checklist: Checklist
) -> Iterable[Finding]:
    seen: set[tuple[str, str]] = set()
    for entry in entries:
        check_fields(f"{about}, a finding", entry, FINDING, FINDING_MAY)
        check_one_of(about, "by", entry["by"], ROLES)
        rest = {name: value for name, value in entry.items() if name not in FINDING}
        for point_id in entry["points"]:
            if (point_id, entry["by"]) in seen:
                raise BadInput(about, f"{point_id} twice by one {entry['by']}", "one finding each")
            seen.add((point_id, entry["by"]))
            point = check_point(point_id, checklist, about=about)
            finding = Finding(visit_id=piano.name, point=point_id, examiner=entry["by"], **rest)
            check_finding(finding, checklist, piano)
            if not point.applies(piano):
                raise BadInput(about, f"a finding at {point_id}", "a point that this piano has")
            yield finding


def supplied_findings(
    about: str,
    looked: Mapping[str, Any],
    piano: Piano,
    sound: Sound | None,
    checklist: Checklist,
    *,
    leave_out: Collection[str],
) -> list[Finding]:
    """What the case's scope says was looked at and found as it should be."""
    check_fields(f"{about}, looked", looked, LOOKED)
    check_one_of(about, "scope", looked["scope"], SCOPES)
    check_one_of(about, "by", looked["by"], ROLES)
    if looked["grade"] not in (4, 5):
        raise BadInput(about, f"looked at grade {looked['grade']}", "5 or 4: a scope holds what is sound")
    found = []
    for point in checklist:
        if point.id in leave_out or not point.applies(piano) or not _within(point, looked["scope"]):
            continue
        value = _sound_value(point, piano, sound, looked["grade"])
        if value:
            found.append(Finding(visit_id=piano.name, point=point.id, examiner=looked["by"], **value))
            check_finding(found[-1], checklist, piano)
    return found


def _within(point: Point, scope: str) -> bool:
    if scope == "nothing" or point.id in NOT_BY_LOOKING:
        return False
    if scope == "short walk":
        return point.short_walk
    return scope == "technician" or point.access != "technician only"


def _sound_value(point: Point, piano: Piano, sound: Sound | None, grade: int) -> dict[str, Any]:
    """The value of a point where nothing is wrong; none where a point has no such value."""
    if point.record == "grade":
        return {"grade": grade}
    if point.record == "yes_no":
        told_by_case = {"each-recorded": sound is not None, "keys-material": piano.key_tops == "ivory"}
        answer = (KNOWN_ANSWERS | told_by_case).get(point.id, point.good_answer)
        return {} if answer is None else {"answer": answer}
    if point.id in ("papers-age", "strings-age"):
        return {} if piano.year is None else {"reading": VISIT_YEAR - piano.year}
    if point.id == "tuning-pitch" and sound is not None:
        return {"reading": sound.pitch_cents}
    low, high = point.usual or (0.0, 0.0)
    if point.record == "reading":
        return {"reading": (low + high) / 2}
    return {"count": int(low + high) // 2 if low else 0}


def read_sound(about: str, table: Any) -> Sound | None:
    if table == "none":
        return None
    about = f"{about}, sound"
    check_fields(about, table, SOUND, SOUND_MAY)
    check_one_of(about, "decay", table["decay"], DECAYS)
    check_one_of(about, "quality", table["quality"], QUALITIES)
    wide, of = table["unisons_wide"]
    if not 0 <= wide <= of <= 88:
        raise BadInput(about, f"{wide} of {of} unisons", "no more wide ones than there are")
    lists = {name: tuple(table[name]) for name in SOUND_MAY if name in table}
    lists |= {"slipped": tuple((key, cents) for key, cents in table.get("slipped", ()))}
    keys = [key for name, found in lists.items() for key in (dict(found) if name == "slipped" else found)]
    if any(not 1 <= key <= 88 for key in keys):
        raise BadInput(about, f"keys {keys}", "keys 1 to 88")
    return Sound(
        **{name: table[name] for name in ("pitch_cents", "decay", "quality")},
        unisons_wide=(wide, of),
        **lists,
    )


def read_comparable(about: str, entry: Mapping[str, Any], piano: Piano) -> Comparable:
    """A price for which a like instrument, sound and in working order, was offered or sold."""
    check_fields(f"{about}, a comparable", entry, COMPARABLE)
    check_one_of(about, "condition", entry["condition"], CONDITIONS)
    check_one_of(about, "seller", entry["seller"], SELLERS)
    if entry["price"] <= 0 or entry["age_years"] < 0:
        raise BadInput(
            about, f"{entry['price']} for {entry['age_years']} years", "a price above 0, an age not below"
        )
    rest = {name: value for name, value in entry.items() if name != "seller"}
    return Comparable(
        piano_id=piano.id, kind=piano.kind, currency=piano.currency, seller_kind=entry["seller"], **rest
    )


def check_fields(about: str, table: Any, must: Collection[str], may: Collection[str] = ()) -> None:
    if not isinstance(table, Mapping):
        raise BadInput(about, repr(table)[:60], "a table")
    missing = [name for name in must if name not in table]
    extra = [name for name in table if name not in (*must, *may)]
    if missing or extra:
        got = "; ".join(f"{word} {', '.join(n)}" for word, n in (("no", missing), ("unknown", extra)) if n)
        raise BadInput(
            about, got, f"the fields {', '.join(must)}" + (f", perhaps {', '.join(may)}" if may else "")
        )


def check_one_of(about: str, name: str, value: Any, allowed: Collection[str]) -> None:
    if value not in allowed:
        raise BadInput(f"{about}, {name}", repr(value), f"one of {', '.join(allowed)}", "Misspelt?")
