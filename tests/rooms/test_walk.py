"""The walk's findings about a room: they reach its calculation, what is unknown, and the sentence."""

from dataclasses import replace

import pytest

from pianolab.model import Finding, Room
from pianolab.rooms import RoomAsFound, compare_rooms, predict_as_found, room_of_visit

SIZE = Room(length_m=7.0, width_m=5.0, height_m=3.0)
HOME = Room(length_m=4.5, width_m=4.0, height_m=2.5, surfaces=("carpet", "plaster", "curtains"))


def at(point: str, **value: object) -> Finding:
    return Finding(visit_id="v", point=point, **value)  # type: ignore[arg-type]


def test_sizes_come_from_the_walk_where_the_record_has_none() -> None:
    walked = [
        at("room-length", reading=7.0),
        at("room-width", reading=5.0),
        at("room-height", reading=3.0),
    ]
    assert room_of_visit(Room(), walked).room == SIZE
    assert room_of_visit(Room(length_m=6.0), walked).room.length_m == 6.0


def test_the_last_finding_at_a_point_counts_and_what_was_not_checked_says_nothing() -> None:
    twice = [at("room-lid", answer=True), at("room-lid", answer=False)]
    assert room_of_visit(Room(), twice).lid == "closed"
    refused = [at("room-lid", state="not allowed", reason="flowers on it")]
    assert room_of_visit(Room(), refused).lid is None


def test_hardness_is_said_and_used() -> None:
    """Dull rings shorter and gives back less treble than bare; ordinary lies between (only the order is claimed)."""
    found = {h: RoomAsFound(room=SIZE, hardness=h) for h in ("dull", "ordinary", "bare")}
    rings = [predict_as_found(f, kind="upright").t60_s[3].middle for f in found.values()]
    assert rings == sorted(rings)
    assert rings[0] < 0.6 * rings[-1]
    treble = [compare_rooms(f, HOME).treble_db.middle for f in found.values()]
    assert treble == sorted(treble, reverse=True), "what the dull room swallowed comes back at home"
    assert "duller than it seemed" in compare_rooms(found["bare"], HOME).sentence
    assert "brighter than it seemed" in compare_rooms(found["dull"], HOME).sentence


def test_named_surfaces_count_before_the_clap() -> None:
    tiled = replace(SIZE, surfaces=("tiles", "plaster", "glass"))
    one, other = (predict_as_found(RoomAsFound(room=tiled, hardness=h), kind="grand") for h in ("dull", None))
    assert one.t60_s == other.t60_s


def test_dull_and_bare_at_once_is_unknown_and_said() -> None:
    both = room_of_visit(SIZE, [at("room-soft", answer=True), at("room-bare", answer=True)])
    assert both.hardness is None
    assert any("dull and as bare at once" in text for text in compare_rooms(both, HOME).not_noted)


def test_a_wall_strengthens_the_bass() -> None:
    wall, free = (
        predict_as_found(RoomAsFound(room=SIZE, against_wall=w), kind="upright").wall_bass_db.middle
        for w in (True, False)
    )
    assert wall > free + 1.0
    said = compare_rooms(RoomAsFound(room=SIZE, against_wall=True), HOME).sentence
    assert "strengthens the bass" in said


def test_the_lid_is_the_pianos_and_changes_nothing_from_room_to_room() -> None:
    """Open there and open at home: only the rooms differ. What closing it would do is said beside it."""
    opened, closed = (compare_rooms(RoomAsFound(room=SIZE, lid=lid), HOME) for lid in ("open", "closed"))
    assert opened.treble_db.middle == pytest.approx(closed.treble_db.middle, abs=0.3)
    assert "closed, the treble is" in opened.sentence
    assert "open, the treble is" in closed.sentence
    assert not any("lid" in text for text in opened.not_noted)


def test_what_nobody_noted_is_said() -> None:
    nothing = compare_rooms(room_of_visit(Room()), HOME)
    assert not nothing.known
    assert [text.split(":")[0] for text in nothing.not_noted] == [
        "nobody noted whether the room was dull or bare",
        "nobody noted how the lid stood",
        "nobody noted whether it stood at a wall",
    ]
    assert any("lid" in str(row) for row in nothing.rows())


def test_without_a_size_what_is_known_is_said_all_the_same() -> None:
    bare = compare_rooms(room_of_visit(Room(), [at("room-bare", answer=True)]), HOME)
    assert "nobody can say yet" in bare.sentence
    assert "duller than it seemed" in bare.sentence


def test_a_piano_stands_free_in_the_middle_of_a_small_room_at_most() -> None:
    small = RoomAsFound(room=Room(length_m=2.4, width_m=2.0, height_m=2.4), against_wall=False)
    assert predict_as_found(small, kind="grand").known


@pytest.mark.parametrize(
    ("hardness", "surfaces", "open_"), [(None, (), True), ("dull", (), False), (None, ("carpet",), False)]
)
def test_the_answer_of_a_room_is_open_only_where_neither_a_clap_nor_a_surface_was_noted(
    hardness, surfaces, open_
) -> None:
    found = RoomAsFound(room=Room(surfaces=surfaces), hardness=hardness, against_wall=False, lid="open")
    assert [("dull or bare" in said) for said in found.not_known()] == ([True] if open_ else [])
