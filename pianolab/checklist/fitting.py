"""Which points fit into a time when the way to each station costs time too."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from itertools import combinations
from math import ceil, floor, isinf

import numpy as np

from pianolab.checklist.points import Point
from pianolab.checklist.stations import Station

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
