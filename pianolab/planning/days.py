"""When each visit of a plan begins: the way there, a meal about noon, days that end in time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from itertools import pairwise
from typing import TypedDict

from pianolab.errors import BadInput
from pianolab.planning.plan import PlannedVisit

DRIVE_MINUTES = 30
EAT_FROM, EAT_UNTIL = time(11, 30), time(13, 30)
"""A meal begins within these, where the day goes on that long [practice]."""
MOST_A_DAY = 4
"""Ears and patience tire: more pianos than this go to the next day [practice]."""


def check_day(day: date | None) -> date:
    """The day itself, today where none is given."""
    if day is not None and not isinstance(day, date):
        raise BadInput("day", repr(day), "a date such as date(2026, 3, 14)", "Year, month, day.")
    return day or date.today()


def drives_to(given: float | Mapping[str, float], names: Sequence[str]) -> list[float]:
    if isinstance(given, Mapping):
        if unknown := sorted(set(given) - set(names)):
            raise BadInput("drive_minutes", repr(unknown[0]), "names of pianos on the shortlist")
        minutes = [float(given.get(name, DRIVE_MINUTES)) for name in names]
    else:
        minutes = [float(given)] * len(names)
    if bad := [m for m in minutes if not 0 <= m <= 1440]:
        raise BadInput("drive_minutes", bad[0], "0 to 1440 min")
    return minutes


class Hours(TypedDict, total=False):
    """The fields of `DayHours`, for those who give some of them by name."""

    minutes_each: float
    first: time
    last: time
    most_a_day: int
    meal_minutes: float


@dataclass(frozen=True, kw_only=True)
class DayHours:
    """Of a day: how long a visit and a meal take, when the first visit begins, when the last one is over, how many
    visits it holds. Minutes are given to a visit (10 to 480) and a meal (0 to 240; 0 for a day without one).

    Raises
    ------
    BadInput
        times that leave no room for a visit
    """

    minutes_each: float = 60
    first: time = time(10, 0)
    last: time = time(18, 0)
    most_a_day: int = MOST_A_DAY
    meal_minutes: float = 45

    def __post_init__(self) -> None:
        each, first, last, meal = self.minutes_each, self.first, self.last, self.meal_minutes
        if not 10 <= each <= 480:
            raise BadInput("minutes_each", each, "10 to 480 min", "The short walk alone takes twenty.")
        room = (last.hour - first.hour) * 60 + last.minute - first.minute
        if room < each:
            raise BadInput("last", f"{first:%H:%M} to {last:%H:%M}", f"room for a visit of {each:g} min")
        if self.most_a_day < 1:
            raise BadInput("most_a_day", self.most_a_day, "1 or more")
        if not 0 <= meal <= 240:
            raise BadInput("meal_minutes", meal, "0 to 240 min", "0 for a day without a meal.")

    @property
    def visit(self) -> timedelta:
        """How long a visit takes."""
        return timedelta(minutes=self.minutes_each)

    @property
    def meal(self) -> timedelta:
        """How long a meal takes."""
        return timedelta(minutes=self.meal_minutes)

    def eats_before(self, ended: datetime, begins: datetime) -> bool:
        """Whether the meal comes before a visit: after it, it would be too late."""
        day = begins.date()
        return (
            bool(self.meal)
            and ended >= datetime.combine(day, EAT_FROM)
            and begins + self.visit > datetime.combine(day, EAT_UNTIL)
        )


def begin_times(drives: Sequence[float], day: date, hours: DayHours) -> list[datetime]:
    """When each visit begins; what no longer fits into a day begins the next one."""
    begins: list[datetime] = []
    eaten = False
    for drive in drives:
        at = datetime.combine(day, hours.first)
        if begins and begins[-1].date() == day:
            ended = begins[-1] + hours.visit
            at = ended + timedelta(minutes=drive)
            if not eaten and hours.eats_before(ended, at):
                at, eaten = at + hours.meal, True
        full = sum(b.date() == day for b in begins) >= hours.most_a_day
        if full or at + hours.visit > datetime.combine(day, hours.last):
            day += timedelta(days=1)
            at, eaten = datetime.combine(day, hours.first), False
        begins.append(at)
    return begins


def rounds_of(stops: Sequence[PlannedVisit]) -> tuple[str, ...]:
    """For each day when to leave home, when one may eat and when one is home again, the way taken as long as there."""
    said = []
    for day in dict.fromkeys(s.begins.date() for s in stops):
        own = [s for s in stops if s.begins.date() == day]
        leave = own[0].begins - timedelta(minutes=own[0].drive_minutes)
        home = own[-1].ends + timedelta(minutes=own[-1].drive_minutes)
        meals = [
            f"eat about {a.ends:%H:%M}"
            for a, b in pairwise(own)
            if b.begins - a.ends > timedelta(minutes=b.drive_minutes)
        ]
        out = [f"leave home at {leave:%H:%M}", *meals, f"home about {home:%H:%M}"]
        said.append(f"{day:%a %d %b}: {', '.join(out)}")
    return tuple(said)
