"""The order of a walk that has to fit the time there is: safety, the recording, the stops, then what decides most.

Everything here is arithmetic on points; what has been found and how long it took is handed in. `Fitting` fills the minutes
that are left, `order_walk` brings what fits into its turn.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from math import ceil, floor, inf, isinf
from typing import Literal

import numpy as np

from pianolab.checklist.points import Checklist, Point
from pianolab.checklist.stations import ELSEWHERE, HourData, Station, load_hour
from pianolab.errors import BadInput
from pianolab.model import ASPECTS, Piano
from pianolab.show import Row, Showable

GRAIN_MIN = 0.05
"""Minutes are counted in steps of this; a point's are rounded up."""


class Fitting:
    """Points taken so far, the minutes left, and the stations one has been to.

    Parameters
    ----------
    here : the station of each point by id
    worth : what looking at each is worth, by id
    at : id of the station one is at, empty for none
    minutes : what there is, min; may be infinite
    """

    def __init__(
        self, here: Mapping[str, Station], worth: Mapping[str, float], *, at: str, minutes: float
    ) -> None:
        self.here, self.worth, self.minutes = here, worth, minutes
        self.chosen: list[Point] = []
        self._been = {at} - {""}

    def take_in_turn(self, points: Iterable[Point]) -> None:
        """Take those that fit, one after the other."""
        for point in points:
            if self._cost([point]) <= self.minutes + 1e-9:
                self._take([point])

    def take_worthiest(self, points: Sequence[Point]) -> None:
        """Take those that together are worth most of all that fit: every choice of stations is tried."""
        if self._cost_of_all(points) <= self.minutes + 1e-9:
            self.take_in_turn(points)
            return
        new = sorted({self.here[p.id].id for p in points} - self._been)
        trials = (self._best_at(points, c) for n in range(len(new) + 1) for c in combinations(new, n))
        _, best = max(trials, key=lambda trial: trial[0])
        self.take_in_turn([p for p in points if p.id in best])

    def take_by_the_minute(self, points: Sequence[Point]) -> None:
        """Take what is worth most a minute, again and again, until nothing fits."""
        waiting: dict[str, list[Point]] = {}
        for p in sorted(points, key=lambda p: -self.worth[p.id] / p.minutes):
            waiting.setdefault(self.here[p.id].id, []).append(p)
        while found := [best for own in waiting.values() if (best := self._best_of(own)) is not None]:
            _, take = max(found, key=lambda trial: trial[0])
            self._take(take)
            taken, station = {p.id for p in take}, self.here[take[0].id].id
            waiting[station] = [p for p in waiting[station] if p.id not in taken]

    def _best_of(self, own: Sequence[Point]) -> tuple[float, list[Point]] | None:
        """What of one station is worth most a minute and fits; at a new one several together may be worth the way."""
        if not own:
            return None
        station = self.here[own[0].id]
        way = 0.0 if station.id in self._been else station.settle
        best: tuple[float, list[Point]] | None = None
        minutes, worth = way, 0.0
        together: list[Point] = []
        for p in own:
            if minutes + p.minutes > self.minutes + 1e-9:
                continue
            minutes, worth, together = minutes + p.minutes, worth + self.worth[p.id], [*together, p]
            if best is not None and worth / minutes <= best[0]:
                break
            best = worth / minutes, together
            if not way:
                break
        return best

    def _best_at(self, points: Sequence[Point], stations: Collection[str]) -> tuple[float, frozenset[str]]:
        """What is worth most at some new stations and those one has been to; a knapsack in steps of `GRAIN_MIN`."""
        ways = sum(
            self.here[p.id].settle
            for p in {self.here[q.id].id: q for q in points}.values()
            if self.here[p.id].id in stations
        )
        room = floor((self.minutes - ways) / GRAIN_MIN + 1e-6)
        if room < 0:
            return -1.0, frozenset()
        own = [p for p in points if self.here[p.id].id in self._been or self.here[p.id].id in stations]
        sizes = [ceil(p.minutes / GRAIN_MIN - 1e-6) for p in own]
        best = np.zeros(room + 1)
        taken = np.zeros((len(own), room + 1), dtype=bool)
        for i, (p, size) in enumerate(zip(own, sizes, strict=True)):
            if size > room:
                continue
            with_it = best[: room + 1 - size] + self.worth[p.id]
            taken[i, size:] = with_it > best[size:]
            best[size:] = np.maximum(best[size:], with_it)
        ids, cell = set(), room
        for i in reversed(range(len(own))):
            if taken[i, cell]:
                ids.add(own[i].id)
                cell -= sizes[i]
        return float(best[room]), frozenset(ids)

    def _cost(self, points: Sequence[Point]) -> float:
        station = self.here[points[0].id]
        return sum(p.minutes for p in points) + (0.0 if station.id in self._been else station.settle)

    def _cost_of_all(self, points: Sequence[Point]) -> float:
        if isinf(self.minutes):
            return 0.0
        stations = {self.here[p.id].id: self.here[p.id] for p in points}
        ways = sum(s.settle for i, s in stations.items() if i not in self._been)
        return sum(p.minutes for p in points) + ways

    def _take(self, points: Sequence[Point]) -> None:
        self.minutes -= self._cost(points)
        self._been.add(self.here[points[0].id].id)
        self.chosen += points


Reason = Literal["safety", "recording", "stop", "decides"]
NOTHING_YET = 1e-3
"""Worth of a point that bears on no aspect: it comes last, and comes."""
LENGTHS = (20, 40, 60)
"""Minutes to choose from; None is the whole walk."""


@dataclass(frozen=True, kw_only=True)
class WalkStep:
    """One point in its turn: where, how long (min, with the way there), and why it comes here."""

    point: Point
    station: Station
    minutes: float
    reason: Reason


@dataclass(frozen=True, kw_only=True, repr=False)
class WalkOrder(Showable):
    """What is looked at in which order, and what the time leaves out.

    ``minutes`` is the time there is (None: as long as it takes), ``set_up`` what setting up takes of it, ``left`` what
    no longer fits, stops first, and ``elsewhere`` what is not done at the visit at all.
    """

    header = ("where", "what to look at", "minutes", "because")
    minutes: float | None
    set_up: float
    steps: tuple[WalkStep, ...]
    left: tuple[Point, ...]
    elsewhere: tuple[Point, ...]

    @property
    def taken(self) -> float:
        """Minutes that all of it takes."""
        return self.set_up + sum(step.minutes for step in self.steps)

    @property
    def next(self) -> Point | None:
        """The point whose turn it is; None where nothing is left to do in the time."""
        return self.steps[0].point if self.steps else None

    @property
    def stops_left(self) -> tuple[Point, ...]:
        """Points that could stop the purchase, can be seen by a layman and no longer fit."""
        return tuple(p for p in self.left if p.vetoes)

    def headline(self) -> str:
        left = f", {len(self.left)} left out, {len(self.stops_left)} of them stops" if self.left else ""
        return f"{len(self.steps)} points in {self.taken:.0f} min{left}"

    def rows(self) -> list[Row]:
        return [(s.station.name, s.point.title, s.minutes, s.reason) for s in self.steps]

    def shown(self) -> list[Row]:
        return [(where, title, f"{minutes:.2g}", why) for where, title, minutes, why in self.rows()]


def order_walk(
    checklist: Checklist,
    piano: Piano,
    *,
    minutes: float | None = None,
    settled: Collection[str] = (),
    worth: Mapping[str, float] | None = None,
    at: str = "",
    data: HourData | None = None,
) -> WalkOrder:
    """The points of a walk in the order that suits the time.

    Parameters
    ----------
    checklist : the points
    piano : whose walk it is
    minutes : what is left of the time, min; None for as long as it takes
    settled : ids of points that have an answer or a reason; where there are any, setting up is done
    worth : for each point by id what looking is worth (`worth_of`); points it lacks count as the list itself says
    at : id of the point one stands at, so that one goes on from there
    data : stations and stops; None for those that come with pianolab

    Returns
    -------
    WalkOrder

    Raises
    ------
    BadInput
        less than no time

    Notes
    -----
    Safety comes first, then the recording. Then the stops that together are worth most of those that fit, the ways to
    their stations counted in, then what is worth most a minute. One goes to each station that is hard to get to once
    only.

    Examples
    --------
    >>> from pianolab.checklist import load_checklist
    >>> order = order_walk(load_checklist(), Piano(name="by the window", kind="grand"), minutes=20)
    >>> [step.point.id for step in order.steps[:3]], order.taken <= 20
    (['case-legs', 'case-prop', 'pedal-lyre'], True)
    """
    if minutes is not None and not minutes >= 0:
        raise BadInput("minutes", minutes, "0 or more, or None for the whole walk")
    data = data if data is not None else load_hour()
    own = [p for p in checklist if p.applies(piano)]
    here = {p.id: data.station_of(p, piano.kind) for p in own}
    valued = {p.id: (worth or {}).get(p.id, listed_worth(p, data)) for p in own}
    open_points = [p for p in own if p.id not in settled and here[p.id].id != ELSEWHERE]
    set_up = 0.0 if settled else min(data.setting_up, inf if minutes is None else minutes)
    stands = here[at].id if at in here else ""
    fitting = Fitting(here, valued, at=stands, minutes=inf if minutes is None else minutes - set_up)
    head = [p for name in (*data.safety, *data.recording) for p in open_points if p.id == name]
    fitting.take_in_turn(head)
    rest = [p for p in open_points if p not in head]
    fitting.take_worthiest([p for p in rest if p.vetoes])
    others = [p for p in rest if not p.vetoes]
    (fitting.take_in_turn if minutes is None else fitting.take_by_the_minute)(others)
    chosen = {p.id for p in fitting.chosen}
    left = [p for p in open_points if p.id not in chosen]
    area = next((p.area for p in own if p.id == at), "")
    by_area = sorted(
        fitting.chosen, key=lambda p: p.area != area
    )  # what is worth the same goes on where one is
    ordered = _in_order(by_area, here, valued, data, at=stands)
    return WalkOrder(
        minutes=minutes,
        set_up=set_up,
        steps=_timed(ordered, here, at=stands),
        left=tuple(sorted(left, key=lambda p: (not p.vetoes, -valued[p.id]))),
        elsewhere=tuple(p for p in own if here[p.id].id == ELSEWHERE and p.id not in settled),
    )


def listed_worth(point: Point, data: HourData | None = None) -> float:
    """What looking at a point is worth where nothing else is known: points of a score of 10, as the list itself says.

    Examples
    --------
    >>> from pianolab.checklist import load_checklist
    >>> points = load_checklist()
    >>> listed_worth(points["bridge-treble"]) > listed_worth(points["keys-chips"])
    True
    """
    data = data if data is not None else load_hour()
    if (stop := data.stop_of(point)) is not None:
        return 10.0 * stop.chance * stop.harm
    return 10.0 * data.bad_chance * sum(point.aspects.values()) / len(ASPECTS) + NOTHING_YET


def _in_order(
    chosen: Sequence[Point],
    here: Mapping[str, Station],
    worth: Mapping[str, float],
    data: HourData,
    *,
    at: str,
) -> list[tuple[Point, Reason]]:
    """Safety, recording, then two laps: the stops, with everything at stations one visits once; then the rest."""
    ids = {p.id: p for p in chosen}
    head: list[tuple[Point, Reason]] = [(ids[i], "safety") for i in data.safety if i in ids]
    head += [(ids[i], "recording") for i in data.recording if i in ids]
    first = {p.id for p, _ in head}
    rest = [p for p in chosen if p.id not in first]
    stations_with_stops = {here[p.id].id for p in rest if p.vetoes}
    lap = [p for p in rest if p.vetoes or (here[p.id].once and here[p.id].id in stations_with_stops)]
    again = [p for p in rest if p not in lap]
    at = here[head[-1][0].id].id if head else at
    for points in (lap, again):
        ordered = _by_station(points, here, worth, at=at)
        at = here[ordered[-1].id].id if ordered else at
        head += [(p, "stop" if p.vetoes else "decides") for p in ordered]
    return head


def _by_station(
    points: Sequence[Point], here: Mapping[str, Station], worth: Mapping[str, float], *, at: str
) -> list[Point]:
    """All of one station together; where one is goes first, then where a minute is worth most."""
    groups: dict[str, list[Point]] = {}
    for p in points:
        groups.setdefault(here[p.id].id, []).append(p)

    def density(station: str) -> float:
        own = groups[station]
        cost = sum(p.minutes for p in own) + (0.0 if station == at else here[own[0].id].settle)
        return sum(worth[p.id] for p in own) / cost

    stations = sorted(groups, key=lambda s: (s == "end", s != at, -density(s)))
    return [
        p for s in stations for p in sorted(groups[s], key=lambda p: (not p.vetoes, -worth[p.id] / p.minutes))
    ]


def _timed(
    ordered: Sequence[tuple[Point, Reason]], here: Mapping[str, Station], *, at: str
) -> tuple[WalkStep, ...]:
    """The way to a station counts at its first point; a station one comes back to has been settled into already."""
    been = {at}
    steps = []
    for point, reason in ordered:
        station = here[point.id]
        way = 0.0 if station.id in been else station.settle
        been.add(station.id)
        steps.append(WalkStep(point=point, station=station, minutes=point.minutes + way, reason=reason))
    return tuple(steps)
