"""A plan of visits as a result: its stops, its bag, and how it shows itself."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from html import escape
from pathlib import Path

from pianolab.checklist.hour import WalkOrder
from pianolab.files import write_files
from pianolab.html import templates
from pianolab.model import Piano
from pianolab.show import Row, Showable


@dataclass(frozen=True, kw_only=True, repr=False)
class PlannedVisit(Showable):
    """One stop: when, at which piano, and what is still unknown of it.

    ``questions`` are those no finding answers yet, ``openings`` what to ask leave for, ``unknown`` what the
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
        return rows + [("ask leave", text) for text in self.openings]


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
        return super()._repr_html_() + "".join(f"<p>{escape(t)}</p>" for t in (*self.rounds, *self.warnings))

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
