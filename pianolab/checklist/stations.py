"""Where one stands for each point, what has to be opened for it, what comes first, and what an unseen stop may cost."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from functools import cache
from importlib.resources import files
from typing import Any

from pianolab.checklist.points import Point, Spot

FILE = "hour.toml"
ELSEWHERE, BESIDE = "elsewhere", "round"


@dataclass(frozen=True, kw_only=True)
class Station:
    """A place at the piano: its name, the minutes to get there, whether one goes there only once.

    ``grand`` names, for some positions, the station that they belong to at a grand.
    """

    id: str
    name: str
    settle: float
    once: bool = False
    positions: tuple[str, ...] = ()
    opens: tuple[str, ...] = ()
    grand: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class Stop:
    """How often a stop holds at pianos for sale (0 to 1), and how much of the money is lost where it is seen too late."""

    chance: float
    harm: float


@dataclass(frozen=True, kw_only=True)
class HourData:
    """All that an hour at the piano is planned by; see ``data/hour.toml`` for where it comes from."""

    setting_up: float
    bad_chance: float
    other_stop: Stop
    safety: tuple[str, ...]
    recording: tuple[str, ...]
    elsewhere: tuple[str, ...]
    stations: Mapping[str, Station]
    stops: Mapping[str, Stop]

    def station_of(self, point: Point, kind: str) -> Station:
        """Where a point is looked at on a piano of that kind.

        A point of one's own list may name any position; then what has to be opened for it tells, or else it is
        looked at while one walks round.

        Examples
        --------
        >>> from pianolab.checklist import load_checklist
        >>> load_hour().station_of(load_checklist()["bridge-treble"], "upright").name
        'on your knees in front'
        """
        if point.access == "technician only" or point.id in self.elsewhere:
            return self.stations[ELSEWHERE]
        stations = self.stations.values()
        found = next((s for s in stations if point.position in s.positions), None)
        found = found or next((s for s in stations if point.opens and point.opens in s.opens), None)
        found = found or self.stations[BESIDE]
        return self.stations[found.grand.get(point.position, found.id)] if kind == "grand" else found

    def stop_of(self, point: Point) -> Stop | None:
        """How often the point stops a purchase and what that costs unseen; None where it never does."""
        return self.stops.get(point.id, self.other_stop) if point.vetoes else None


@cache
def load_hour() -> HourData:
    """What comes with pianolab.

    Examples
    --------
    >>> load_hour().setting_up
    3.0
    """
    data = tomllib.loads((files("pianolab.checklist") / "data" / FILE).read_text(encoding="utf-8"))
    lists = {name: tuple(data[name]) for name in ("safety", "recording", "elsewhere")}
    return HourData(
        setting_up=data["setting_up"],
        bad_chance=data["bad_chance"],
        other_stop=_stop("other_stop", data["other_stop"]),
        stations={key: _station(key, entry) for key, entry in data["station"].items()},
        stops={key: _stop(key, entry) for key, entry in data["stop"].items()},
        **lists,
    )


def _station(key: str, entry: Mapping[str, Any]) -> Station:
    lists: dict[str, Any] = {name: tuple(entry.get(name, ())) for name in ("positions", "opens")}
    return Station(id=key, **{**entry, **lists})


def _stop(key: str, entry: Mapping[str, float]) -> Stop:
    stop = Stop(**entry)
    if not (0 <= stop.chance <= 1 and 0 <= stop.harm <= 1):
        raise Spot(FILE, key).bad("chance, harm", (stop.chance, stop.harm), "numbers from 0 to 1")
    return stop


@dataclass(frozen=True, kw_only=True)
class Opening:
    """One thing to open or move: what it is called, what to ask, what to mind, the reason where it stayed shut."""

    id: str
    name: str
    ask: str
    caution: str
    not_opened: str
    grand: str = ""

    def cautions(self, kind: str) -> tuple[str, ...]:
        """What to mind at a piano of that kind."""
        return (self.caution, self.grand) if kind == "grand" and self.grand else (self.caution,)


@cache
def load_openings() -> dict[str, Opening]:
    """All openings by the id that a point's ``opens`` names.

    Examples
    --------
    >>> load_openings()["lid"].not_opened
    'the lid was not opened'
    """
    name = "openings.toml"
    data = tomllib.loads((files("pianolab.checklist") / "data" / name).read_text(encoding="utf-8"))
    needed = {f.name for f in fields(Opening)} - {"id", "grand"}
    for key, entry in data.items():
        if set(entry) - {"grand"} != needed:
            raise Spot(name, key).bad("", ", ".join(sorted(entry)), ", ".join(sorted(needed)))
    return {key: Opening(id=key, **entry) for key, entry in data.items()}
