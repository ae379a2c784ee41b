"""Predicting rooms, comparing two, and listening to the difference."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pianolab.errors import BadInput
from pianolab.model import Room
from pianolab.rooms import (
    NOMINAL_HZ,
    Air,
    Position,
    air_absorption,
    compare_rooms,
    eyring_t60,
    level_in_room,
    listening_preview,
    load_surfaces,
    power_gain_db,
    predict_room,
    sabine_t60,
)
from pianolab.rooms.advice import change_words
from pianolab.rooms.room_acoustics import RoomAcoustics, Span, mean_over, span_of
from pianolab.sources import SOURCES

HOME = Room(length_m=4.8, width_m=3.9, height_m=2.5, surfaces=("carpet", "plaster", "curtains"))
HALL = Room(length_m=11.0, width_m=7.0, height_m=4.2, surfaces=("tiles", "plaster", "glass"))
DULL = Room(length_m=7.5, width_m=4.6, height_m=2.4, surfaces=("carpet", "curtains", "upholstery"))

sizes = st.tuples(st.floats(2.5, 15.0), st.floats(2.0, 10.0), st.floats(2.0, 5.0))


@pytest.mark.slow
@given(
    volume=st.floats(10.0, 5000.0),
    surface=st.floats(50.0, 3000.0),
    mean=st.floats(0.01, 0.8),
    more=st.floats(0.0, 0.15),
    air=st.floats(0.0, 0.02),
)
def test_more_absorption_never_lengthens_the_time(
    volume: float, surface: float, mean: float, more: float, air: float
) -> None:
    a, b = mean * surface, (mean + more) * surface
    assert sabine_t60(volume, b, air_per_m=air) <= sabine_t60(volume, a, air_per_m=air)
    assert eyring_t60(volume, b, surface, air_per_m=air) <= eyring_t60(volume, a, surface, air_per_m=air)
    assert eyring_t60(volume, a, surface, air_per_m=air) <= eyring_t60(volume, a, surface)
    assert eyring_t60(volume, a, surface, air_per_m=air) <= sabine_t60(volume, a, air_per_m=air)


@given(scale=st.floats(0.5, 3.0), mean=st.floats(0.02, 0.9))
def test_a_room_twice_as_large_rings_twice_as_long(scale: float, mean: float) -> None:
    small = eyring_t60(50.0, mean * 85.0, 85.0)
    large = eyring_t60(50.0 * scale**3, mean * 85.0 * scale**2, 85.0 * scale**2)
    assert float(large) == pytest.approx(scale * float(small))


@given(near=st.floats(0.3, 3.0), further=st.floats(0.0, 5.0), mean=st.floats(0.02, 0.95))
def test_level_falls_with_distance_and_absorption(near: float, further: float, mean: float) -> None:
    level = level_in_room(near, mean * 100.0, 100.0, 60.0)
    assert level_in_room(near + further, mean * 100.0, 100.0, 60.0) <= level + 1e-9
    assert level_in_room(near, (mean + 0.04) * 100.0, 100.0, 60.0) < level
    assert level >= -20.0 * np.log10(near)


@given(f=st.floats(20.0, 8000.0), d=st.floats(0.0, 5.0))
def test_power_gain_stays_within_one_walls_three_decibels(f: float, d: float) -> None:
    assert -1.1 < float(power_gain_db(f, [d])) <= 3.011


@pytest.mark.slow
@settings(max_examples=8, deadline=None)
@given(size=sizes, people=st.integers(0, 8))
def test_people_never_lengthen_nor_strengthen(size: tuple[float, float, float], people: int) -> None:
    room = Room(length_m=size[0], width_m=size[1], height_m=size[2], surfaces=("parquet", "plaster"))
    alone, full = predict_room(room), predict_room(room, people=people)
    assert alone.draws is not None
    assert full.draws is not None
    assert np.all(full.draws.t60_s <= alone.draws.t60_s + 1e-12)
    assert np.all(full.draws.room_db <= alone.draws.room_db + 1e-9)


def test_furniture_by_name_and_count_is_one_thing() -> None:
    by_name = predict_room(HOME, furniture=["sofa", "armchair", "armchair"])
    by_count = predict_room(HOME, furniture={"armchair": 2, "couch": 1})
    bare = predict_room(HOME, furniture=())
    assert by_name.t60_s == by_count.t60_s
    assert by_name.t60_s is not None
    assert bare.t60_s is not None
    assert by_name.t60_s[3].middle < bare.t60_s[3].middle


def test_what_is_not_said_widens_and_is_named() -> None:
    named = predict_room(
        HOME, furniture=(), lid="open", position=Position(in_corner=False, wall_distance_m=0.1)
    )
    unsaid = predict_room(Room(length_m=4.8, width_m=3.9, height_m=2.5))
    assert named.t60_s is not None
    assert unsaid.t60_s is not None
    for i, f in enumerate(NOMINAL_HZ[2:], start=2):
        known, unknown = named.t60_s[i], unsaid.t60_s[i]
        assert np.log(unknown.high / unknown.low) > np.log(known.high / known.low), f
    assert any("floor" in text for text in unsaid.assumed)
    assert not any("floor" in text or "lid" in text or "furniture" in text for text in named.assumed)


def test_a_word_nobody_knows_is_said_and_not_guessed() -> None:
    strange = Room(length_m=5, width_m=4, height_m=2.5, surfaces=("parquet", "sealskin"))
    plain = Room(length_m=5, width_m=4, height_m=2.5, surfaces=("parquet",))
    assert predict_room(strange).t60_s == predict_room(plain).t60_s
    assert any("'sealskin' is not in the table" in text for text in predict_room(strange).assumed)


@pytest.mark.parametrize(
    ("size", "surfaces"),
    [
        ((4.5, 3.8, 2.5), ()),
        ((5.5, 4.5, 2.6), ()),
        ((4.8, 3.9, 2.5), ("parquet", "plaster", "curtains")),
        ((5.2, 4.0, 2.6), ("carpet", "plaster")),
        ((6.0, 4.5, 2.7), ("parquet", "rug", "bookshelves")),
    ],
)
def test_an_ordinary_room_rings_for_about_half_a_second(
    size: tuple[float, ...], surfaces: tuple[str, ...]
) -> None:
    """Standards on sound insulation take 0.5 s for furnished rooms of dwellings (ISO 16283-1, from memory)."""
    room = Room(length_m=size[0], width_m=size[1], height_m=size[2], surfaces=surfaces)
    assert holds_half_a_second(predict_room(room))
    bare = Room(length_m=8, width_m=6, height_m=3, surfaces=("tiles", "plaster", "glass"))
    assert not holds_half_a_second(predict_room(bare, furniture=()))


def holds_half_a_second(room: RoomAcoustics) -> bool:
    """Whether the usual single number, the mean of 500 Hz and 1 kHz, may be 0.5 s."""
    assert room.draws is not None
    span = span_of(mean_over(room.draws.t60_s, (500, 1000)))
    return span.low < 0.5 < span.high


def test_without_its_size_nothing_is_known_and_the_reason_is_said() -> None:
    result = predict_room(Room(length_m=5.0, surfaces=("parquet",)))
    assert not result.known
    assert result.t60_s is None
    assert "width and height" in result.why_unknown
    assert result.to_frame()["note"].tolist() == [result.why_unknown]
    change = compare_rooms(HALL, Room(length_m=5.0))
    assert not change.known
    assert "nobody can say yet" in change.sentence
    assert "home: width and height" in change.sentence


def test_the_time_heard_still_counts_where_the_showroom_has_no_size() -> None:
    change = compare_rooms(Room(), HOME, heard_t60_s=2.0)
    assert not change.known
    assert change.t60_middle_s is not None
    assert change.t60_middle_s.high < 0
    assert "s less" in change.sentence
    assert change.heard is not None
    assert change.heard.agrees is None


def test_a_description_against_itself_changes_nothing_on_the_middle() -> None:
    change = compare_rooms(HOME, HOME)
    assert change.ear_db is not None
    assert change.t60_s is not None
    for span in (*change.ear_db, *change.t60_s):
        assert span.middle == pytest.approx(0.0, abs=1e-9)
        assert span.low == pytest.approx(-span.high, abs=1e-9)


@settings(max_examples=6, deadline=None)
@given(a=sizes, b=sizes)
def test_there_and_back_is_the_opposite(a: tuple[float, ...], b: tuple[float, ...]) -> None:
    rooms = [
        Room(length_m=x[0], width_m=x[1], height_m=x[2], surfaces=("parquet", "plaster")) for x in (a, b)
    ]
    there, back = compare_rooms(*rooms), compare_rooms(*rooms[::-1])
    assert there.room_db is not None
    assert back.room_db is not None
    for out, home in zip(there.room_db, back.room_db, strict=True):
        assert out.middle == pytest.approx(-home.middle, abs=1e-9)
        assert out.low == pytest.approx(-home.high, abs=1e-9)


def test_from_a_dull_room_to_a_live_one_it_gets_louder_and_rings_longer() -> None:
    live = Room(length_m=4.8, width_m=3.9, height_m=2.5, surfaces=("parquet", "plaster"))
    change = compare_rooms(DULL, predict_room(live, furniture=()))
    assert change.treble_db is not None
    assert change.treble_db.low > 0
    assert change.room_brightness_db is not None
    assert "louder" in change.sentence
    assert "longer" in change.sentence
    assert change.cautions


def test_the_time_heard_narrows_or_contradicts() -> None:
    plain = compare_rooms(HALL, HOME)
    fits = compare_rooms(HALL, HOME, heard_t60_s=1.7)
    wrong = compare_rooms(HALL, HOME, heard_t60_s=0.3)
    assert plain.t60_middle_s is not None
    assert fits.t60_middle_s is not None
    assert fits.t60_middle_s.high - fits.t60_middle_s.low < plain.t60_middle_s.high - plain.t60_middle_s.low
    assert fits.heard is not None
    assert fits.heard.agrees
    assert wrong.heard is not None
    assert wrong.heard.agrees is False
    assert "shorter than calculated" in wrong.heard.text
    assert wrong.t60_middle_s == plain.t60_middle_s


def test_the_wall_behind_strengthens_the_bass() -> None:
    at_wall = predict_room(HOME, position=Position(wall_distance_m=0.02, in_corner=True))
    free = predict_room(HOME, position=Position(wall_distance_m=2.0, in_corner=False))
    assert at_wall.wall_bass_db is not None
    assert free.wall_bass_db is not None
    assert at_wall.wall_bass_db.middle > free.wall_bass_db.middle + 2.0


@pytest.mark.parametrize("kind", ["upright", "grand"])
def test_a_closed_lid_takes_treble_away(kind: str) -> None:
    closed = predict_room(HOME, lid="closed", kind=kind)  # type: ignore[arg-type]
    opened = predict_room(HOME, lid="open", kind=kind)  # type: ignore[arg-type]
    change = compare_rooms(opened, closed)
    assert change.treble_db is not None
    assert change.bass_db is not None
    assert change.treble_db.middle < -1.0
    assert change.bass_db.middle > change.treble_db.middle


@pytest.mark.parametrize(
    ("settings_", "message"),
    [
        ({"people": 500}, "people: got 500"),
        ({"people": -1}, "people: got -1"),
        ({"lid": "ajar"}, "lid: got 'ajar'"),
        ({"kind": "organ"}, "kind: got 'organ'"),
        ({"furniture": ["sofaa"]}, "Did you mean sofa"),
        ({"furniture": {"sofa": -2}}, "furniture sofa: got -2"),
        ({"position": Position(wall_distance_m=40.0)}, "wall_distance_m: got 40"),
        ({"air": Air(humidity_percent=140.0)}, "humidity_percent: got 140"),
        ({"air": Air(temperature_c=70.0)}, "Fahrenheit"),
    ],
)
def test_what_cannot_be_is_one_clear_line(settings_: dict[str, object], message: str) -> None:
    with pytest.raises(BadInput, match=message) as caught:
        predict_room(HOME, **settings_)  # type: ignore[arg-type]
    assert "\n" not in str(caught.value)


def test_impossible_rooms_and_times() -> None:
    with pytest.raises(BadInput, match=r"room: got 1 x 0.9 x 2.5 m, need at least 1.6 x 1.2 m"):
        predict_room(Room(length_m=1.0, width_m=0.9, height_m=2.5))
    with pytest.raises(BadInput, match="heard_t60_s: got -1"):
        compare_rooms(HALL, HOME, heard_t60_s=-1.0)
    with pytest.raises(BadInput, match="calculated for grand"):
        compare_rooms(predict_room(HALL), predict_room(HOME, kind="grand"))
    assert compare_rooms(HALL, HOME, kind="grand").home.kind == "grand"
    assert compare_rooms(HALL, HOME, kind="grand").ear_db != compare_rooms(HALL, HOME).ear_db
    with pytest.raises(BadInput, match="volume_m3: got 0"):
        sabine_t60(0.0, 10.0)
    with pytest.raises(BadInput, match="absorption: got a negative value"):
        sabine_t60(50.0, -1.0)
    with pytest.raises(BadInput, match="less than 85"):
        eyring_t60(50.0, 90.0, 85.0)
    with pytest.raises(BadInput, match="humidity_percent"):
        air_absorption(1000.0, temperature_c=20.0, humidity_percent=-1.0)


def test_same_seed_same_room_and_the_order_of_surfaces_does_not_matter() -> None:
    turned = Room(length_m=4.8, width_m=3.9, height_m=2.5, surfaces=HOME.surfaces[::-1])
    assert predict_room(HOME).ear_db == predict_room(turned).ear_db
    other = predict_room(HOME, seed=1)
    assert other.ear_db != predict_room(HOME).ear_db


def test_the_table_names_a_source_and_its_words_mean_one_thing() -> None:
    table = load_surfaces()
    rows = [*table.surfaces.values(), *table.pieces.values()]
    assert all(row.source in SOURCES for row in rows)
    for things in (table.surfaces, table.pieces):
        words = [w for row in things.values() for w in (row.name, *row.words)]
        assert len(words) == len(set(words))
    assert {s.part for s in table.surfaces.values() if s.usual} == {"floor", "walls", "ceiling"}


def test_surfaces_of_the_shipped_rooms_are_all_in_the_table() -> None:
    from pianolab.checklist import load_scenario
    from pianolab.model import load_profiles

    rooms = [*load_scenario().rooms.values(), *(p.home_room for p in load_profiles().values())]
    words = {w for room in rooms for w in room.surfaces}
    assert words
    assert all(load_surfaces().surface(w) is not None for w in words)


def test_the_sentence_for_the_buyer() -> None:
    treble, same, wide = Span(-5.6, -4.0, -2.5), Span(-0.8, 0.1, 0.9), Span(-3.0, 0.2, 3.0)
    text = change_words(same, same, treble, Span(-0.4, -0.3, -0.2))
    assert text.startswith(
        "At home it will be about 4 dB quieter above 2 kHz (2.5 to 5.6), about the same in"
    )
    assert text.endswith("It will ring about 0.3 s less.")
    assert "perhaps a little louder or quieter above 2 kHz (-3 to +3 dB)" in change_words(
        wide, wide, wide, None
    )
    assert "about as loud as in the showroom" in change_words(same, same, same, None)
    loud = Span(1.5, 3.0, 4.4)
    assert "about 3 dB louder in all registers (1.5 to 4.4)" in change_words(loud, loud, loud, None)


def band_level_db(sound: np.ndarray, rate_hz: int, f_hz: float) -> float:
    power = np.abs(np.fft.rfft(sound)) ** 2
    f = np.fft.rfftfreq(len(sound), 1.0 / rate_hz)
    return float(10.0 * np.log10(np.mean(power[np.abs(np.log2(np.maximum(f, 1.0) / f_hz)) < 0.25])))


@pytest.mark.parametrize(("here", "there"), [(HALL, HOME), (DULL, HALL)])
def test_the_preview_changes_each_octave_as_calculated(here: Room, there: Room) -> None:
    rate_hz = 32000
    noise = 0.02 * np.random.default_rng(3).standard_normal(6 * rate_hz)
    change = compare_rooms(here, there)
    assert change.room_db is not None
    tries = [listening_preview(noise, rate_hz, change, seed=seed) for seed in range(4)]
    assert tries[0].dtype == np.float32
    steady = slice(3 * rate_hz, 6 * rate_hz)
    for f, span in zip(NOMINAL_HZ, change.room_db, strict=True):
        levels = [band_level_db(heard[steady], rate_hz, f) for heard in tries]
        moved = np.mean(levels) - band_level_db(noise[steady], rate_hz, f)
        assert moved == pytest.approx(span.middle, abs=0.8), f
    assert "approximation" in change.preview_note.lower()


def decay_time_s(response: np.ndarray, rate_hz: int, f_hz: float, *, start: int) -> float:
    """Reverberation time of one octave by backward integration from ``start``, -5 to -25 dB."""
    spectrum = np.fft.rfft(response)
    f = np.fft.rfftfreq(len(response), 1.0 / rate_hz)
    octave = np.fft.irfft(spectrum * (np.abs(np.log2(np.maximum(f, 1.0) / f_hz)) < 0.5), len(response))[
        start:-start
    ]
    left = np.cumsum(octave[::-1] ** 2)[::-1]
    level_db = 10.0 * np.log10(np.maximum(left / left[0], 1e-12))
    part = (level_db < -5.0) & (level_db > -25.0)
    return float(-60.0 / np.polyfit(np.flatnonzero(part) / rate_hz, level_db[part], 1)[0])


@pytest.mark.parametrize("f_hz", [500, 1000, 2000])
def test_the_previews_echo_dies_as_home_does(f_hz: int) -> None:
    rate_hz = 16000
    click = np.zeros(rate_hz)
    click[rate_hz // 2] = 0.1
    change = compare_rooms(DULL, HALL)
    times = {r: r.t60_s[NOMINAL_HZ.index(f_hz)].middle for r in (change.showroom, change.home) if r.t60_s}
    heard = listening_preview(click, rate_hz, change)
    found = decay_time_s(heard.astype(float), rate_hz, f_hz, start=rate_hz // 2)
    assert found == pytest.approx(times[change.home], rel=0.1)
    assert found != pytest.approx(times[change.showroom], rel=0.5)


def test_the_preview_rings_on_where_home_rings_longer_and_nothing_comes_before_the_blow() -> None:
    rate_hz = 16000
    click = np.zeros((rate_hz // 2, 2))
    click[4000] = 0.4
    longer = compare_rooms(HOME, HALL)
    heard = listening_preview(click, rate_hz, longer)
    assert heard.shape[1] == 2
    assert len(heard) > len(click)
    assert np.max(np.abs(heard[:3990])) < 1e-4
    assert np.sqrt(np.mean(heard[4000 + rate_hz // 4 :] ** 2)) > 1e-6
    shorter = listening_preview(click, rate_hz, compare_rooms(HALL, HOME))
    assert len(shorter) == len(click)


def test_the_preview_refuses_what_it_cannot_do() -> None:
    change = compare_rooms(HALL, HOME)
    with pytest.raises(BadInput, match="change: got home: length"):
        listening_preview(np.ones(100), 16000, compare_rooms(HALL, Room()))
    with pytest.raises(BadInput, match="samples"):
        listening_preview(np.zeros((0,)), 16000, change)
    with pytest.raises(BadInput, match="rate_hz: got 100"):
        listening_preview(np.ones(100), 100, change)


def test_results_show_themselves() -> None:
    change = compare_rooms(HALL, HOME, heard_t60_s=1.5)
    assert change.sentence in repr(change)
    frame = change.to_frame().set_index("what changes")
    assert frame.loc["reverberation heard in the recording", "middle"] == 1.5
    assert change.treble_db is not None
    assert frame.loc["treble at the player's ear", "high"] == change.treble_db.high
    assert "<table" in change._repr_html_()
    assert "rings for" in repr(predict_room(HOME))
    assert len(predict_room(HOME).to_frame()) > 30


@pytest.mark.parametrize(
    ("length_m", "width_m", "height_m", "holds"),
    [
        (1.7, 1.3, 1.7, True),
        (1.3, 1.7, 1.7, True),
        (1.5, 1.3, 1.7, False),
        (1.7, 1.1, 1.7, False),
        (1.7, 1.3, 1.5, False),
    ],
)
def test_a_room_holds_a_piano_and_its_player_whichever_side_is_called_its_length(
    length_m: float, width_m: float, height_m: float, holds: bool
) -> None:
    room = Room(length_m=length_m, width_m=width_m, height_m=height_m)
    if holds:
        assert predict_room(room).t60_s is not None
    else:
        with pytest.raises(BadInput, match=r"need at least 1\.6 x 1\.2 m and 1\.6 m high"):
            predict_room(room)
