"""What is asked, packed and done before a visit."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from pianolab.checklist.points import Checklist, Spot

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
