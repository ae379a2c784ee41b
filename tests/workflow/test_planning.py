"""The plan of visits: times, order, what is unknown, and a page to print."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import date, time
from pathlib import Path

import pytest

from pianolab.casebook import Casebook, create_casebook
from pianolab.checklist import load_checklist, load_scenario
from pianolab.errors import BadInput
from pianolab.model import Finding, Piano, Visit
from pianolab.planning.plan import DayHours
from pianolab.planning.visits import open_areas, plan_visits, unknown_facts

SATURDAY = date(2026, 5, 16)
HOSTILE = "<script>alert(1)</script>\u202e\U0001f600 & \"'"
PIANOS = load_scenario().instruments


def test_an_hour_each_and_the_way_between() -> None:
    plan = plan_visits(PIANOS, day=SATURDAY, drive_minutes=25, meal_minutes=0)
    assert [f"{s.begins:%H:%M}-{s.ends:%H:%M}" for s in plan.stops] == [
        "10:00-11:00",
        "11:25-12:25",
        "12:50-13:50",
        "14:15-15:15",
    ]
    assert plan.days == (SATURDAY,)
    assert plan.rounds == ("Sat 16 May: leave home at 09:35, home about 15:40",)


def test_a_day_over_noon_has_its_meal() -> None:
    plan = plan_visits(PIANOS, day=SATURDAY, drive_minutes=25)
    assert [f"{s.begins:%H:%M}" for s in plan.stops] == ["10:00", "11:25", "13:35", "15:00"]
    assert plan.rounds == ("Sat 16 May: leave home at 09:35, eat about 12:25, home about 16:25",)
    short_day = plan_visits(PIANOS[:2], day=SATURDAY, drive_minutes=25)
    assert "eat" not in short_day.rounds[0]


def test_each_day_has_a_meal_of_its_own() -> None:
    plan = plan_visits([Piano(name=f"number {i}") for i in range(8)], day=SATURDAY)
    assert [r.count("eat about") for r in plan.rounds] == [1, 1]


def test_what_does_not_fit_is_said() -> None:
    twenty = plan_visits([Piano(name="a grand", kind="grand")], day=SATURDAY, minutes_each=20)
    order = twenty.stops[0].order
    assert order.taken <= 20
    assert len(order.stops_left) > 3
    (warning,) = twenty.warnings
    assert f"20 min leave out {len(order.stops_left)} reasons to stop: {order.stops_left[0].title}" in warning
    assert warning.replace("'", "&#39;") in twenty.to_html()
    hour = plan_visits([Piano(name="a grand", kind="grand")], day=SATURDAY)
    assert hour.warnings == ()
    assert hour.stops[0].whole_minutes > 60
    assert "stay open" in hour.stops[0].time_in_words()


def test_pianos_of_a_later_day_are_named() -> None:
    plan = plan_visits([Piano(name=f"number {i}") for i in range(5)], day=SATURDAY)
    assert plan.warnings == ("One day does not hold all: number 4 on a later day.",)


def test_the_way_to_each_piano_may_differ() -> None:
    ways = {"Mill Lane grand": 5, "Station Road grand": 90}
    plan = plan_visits(PIANOS, day=SATURDAY, order=["Harbour Street upright", *ways], drive_minutes=ways)
    assert [f"{s.begins:%H:%M}" for s in plan.stops[:3]] == ["10:00", "11:05", "14:20"]
    assert "eat about 12:05" in plan.rounds[0]


def test_no_visit_ends_late_and_no_day_is_too_full() -> None:
    many = [Piano(name=f"number {i}") for i in range(9)]
    for most, drive in ((4, 30), (9, 30), (9, 300)):
        plan = plan_visits(many, day=SATURDAY, most_a_day=most, drive_minutes=drive)
        assert len(plan.stops) == 9
        assert all(s.ends.time() <= time(18) and s.ends.date() == s.begins.date() for s in plan.stops)
        per_day = [sum(s.begins.date() == d for s in plan.stops) for d in plan.days]
        assert max(per_day) <= most
        times = [s.begins for s in plan.stops]
        assert times == sorted(times)


def test_the_order_one_wishes_comes_first() -> None:
    plan = plan_visits(PIANOS, day=SATURDAY, order=["Station Road grand"])
    assert plan.stops[0].piano.name == "Station Road grand"
    assert plan.stops[0].why_here == "as you wish"
    assert len({s.piano.id for s in plan.stops}) == len(PIANOS)


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Casebook]:
    """One piano seen half, one never."""
    with create_casebook(tmp_path / "book") as casebook:
        with casebook.editing(by="Ana") as edit:
            seen = edit.add(Piano(name="seen", year=1990, key_tops="plastic"))
            edit.add(Piano(name="new"))
            visit = edit.add(Visit(piano_id=seen.id, day=date(2026, 5, 2)))
            edit.add(Finding(visit_id=visit.id, point="papers-ownership", answer=True))
            edit.add(
                Finding(
                    visit_id=visit.id,
                    point="frame-posts",
                    state="not allowed",
                    reason="it was not moved from the wall",
                )
            )
        yield casebook


def test_the_piano_nobody_has_seen_comes_first(book: Casebook) -> None:
    plan = plan_visits(book, day=SATURDAY)
    assert [s.piano.name for s in plan.stops] == ["new", "seen"]
    assert plan.stops[0].why_here == "not seen yet, so first"
    assert plan.stops[1].earlier_visits == (date(2026, 5, 2),)


def test_what_was_answered_is_not_asked_again_and_what_was_not_seen_stays_open(book: Casebook) -> None:
    new, seen = plan_visits(book, day=SATURDAY).stops
    ownership = load_checklist()["papers-ownership"].question
    posts = load_checklist()["frame-posts"].question
    assert ownership in new.questions
    assert ownership not in seen.questions
    assert posts in seen.questions
    assert seen.reasons == ("not allowed: it was not moved from the wall",)
    own = load_checklist().for_piano(seen.piano)
    assert seen.open_points == len(own) - 1
    assert "Could two people roll an upright from the wall? A grand stays where it is." in seen.openings


def test_unknown_is_said_and_never_fine() -> None:
    assert unknown_facts(Piano(name="x")) == (
        "price",
        "year",
        "serial number",
        "key tops",
        "middle pedal",
        "seller",
        "address",
    )
    piano = Piano(name="x")
    put_off = Finding(visit_id="v", point="plate-cracks", state="not checked", reason="no time")
    checked = Finding(visit_id="v", point="plate-cracks", answer=False)
    for finding, left in ((put_off, 0), (checked, 1)):
        areas = {a: (still, all_) for a, still, all_ in open_areas(piano, [finding], load_checklist())}
        still, all_ = areas["Plate and frame"]
        assert all_ - still == left


def test_the_bag_holds_the_tools_and_no_lever() -> None:
    plan = plan_visits(PIANOS, day=SATURDAY)
    things = dict(plan.kit)
    assert {"torch", "mirror", "hygrometer", "tape", "a friend"} <= set(things)
    assert "torque wrench" not in things
    assert "a tuning lever" in dict(plan.leave_at_home)


def test_the_page_is_whole_and_fetches_nothing(tmp_path: Path) -> None:
    plan = plan_visits(PIANOS, day=SATURDAY)
    html = plan.save(tmp_path / "plan.html").read_text(encoding="utf-8")
    assert html.startswith("<!doctype html>")
    assert not re.search(r"https?://|<script|<link|<img|url\(", html)
    for stop in plan.stops:
        assert html.count(f"<h2>{stop.piano.name}</h2>") == 1
    assert "Ask before you travel" in html
    assert [p.name for p in tmp_path.iterdir()] == ["plan.html"]


def test_hostile_text_does_nothing() -> None:
    plan = plan_visits([Piano(name=HOSTILE, address=HOSTILE, seller=HOSTILE)], day=SATURDAY)
    for html in (plan.to_html(), plan._repr_html_(), plan.stops[0]._repr_html_()):
        assert "<script" not in html
        assert "&lt;script&gt;" in html


@pytest.mark.parametrize(
    ("settings", "line"),
    [
        ({"order": ["Nowhere"]}, "order: got 'Nowhere', need names of pianos"),
        ({"minutes_each": 5}, "minutes_each: got 5, need 10 to 480 min"),
        ({"last": time(10, 30)}, "last: got 10:00 to 10:30, need room for a visit of 60 min"),
        ({"drive_minutes": -1}, "drive_minutes: got -1"),
        ({"drive_minutes": float("nan")}, "drive_minutes: got nan"),
        ({"drive_minutes": {"Nowhere": 5}}, "drive_minutes: got 'Nowhere'"),
        ({"most_a_day": 0}, "most_a_day: got 0, need 1 or more"),
        ({"meal_minutes": -1}, "meal_minutes: got -1, need 0 to 240 min"),
    ],
)
def test_bad_wishes_give_one_line(settings: dict[str, object], line: str) -> None:
    with pytest.raises(BadInput, match=line):
        plan_visits(PIANOS, day=SATURDAY, **settings)  # type: ignore[arg-type]


def test_an_empty_shortlist_is_refused() -> None:
    with pytest.raises(BadInput, match="shortlist: got no piano"):
        plan_visits([], day=SATURDAY)


def test_one_piano_a_day_is_a_plan_and_none_is_not() -> None:
    DayHours(first=time(9), last=time(18), most_a_day=1)
    with pytest.raises(BadInput, match="most_a_day"):
        DayHours(first=time(9), last=time(18), most_a_day=0)
    DayHours(minutes_each=60, first=time(9), last=time(10))
    with pytest.raises(BadInput, match="last"):
        DayHours(minutes_each=61, first=time(9), last=time(10))
