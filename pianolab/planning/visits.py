"""A plan of visits from the shortlist: when, in which order, what to ask, to bring and to find out at each piano.

What is not known of a piano yet is read off its record and off the points of the walk.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Unpack

from pianolab.casebook import Casebook
from pianolab.casebook.book import check_open
from pianolab.checklist import Checklist, kit_list, load_before_visit, load_checklist, load_openings
from pianolab.checklist.hour import WalkOrder, order_walk
from pianolab.checklist.points import Point
from pianolab.checklist.stations import load_hour
from pianolab.errors import BadInput
from pianolab.model import Finding, Piano, Visit
from pianolab.planning.plan import (
    DRIVE_MINUTES,
    DayHours,
    Hours,
    PlannedVisit,
    VisitPlan,
    begin_times,
    check_day,
    drives_to,
    rounds_of,
)

SETTLED = ("checked", "does not apply")
ALWAYS = (*load_hour().safety, *load_hour().recording)
"""What every visit begins with."""


def unknown_facts(piano: Piano) -> tuple[str, ...]:
    """What the record of a piano does not say.

    Examples
    --------
    >>> unknown_facts(Piano(name="x", year=1960, key_tops="plastic", middle_pedal="none", serial="1", seller="M"))
    ('price', 'address')
    """
    missing = {
        "price": piano.asking_price is None,
        "year": piano.year is None,
        "serial number": not piano.serial.strip(),
        "key tops": piano.key_tops == "unknown",
        "middle pedal": piano.middle_pedal == "unknown",
        "seller": not piano.seller.strip(),
        "address": not piano.address.strip(),
    }
    return tuple(name for name, is_missing in missing.items() if is_missing)


def settled_points(findings: Iterable[Finding]) -> set[str]:
    """Points somebody has checked, or that the piano does not have; "not checked" settles nothing."""
    return {f.point for f in findings if f.state in SETTLED}


def open_areas(
    piano: Piano, findings: Iterable[Finding], checklist: Checklist
) -> tuple[tuple[str, int, int], ...]:
    """For each area with open points: its name, how many are open, how many there are."""
    settled, own = settled_points(findings), checklist.for_piano(piano)
    counts = [
        (area, sum(p.area == area and p.id not in settled for p in own), sum(p.area == area for p in own))
        for area in own.areas
    ]
    return tuple(c for c in counts if c[1])


def plan_visits(
    shortlist: Casebook | Iterable[Piano],
    *,
    day: date | None = None,
    order: Sequence[str] = (),
    drive_minutes: float | Mapping[str, float] = DRIVE_MINUTES,
    checklist: Checklist | None = None,
    **hours: Unpack[Hours],
) -> VisitPlan:
    """When to look at which piano, and what to ask, to bring and to find out there.

    Parameters
    ----------
    shortlist : a casebook, or pianos; a casebook also tells what earlier visits have left open
    day : the first day; today if not given
    order : names of pianos in the order you want; the others follow, those never visited first, then those
        with most points open
    drive_minutes : min between two pianos: one number, or for each piano by name the way to it; the first of a day
        says when to leave home
    checklist : the points; None takes those that the casebook remembers, or those that come with pianolab
    **hours : what `DayHours` holds, by name: ``minutes_each`` at a piano (60; the plan says what of the walk fits
        into that, see `order_walk`, and what doesn't), ``first`` and ``last``, when the first visit begins and the
        last one must be over (10:00, 18:00), ``most_a_day`` pianos (4), ``meal_minutes`` for a meal about noon, on
        days that go on after it (45; 0 for none)

    Returns
    -------
    VisitPlan

    Raises
    ------
    BadInput
        no piano, a name that isn't on the shortlist, times that leave no room for a visit

    Examples
    --------
    >>> plan = plan_visits([Piano(name="upstairs"), Piano(name="by the river")], day=date(2026, 5, 16))
    >>> [f"{s.begins:%H:%M} {s.piano.name}" for s in plan.stops]
    ['10:00 upstairs', '11:30 by the river']
    """
    begin = check_day(day)
    known = _known(shortlist)
    if not known:
        raise BadInput("shortlist", "no piano", "at least one piano", "Enter the pianos first.")
    day_hours = DayHours(**hours)
    points = checklist if checklist is not None else _own_points(shortlist)
    ordered = _in_order(known, order, points)
    drives = drives_to(drive_minutes, [k[0].name for k, _ in ordered])
    minutes_each = day_hours.minutes_each
    slots = begin_times(drives, begin, day_hours)
    stops = tuple(
        _stop(entry, why, slot, minutes_each=minutes_each, drive=drive, checklist=points)
        for (entry, why), slot, drive in zip(ordered, slots, drives, strict=True)
    )
    before = load_before_visit()
    rounds = rounds_of(stops)
    everything = Checklist(tuple(p for p in points if any(p.applies(s.piano) for s in stops)))
    return VisitPlan(
        stops=stops,
        kit=kit_list(everything),
        leave_at_home=before.leave_at_home,
        at_home=before.at_home,
        on_the_day=before.on_the_day,
        rounds=rounds,
        warnings=_warnings(stops, minutes_each),
    )


Known = tuple[Piano, tuple[Visit, ...], tuple[Finding, ...]]


def _known(shortlist: Casebook | Iterable[Piano]) -> list[Known]:
    if isinstance(shortlist, (str, Path)):
        check_open(shortlist, name="shortlist")
    if isinstance(shortlist, Casebook):
        return [(p, shortlist.visits(p.id), shortlist.current_findings(p.id)) for p in shortlist.pianos()]
    return [(p, (), ()) for p in shortlist]


def _own_points(shortlist: Casebook | Iterable[Piano]) -> Checklist:
    return shortlist.checklist() if isinstance(shortlist, Casebook) else load_checklist()


def _in_order(known: list[Known], order: Sequence[str], points: Checklist) -> list[tuple[Known, str]]:
    names = [piano.name for piano, _, _ in known]
    for name in order:
        if name not in names:
            raise BadInput("order", repr(name), "names of pianos on the shortlist: " + ", ".join(names))
    given = [next(k for k in known if k[0].name == name) for name in dict.fromkeys(order)]
    rest = [k for k in known if k not in given]
    rest.sort(key=lambda k: (bool(k[1]), -sum(still for _, still, _ in open_areas(k[0], k[2], points))))
    return [(k, "as you wish") for k in given] + [(k, _why(k)) for k in rest]


def _why(entry: Known) -> str:
    visits = entry[1]
    return (
        f"seen {len(visits)} times, last on {visits[-1].day:%d %b %Y}" if visits else "not seen yet, so first"
    )


def _warnings(stops: Sequence[PlannedVisit], minutes_each: float) -> tuple[str, ...]:
    """What doesn't fit: stops that the time at a piano leaves out, and pianos that had to go to another day."""
    said = []
    for stop in stops:
        if stop.order.stops_left:
            titles = [p.title for p in stop.order.stops_left]
            named = ", ".join(titles[:4]) + (f" and {len(titles) - 4} more" if len(titles) > 4 else "")
            said.append(
                f"{stop.piano.name}: {minutes_each:g} min leave out {len(titles)} reasons to stop: {named}. "
                f"All of them take {stop.stop_minutes:.0f} min."
            )
    days = list(dict.fromkeys(s.begins.date() for s in stops))
    late = [s.piano.name for s in stops if s.begins.date() != days[0]]
    if late:
        said.append(f"One day does not hold all: {', '.join(late)} on a later day.")
    return tuple(said)


def _stop(
    entry: Known, why: str, begins: datetime, *, minutes_each: float, drive: float, checklist: Checklist
) -> PlannedVisit:
    piano, visits, findings = entry
    settled = settled_points(findings)
    left = [p for p in checklist.for_piano(piano) if p.id not in settled]
    openings = load_openings()
    return PlannedVisit(
        piano=piano,
        begins=begins,
        ends=begins + timedelta(minutes=minutes_each),
        drive_minutes=drive,
        earlier_visits=tuple(v.day for v in visits),
        why_here=why,
        questions=(*load_before_visit().questions, *(p.question for p in left if p.question)),
        openings=tuple(openings[o].ask for o in dict.fromkeys(p.opens for p in left if p.opens)),
        unknown=unknown_facts(piano),
        open_areas=open_areas(piano, findings, checklist),
        reasons=tuple(
            dict.fromkeys(
                f"{f.state}: {f.reason}" for f in findings if f.state != "checked" and f.point not in settled
            )
        ),
        order=_walk_of(left, piano, minutes_each),
        whole_minutes=_walk_of(left, piano, None).taken,
        stop_minutes=_walk_of([p for p in left if p.vetoes or p.id in ALWAYS], piano, None).taken,
    )


def _walk_of(left: Sequence[Point], piano: Piano, minutes: float | None) -> WalkOrder:
    """The walk of one visit over what is still open."""
    return order_walk(Checklist(tuple(left)), piano, minutes=minutes)
