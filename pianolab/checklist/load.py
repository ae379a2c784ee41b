"""Reading the checklist: the areas that come with pianolab, and a user's own file on top."""

from __future__ import annotations

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
