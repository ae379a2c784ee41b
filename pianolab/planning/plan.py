"""A plan of visits as a result: its stops and when each begins, its bag, and how it shows itself.

When a visit begins follows from the way there, a meal about noon, and days that end in time.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from itertools import pairwise
from pathlib import Path
from typing import TypedDict

from pianolab.checklist.hour import WalkOrder
from pianolab.errors import BadInput
from pianolab.files import write_files
from pianolab.html import paragraphs, templates
from pianolab.model import Piano
from pianolab.show import Row, Showable

DRIVE_MINUTES = 30
EAT_FROM, EAT_UNTIL = time(11, 30), time(13, 30)
"""A meal begins within these, where the day goes on that long [practice]."""
MOST_A_DAY = 4
"""Ears and patience tire: more pianos than this go to the next day [practice]."""


@dataclass(frozen=True, kw_only=True, repr=False)
class PlannedVisit(Showable):
    """One stop: when, at which piano, and what is still unknown of it.

    ``questions`` are those no finding answers yet, ``openings`` what to ask permission for, ``unknown`` what the
    record of the piano does not say, ``open_areas`` how many points of each area nobody has checked,
    ``reasons`` why points of an earlier visit stayed open. ``order`` is the walk that fits into the visit, with what it
    leaves; ``whole_minutes`` is what the whole takes, ``stop_minutes`` what safety, recording and all stops take.
    """

    header = ("about", "what")
    piano: Piano
    begins: datetime
    ends: datetime
    drive_minutes: float
    earlier_visits: tuple[date, ...]
    why_here: str
    questions: tuple[str, ...]
    openings: tuple[str, ...]
    unknown: tuple[str, ...]
    open_areas: tuple[tuple[str, int, int], ...]
    reasons: tuple[str, ...]
    order: WalkOrder
    whole_minutes: float
    stop_minutes: float

    @property
    def open_points(self) -> int:
        return sum(still for _, still, _ in self.open_areas)

    def headline(self) -> str:
        return f"{self.begins:%a %d %b, %H:%M} to {self.ends:%H:%M}: {self.piano.name}"

    def time_in_words(self) -> str:
        """What fits into the visit and what doesn't.

        Examples
        --------
        >>> from pianolab.planning import plan_visits
        >>> plan_visits([Piano(name="A")], minutes_each=20).stops[0].time_in_words().startswith("13 of 142 points fit")
        True
        """
        order = self.order
        every = len(order.steps) + len(order.left)
        stops = f", {len(order.stops_left)} of them reasons to stop" if order.stops_left else ""
        left = f"; {len(order.left)} stay open{stops}" if order.left else ""
        return f"{len(order.steps)} of {every} points fit, all take {self.whole_minutes:.0f} min{left}"

    def rows(self) -> list[Row]:
        rows: list[Row] = [("where", self.piano.address or "address unknown"), ("order", self.why_here)]
        rows += [("time", self.time_in_words())]
        rows += [("unknown", text) for text in self.unknown]
        rows += [("still open", f"{area}: {still} of {all_} points") for area, still, all_ in self.open_areas]
        rows += [("open because", text) for text in self.reasons]
        rows += [("ask", text) for text in self.questions]
        return rows + [("ask permission", text) for text in self.openings]


@dataclass(frozen=True, kw_only=True, repr=False)
class VisitPlan(Showable):
    """All stops in order, the bag, and what to do at home first; `to_html` gives a page to print.

    ``rounds`` says for each day when to leave home, to eat and to be home again; ``warnings`` what doesn't fit.
    """

    header = ("from", "to", "piano", "points open", "unknown", "where")
    stops: tuple[PlannedVisit, ...]
    kit: tuple[tuple[str, str], ...]
    leave_at_home: tuple[tuple[str, str], ...]
    at_home: tuple[str, ...]
    on_the_day: tuple[str, ...]
    rounds: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()

    @property
    def days(self) -> tuple[date, ...]:
        return tuple(dict.fromkeys(stop.begins.date() for stop in self.stops))

    def headline(self) -> str:
        days = len(self.days)
        unfit = f"; {len(self.warnings)} things do not fit" if len(self.warnings) > 1 else ""
        unfit = "; one thing does not fit" if len(self.warnings) == 1 else unfit
        return f"{len(self.stops)} pianos on {days} day{'s' if days != 1 else ''}{unfit}"

    def rows(self) -> list[Row]:
        return [
            (
                f"{s.begins:%a %d %b %H:%M}",
                f"{s.ends:%H:%M}",
                s.piano.name,
                s.open_points,
                "; ".join(s.unknown) or "nothing on its record",
                s.piano.address or "address unknown",
            )
            for s in self.stops
        ]

    def _repr_html_(self) -> str:
        return super()._repr_html_() + paragraphs((*self.rounds, *self.warnings))

    def to_html(self) -> str:
        """The plan as one page with boxes to tick: escaped, nothing fetched, a sheet for each piano in print."""
        return (
            templates("pianolab.planning")
            .get_template("visit_plan.html.j2")
            .render(
                plan=self,
                in_the_bag=[f"{thing} ({why})" for thing, why in self.kit],
                at_home_stays=[f"{thing} ({why})" for thing, why in self.leave_at_home],
                earlier=lambda stop: ", ".join(f"{d:%d %b %Y}" for d in stop.earlier_visits) or "none",
                areas=lambda stop: [
                    f"{area}: {still} of {all_} points open" for area, still, all_ in stop.open_areas
                ],
            )
        )

    def save(self, path: str | Path, *, replace: bool = False) -> Path:
        """Write the page, whole or not at all.

        Raises
        ------
        BadInput : a file of that name is there and not ``replace``, or the place can't be written
        """
        write_files({Path(path): self.to_html().encode("utf-8")}, replace=replace)
        return Path(path)


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
