"""The checklist out of its files: the usual areas, a user's own on top, and what is packed and asked before."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any

from pianolab.checklist.points import Checklist, Point, Spot
from pianolab.checklist.schema import build_point, check_settling
from pianolab.files import read_text, toml_of

Raw = dict[str, Any]
Sourced = tuple[Raw, str]
"""A point's table and the file it comes from."""

FOR_ALL = ("area", "where", "position")
"""What stands at the head of a file holds for its points that say nothing else."""


def load_checklist(extra: str | Path | None = None) -> Checklist:
    """All points of the walk, in the order in which one walks.

    Parameters
    ----------
    extra : path of a TOML file of your own, or None. A ``[[point]]`` with the id of a shipped point
        changes only the fields it names; one with a new id is added at the end of its ``area`` (which may
        be new), or behind the point that ``after`` names. ``area``, ``where`` and ``position`` at the head
        of the file hold for its new points.

    Returns
    -------
    Checklist

    Raises
    ------
    BadInput
        With file, point and field, where a file is not TOML or a point is not complete.

    Examples
    --------
    >>> checklist = load_checklist()
    >>> checklist["bridge-treble"].access
    'ask first'
    """
    if extra is None:
        return _usual()
    return read_checklist(read_text(extra), file=Path(extra).name)


def read_checklist(text: str, *, file: str) -> Checklist:
    """The usual points with those of a user's file on top, from its text.

    Parameters
    ----------
    text : str, TOML as `load_checklist` says
    file : str, how it is called where something is wrong with it

    Raises
    ------
    BadInput
        As `load_checklist`.

    Examples
    --------
    >>> read_checklist('[[point]]\\nid = "keys-chips"\\nminutes = 7', file="own.toml")["keys-chips"].minutes
    7.0
    """
    merged = list(_shipped())
    head, points = _read(text, file=file)
    for raw in points:
        _place(merged, dict(raw), head, file=file)
    return Checklist(_build(tuple(merged)))


@cache
def _usual() -> Checklist:
    return Checklist(_build(_shipped()))


@cache
def _shipped() -> tuple[Sourced, ...]:
    folder = files("pianolab.checklist") / "data"
    found: list[Sourced] = []
    areas = (e for e in folder.iterdir() if e.name[:2].isdigit() and e.name.endswith(".toml"))
    for entry in sorted(areas, key=lambda e: e.name):
        head, points = _read(entry.read_text(encoding="utf-8"), file=entry.name)
        found += [({**head, **raw}, entry.name) for raw in points]
    return tuple(found)


def _read(text: str, *, file: str) -> tuple[Raw, list[Raw]]:
    """The head of a file and its points' tables."""
    data = toml_of(text, name=file)
    spot = Spot(file)
    if unknown := sorted(set(data) - {*FOR_ALL, "point"}):
        raise spot.bad("", f"the field {unknown[0]!r}", f"{', '.join(FOR_ALL)} and [[point]] tables only")
    points = data.get("point", [])
    if not isinstance(points, list) or not all(isinstance(raw, dict) for raw in points) or not points:
        raise spot.bad("point", "no points", "at least one [[point]] table", "Two square brackets?")
    return {name: data[name] for name in FOR_ALL if name in data}, points


def _place(merged: list[Sourced], raw: Raw, head: Raw, *, file: str) -> None:
    """A changed point keeps its place and its area: walking order is the checklist's, not the extra file's."""
    ids = [known.get("id") for known, _ in merged]
    after = raw.pop("after", None)
    if raw.get("id") in ids:
        at = ids.index(raw["id"])
        merged[at] = ({**merged[at][0], **raw, "area": merged[at][0]["area"]}, file)
        return
    if after is not None and after not in ids:
        raise Spot(file, str(raw.get("id", ""))).bad("after", repr(after), "the id of a checklist point")
    new = {**head, **raw}
    same_area = [i for i, (known, _) in enumerate(merged) if known.get("area") == new.get("area")]
    at = ids.index(after) + 1 if after is not None else same_area[-1] + 1 if same_area else len(merged)
    merged.insert(at, (new, file))


def _build(raws: tuple[Sourced, ...]) -> tuple[Point, ...]:
    points: dict[str, Point] = {}
    file_of: dict[str, str] = {}
    for raw, file in raws:
        point = build_point(raw, file=file)
        if point.id in points:
            raise Spot(file, point.id).bad("id", "the same id twice", "an id of its own for every point")
        points[point.id], file_of[point.id] = point, file
    check_settling(points, file_of=file_of)
    return tuple(points.values())


FILE = "before_the_visit.toml"
Thing = tuple[str, str]
"""A thing and what it is for."""


@dataclass(frozen=True, kw_only=True)
class BeforeVisit:
    """General questions, things for the bag, things to leave, tasks at home, rules for the day."""

    questions: tuple[str, ...]
    kit: tuple[Thing, ...]
    leave_at_home: tuple[Thing, ...]
    at_home: tuple[str, ...]
    on_the_day: tuple[str, ...]


@cache
def load_before_visit() -> BeforeVisit:
    """What comes with pianolab.

    Examples
    --------
    >>> load_before_visit().leave_at_home[0][0]
    'a tuning lever'
    """
    data = tomllib.loads((files("pianolab.checklist") / "data" / FILE).read_text(encoding="utf-8"))
    spot = Spot(FILE)
    for name in BeforeVisit.__dataclass_fields__:
        if not data.get(name):
            raise spot.bad(name, "nothing", "a list")
    return BeforeVisit(
        questions=tuple(data["questions"]),
        kit=_things(data["kit"]),
        leave_at_home=_things(data["leave_at_home"]),
        at_home=tuple(data["at_home"]),
        on_the_day=tuple(data["on_the_day"]),
    )


def _things(entries: list[dict[str, str]]) -> tuple[Thing, ...]:
    return tuple((entry["thing"], entry["reason"]) for entry in entries)


def kit_list(checklist: Checklist) -> tuple[Thing, ...]:
    """What to take along for a walk: the tools of its points with what they are for, and what always goes along.

    Parameters
    ----------
    checklist : the points of the walk

    Returns
    -------
    tuple of `Thing`

    Examples
    --------
    >>> from pianolab.checklist import load_checklist
    >>> dict(kit_list(load_checklist()))["straight edge"]
    'Keys'
    """
    uses: dict[str, dict[str, None]] = {}
    for point in checklist:
        if point.access != "technician only":
            for tool in filter(None, (t.strip() for t in point.tool.split(","))):
                uses.setdefault(tool, {})[point.area] = None
    tools = tuple((tool, _areas(list(areas))) for tool, areas in uses.items())
    return (*load_before_visit().kit, *tools)


def _areas(areas: list[str]) -> str:
    return ", ".join(areas) if len(areas) <= 3 else f"{', '.join(areas[:2])} and {len(areas) - 2} more areas"
