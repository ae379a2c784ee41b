"""Reads a panel of cases: invented instruments with what a technician would say of each (`panel/README.md`).

Every entry is held against the checklist and the records' own door, so that a slip of the pen in a case can't pass
for an opinion. Nothing here knows how pianolab judges.
"""

from __future__ import annotations

import tomllib
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pianolab.checklist import Checklist, load_checklist
from pianolab.errors import BadInput
from pianolab.model import Buyer, Finding, Piano
from tests.compare.panel_entries import (
    SOUND,
    SOUND_MAY,
    Comparable,
    Sound,
    check_fields,
    check_one_of,
    read_buyer,
    read_comparable,
    read_findings,
    read_piano,
    read_sound,
    supplied_findings,
)
from tests.compare.panel_expected import Expected, check_price, read_expected

CASE = ("id", "story", "looked", "piano", "buyer", "findings", "sound", "comparables", "expect")
PAIR = ("id", "base", "order", "better", "worse", "why")
CHANGE = ("looked", "piano", "buyer", "findings", "sound", "comparables")


@dataclass(frozen=True)
class Case:
    """One invented instrument with its buyer, all that is known of it, and what a technician would say."""

    id: str
    story: str
    piano: Piano
    seller: str
    warranty_years: float
    storage: str
    buyer: Buyer
    home: str
    findings: tuple[Finding, ...]
    listed: frozenset[str]
    """Points of the case's own findings, as against those that its scope supplies."""

    sound: Sound | None
    comparables: tuple[Comparable, ...]
    expected: Expected | None
    """None in a pair, where only the order counts."""


@dataclass(frozen=True)
class Pair:
    """Two changes of one case; ``strict``: the better one stands above, else it only never stands below."""

    id: str
    better: Case
    worse: Case
    strict: bool
    why: str


def load_cases(path: Path) -> dict[str, Case]:
    """The cases of a panel file, by id.

    Raises
    ------
    BadInput : a field missing or too much, a point unknown to the checklist, a value that it can't have
    """
    checklist, raws = load_checklist(), _read(path, "case")
    cases = [build_case(raw, checklist) for raw in raws]
    _no_doubles(path.name, [case.id for case in cases])
    return {case.id: case for case in cases}


def load_pairs(path: Path, cases: Path) -> dict[str, Pair]:
    """The pairs of a file, each made from a case of the panel file ``cases`` and two changes.

    Raises
    ------
    BadInput : as `load_cases`; a case that the panel hasn't
    """
    checklist, bases = load_checklist(), {raw["id"]: raw for raw in _read(cases, "case")}
    pairs = [build_pair(raw, bases, checklist) for raw in _read(path, "pair")]
    _no_doubles(path.name, [pair.id for pair in pairs])
    return {pair.id: pair for pair in pairs}


def build_pair(raw: Mapping[str, Any], bases: Mapping[str, Any], checklist: Checklist) -> Pair:
    """One pair from its table, checked."""
    about = f"pair {raw.get('id', '?')}"
    check_fields(about, raw, PAIR)
    check_one_of(about, "order", raw["order"], ("above", "not below"))
    check_one_of(about, "base", raw["base"], bases)
    ends = []
    for side in ("better", "worse"):
        check_fields(f"{about}, {side}", raw[side], (), CHANGE)
        changed = {**_changed(bases[raw["base"]], raw[side]), "id": f"{raw['id']}: {side}"}
        ends.append(build_case(changed, checklist, judged=False))
    if raw["better"] == raw["worse"]:
        raise BadInput(about, "the same change twice", "two different changes")
    return Pair(raw["id"], ends[0], ends[1], raw["order"] == "above", raw["why"])


def build_case(raw: Mapping[str, Any], checklist: Checklist, *, judged: bool = True) -> Case:
    """One case from its table, checked; ``judged`` False leaves out what the technician would say."""
    about = f"case {raw.get('id', '?')}"
    check_fields(about, raw, CASE)
    piano, sound = read_piano(about, raw), read_sound(about, raw["sound"])
    own = list(read_findings(about, raw["findings"], piano, checklist))
    listed = frozenset(finding.point for finding in own)
    supplied = supplied_findings(about, raw["looked"], piano, sound, checklist, leave_out=listed)
    buyer = read_buyer(about, raw["buyer"], raw["piano"]["currency"])
    return Case(
        id=raw["id"],
        story=raw["story"],
        piano=piano,
        seller=raw["piano"]["seller"],
        warranty_years=raw["piano"]["warranty_years"],
        storage=raw["piano"]["storage"],
        buyer=buyer,
        home=raw["buyer"]["home"],
        findings=(*supplied, *own),
        listed=listed,
        sound=sound,
        comparables=tuple(read_comparable(about, entry, piano) for entry in raw["comparables"]),
        expected=_judged(about, raw, piano, listed, sound, checklist) if judged else None,
    )


def _judged(
    about: str,
    raw: Mapping[str, Any],
    piano: Piano,
    listed: Collection[str],
    sound: Sound | None,
    checklist: Checklist,
) -> Expected:
    heard = () if sound is None else [name for name in (*SOUND, *SOUND_MAY) if getattr(sound, name)]
    expected = read_expected(
        about, raw["expect"], named=listed, heard=heard, points={p.id for p in checklist if p.applies(piano)}
    )
    check_price(about, expected, comparables=bool(raw["comparables"]))
    return expected


def _read(path: Path, kind: str) -> list[dict[str, Any]]:
    try:
        tables = tomllib.loads(path.read_text(encoding="utf-8"))
    except tomllib.TOMLDecodeError as error:
        raise BadInput(path.name, str(error), "TOML", "A quote or a bracket missing?") from None
    if set(tables) != {kind}:
        raise BadInput(path.name, ", ".join(tables) or "nothing", f"[[{kind}]] tables only")
    return list(tables[kind])


def _changed(base: Mapping[str, Any], change: Mapping[str, Any]) -> dict[str, Any]:
    """The case with its change: tables are updated, findings stand in for those at the same points, lists replace."""
    raw = dict(base)
    for name, value in change.items():
        if name == "findings":
            points = {point for entry in value for point in entry["points"]}
            kept = [{**old, "points": [p for p in old["points"] if p not in points]} for old in base[name]]
            raw[name] = [*(entry for entry in kept if entry["points"]), *value]
        elif isinstance(value, dict) and isinstance(base[name], dict):
            raw[name] = {**base[name], **value}
        else:
            raw[name] = value
    return raw


def _no_doubles(about: str, ids: list[str]) -> None:
    doubles = {name for name in ids if ids.count(name) > 1}
    if doubles:
        raise BadInput(about, f"{', '.join(sorted(doubles))} twice", "one id each")
