"""The order of a walk: what comes first, what fits, what is left; held against every choice tried out."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations, pairwise

import pytest

from pianolab.checklist import load_checklist, read_checklist
from pianolab.checklist.hour import Fitting, WalkOrder, listed_worth, order_walk
from pianolab.checklist.points import Point
from pianolab.checklist.stations import load_hour
from pianolab.errors import BadInput
from pianolab.model import Piano

CHECKLIST, HOUR = load_checklist(), load_hour()
UPRIGHT, GRAND = Piano(name="u", kind="upright"), Piano(name="g", kind="grand")
BOTH = pytest.mark.parametrize("piano", [UPRIGHT, GRAND], ids=lambda p: p.kind)


def ids(order: WalkOrder) -> list[str]:
    return [step.point.id for step in order.steps]


def station(point: Point, piano: Piano) -> str:
    return HOUR.station_of(point, piano.kind).id


def stops_at(piano: Piano) -> list[Point]:
    """Points that can stop the purchase and that somebody without tools sees at the visit."""
    own = CHECKLIST.for_piano(piano)
    return [p for p in own if p.vetoes and station(p, piano) != "elsewhere"]


def test_every_position_has_a_station_and_every_stop_a_chance() -> None:
    known = {position for s in HOUR.stations.values() for position in s.positions}
    assert [p.id for p in CHECKLIST if p.position not in known] == []
    assert [
        i for i in (*HOUR.stops, *HOUR.safety, *HOUR.recording, *HOUR.elsewhere) if i not in CHECKLIST
    ] == []
    here = [p for p in CHECKLIST if p.vetoes and station(p, UPRIGHT) != "elsewhere"]
    assert {p.id for p in here} == set(HOUR.stops)


@BOTH
@pytest.mark.parametrize("minutes", [20, 40, 60, None])
def test_safety_then_the_recording_then_anybody_plays_or_talks(piano: Piano, minutes: float | None) -> None:
    order = order_walk(CHECKLIST, piano, minutes=minutes)
    head = ["case-legs", "case-hinges", "keys-sharp-chips"]
    if piano.kind == "grand":
        head = ["case-legs", "case-prop", "pedal-lyre", "case-hinges", "keys-sharp-chips"]
    assert ids(order)[: len(head) + 1] == [*head, "each-recorded"]


@BOTH
@pytest.mark.parametrize("minutes", [20, 40, 60])
def test_it_fits_with_setting_up_and_the_ways(piano: Piano, minutes: float) -> None:
    order = order_walk(CHECKLIST, piano, minutes=minutes)
    stations = {s.station.id: s.station.settle for s in order.steps}
    by_hand = HOUR.setting_up + sum(s.point.minutes for s in order.steps) + sum(stations.values())
    assert order.taken == pytest.approx(by_hand)
    assert minutes - 1.0 < by_hand <= minutes
    everything = {*ids(order), *(p.id for p in order.left), *(p.id for p in order.elsewhere)}
    assert everything == {p.id for p in CHECKLIST.for_piano(piano)}


@BOTH
def test_forty_minutes_cover_every_stop_a_layman_can_see(piano: Piano) -> None:
    order = order_walk(CHECKLIST, piano, minutes=40)
    assert {p.id for p in stops_at(piano)} <= set(ids(order))
    assert order.stops_left == ()


def best_by_trying_all(piano: Piano, minutes: float) -> float:
    """Most chance times harm that fits into what safety and recording leave: every subset of stations, every choice."""
    head = [CHECKLIST[i] for i in (*HOUR.safety, *HOUR.recording) if CHECKLIST[i].applies(piano)]
    been = {station(p, piano) for p in head}
    room = (
        minutes - HOUR.setting_up - sum(p.minutes for p in head) - sum(HOUR.stations[s].settle for s in been)
    )
    stops = stops_at(piano)
    places = sorted({station(p, piano) for p in stops} - been)
    best = 0.0
    for n in range(len(places) + 1):
        for chosen in combinations(places, n):
            left = room - sum(HOUR.stations[s].settle for s in chosen)
            worth_at = {0.0: 0.0}  # minutes taken -> most worth
            for p in (q for q in stops if station(q, piano) in {*been, *chosen}):
                for taken, worth in list(worth_at.items()):
                    total = taken + p.minutes
                    if total <= left + 1e-9:
                        worth_at[total] = max(worth_at.get(total, 0.0), worth + listed_worth(p))
            best = max(best, *worth_at.values()) if left >= 0 else best
    return best


def reached(order: WalkOrder) -> float:
    return sum(listed_worth(s.point) for s in order.steps if s.point.vetoes)


@BOTH
def test_twenty_minutes_take_the_stops_by_chance_times_harm_and_name_those_they_leave(piano: Piano) -> None:
    order = order_walk(CHECKLIST, piano, minutes=20)
    best = best_by_trying_all(piano, 20.0)
    assert reached(order) == pytest.approx(best)
    taken = {s.point.id for s in order.steps if s.point.vetoes}
    assert {p.id for p in order.stops_left} == {p.id for p in stops_at(piano)} - taken
    assert f"{len(order.stops_left)} of them stops" in order.headline()


def test_the_list_in_its_own_order_would_reach_less() -> None:
    """The twin: taking stops as they come falls short of what every choice tried out finds."""
    as_listed, room = 0.0, 20.0 - HOUR.setting_up - 8.0
    for p in stops_at(UPRIGHT):
        if p.minutes <= room:
            as_listed, room = as_listed + listed_worth(p), room - p.minutes
    assert as_listed < best_by_trying_all(UPRIGHT, 20.0) - 0.1


@BOTH
@pytest.mark.parametrize("minutes", [20, 40, 60, None])
def test_one_kneels_and_lies_down_once(piano: Piano, minutes: float | None) -> None:
    visits = [s.station.id for s in order_walk(CHECKLIST, piano, minutes=minutes).steps]
    turns = [visits[0], *(b for a, b in pairwise(visits) if a != b)]
    for hard in ("low", "below"):
        assert turns.count(hard) <= 1
    assert turns.count("inside") <= 2


@BOTH
def test_all_stops_before_what_only_lowers_a_score(piano: Piano) -> None:
    """But for what stands at a place one goes to only once."""
    steps = order_walk(CHECKLIST, piano, minutes=None).steps
    last_stop = max(i for i, s in enumerate(steps) if s.reason == "stop")
    early = [s for s in steps[:last_stop] if s.reason == "decides"]
    assert all(s.station.once for s in early)


def test_the_next_point_follows_the_answers() -> None:
    """Told that the aspects this point bears on matter most, it is looked at first of those that are no stops."""
    settled = {p.id for p in stops_at(UPRIGHT)} | {*HOUR.safety, *HOUR.recording}
    usual = order_walk(CHECKLIST, UPRIGHT, minutes=20, settled=settled, at="case-pests")
    first = order_walk(
        CHECKLIST, UPRIGHT, minutes=20, settled=settled, at="case-pests", worth={"pedal-noise": 9.0}
    )
    assert ids(usual)[0] != "pedal-noise"
    assert ids(first)[0] == "pedal-noise"
    assert not settled & set(ids(usual))


def test_whoever_kneels_stays_there() -> None:
    done = {*HOUR.safety, *HOUR.recording, "bridge-bass"}
    order = order_walk(CHECKLIST, UPRIGHT, minutes=30, settled=done, at="bridge-bass")
    assert order.set_up == 0.0
    assert order.steps[0].station.id == "low"
    assert order.steps[0].minutes == order.steps[0].point.minutes


def test_no_time_at_all_leaves_everything() -> None:
    order = order_walk(CHECKLIST, UPRIGHT, minutes=0)
    assert order.steps == ()
    assert order.next is None
    assert {p.id for p in order.stops_left} == {p.id for p in stops_at(UPRIGHT)}
    with pytest.raises(BadInput, match="minutes: got -1, need 0 or more"):
        order_walk(CHECKLIST, UPRIGHT, minutes=-1)


def test_points_of_a_list_of_ones_own_find_their_place() -> None:
    own = read_checklist(
        '[[point]]\nid = "mine"\narea = "Plate and frame"\ntitle = "t"\nwhy = "w"\nhow = "h"\nwhere = "x"\n'
        'position = "on tiptoe"\nopens = "lid"\naccess = "ask first"\nrecord = "yes_no"\ngood_answer = true\n'
        'yes_means = "y."\nno_means = "n."\nminutes = 0.5\n'
        'vetoes = [{ on_answer = false, reason = "It is gone." }]\n',
        file="own.toml",
    )
    assert station(own["mine"], UPRIGHT) == "inside"
    assert "mine" in ids(order_walk(own, UPRIGHT, minutes=40))
    assert listed_worth(own["mine"]) == pytest.approx(10 * 0.02 * 0.5)


@BOTH
def test_one_stays_where_the_recording_was_made_while_something_is_to_be_looked_at_there(
    piano: Piano,
) -> None:
    """However much more looking elsewhere is worth: one gets up once."""
    at_recording = next(station(p, piano) for p in CHECKLIST if p.id == HOUR.recording[-1])
    worth = {p.id: 1000.0 for p in CHECKLIST if station(p, piano) != at_recording}
    order = order_walk(CHECKLIST, piano, minutes=60, worth=worth)
    stops = [s for s in order.steps if s.reason == "stop"]
    assert len({s.station.id for s in stops}) > 1
    assert stops[0].station.id == at_recording


def test_what_fills_the_time_to_the_second_fits() -> None:
    """Three times 0.1 is more than 0.3 for a computer, and no more for anybody else."""
    points = [replace(p, minutes=0.1) for p in list(CHECKLIST)[:3]]
    here = {p.id: HOUR.stations["keys"] for p in points}
    for minutes, taken in ((0.3, 3), (0.29, 2)):
        fitting = Fitting(here, {p.id: 1.0 for p in points}, at="keys", minutes=minutes)
        fitting.take_in_turn(points)
        assert len(fitting.chosen) == taken


def test_all_that_fits_to_the_second_is_taken_though_minutes_are_counted_in_steps() -> None:
    points = [replace(p, minutes=1.01) for p in list(CHECKLIST)[:3]]
    here = {p.id: HOUR.stations["keys"] for p in points}
    for minutes, taken in ((sum(p.minutes for p in points), 3), (3.0, 2)):
        fitting = Fitting(here, {p.id: 1.0 for p in points}, at="keys", minutes=minutes)
        fitting.take_worthiest(points)
        assert len(fitting.chosen) == taken
