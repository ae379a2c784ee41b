"""Charts of changes: between two visits, from one room to another, with the left pedal."""

from dataclasses import replace

import pytest

from pianolab.errors import BadInput
from pianolab.figures import draw_drift, draw_spans, plan_drift, plan_left_pedal, plan_room_change
from pianolab.model import Room
from pianolab.recordings.holding import Holding, KeyHolding
from pianolab.recordings.left_pedal import LeftPedal, RegisterChange
from pianolab.rooms import compare_rooms


def key(
    n: int, own: float | None, *, chance: float | None = 0.01, moved: str = "", why: str = ""
) -> KeyHolding:
    change = None if own is None else own - 2.0
    return KeyHolding(
        key=n,
        note=f"key {n}",
        strings=3,
        change_cents=change,
        drift_cents=-2.0,
        own_cents=own,
        own_sd=0.1,
        chance=chance,
        moved=moved,
        why=why,
    )


@pytest.fixture
def holding() -> Holding:
    keys = (
        *(key(n, 0.1 * (-1) ** n) for n in range(40, 60)),
        key(60, -6.5, chance=0.99, moved="one string"),
        key(61, None, chance=None, why="drowned in noise"),
    )
    return Holding(
        keys=keys,
        state="compared",
        days=30.0,
        drift_cents=-2.0,
        drift_lowest_cents=-2.2,
        drift_highest_cents=-1.8,
        step_key=None,
        repeat_cents=0.1,
        least_found_cents=1.2,
    )


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_a_key_that_went_its_own_way_stands_out(holding, theme) -> None:
    plan = plan_drift(holding, name="Blue upright")
    kinds = {p.key: p.kind for p in plan.series[0].points}
    assert kinds[60] == "moved"
    assert set(kinds.values()) == {"measured", "moved"}
    assert [(g.key, g.reason) for g in plan.series[0].gaps] == [(61, "drowned in noise")]
    assert "G#5 (one string)" in plan.alt
    assert "All keys together moved −2.0 cents" in plan.alt
    hovers = [h for t in draw_drift(plan, theme).data if t.hovertext for h in t.hovertext]
    assert any("−8.5 cents" in h and "99 in 100" in h for h in hovers)


def test_without_keys_there_is_no_chart(holding) -> None:
    with pytest.raises(BadInput, match="holding: got another piano"):
        plan_drift(replace(holding, keys=(), state="another piano"), name="x")


def test_rooms_octave_by_octave() -> None:
    known = Room(length_m=5.0, width_m=4.0, height_m=2.6)
    change = compare_rooms(replace(known, length_m=9.0), known)
    plan = plan_room_change(change, name="Blue upright")
    assert plan.alt == change.sentence
    if change.ear_db is not None:
        assert [s.range_db[1] for s in plan.spans if s.range_db] == [s.middle for s in change.ear_db]
    assert draw_spans(plan).data


def test_an_unknown_room_says_why_in_every_octave() -> None:
    plan = plan_room_change(compare_rooms(Room(), Room()))
    assert all(s.range_db is None and s.why for s in plan.spans)
    assert any("not known" in (a.text or "") for a in draw_spans(plan).layout.annotations)


def test_the_pedal_by_register() -> None:
    registers = (
        RegisterChange(
            register="bass",
            keys=12,
            level_db=-3.0,
            level_sd=0.5,
            brightness_db=-2.0,
            brightness_sd=0.4,
            colour_lowest_db=-1.5,
            colour_highest_db=-0.5,
        ),
        RegisterChange(register="top", keys=2, why="fewer than four keys in both"),
    )
    plan = plan_left_pedal(
        LeftPedal(kind="grand", registers=registers, one_gain=True, statements=("It works.",))
    )
    assert [s.range_db for s in plan.spans] == [(-3.5, -3.0, -2.5), (-1.5, -1.0, -0.5), None, None]
    drawn = draw_spans(plan, "dark")
    assert sum("fewer than" in (a.text or "") for a in drawn.layout.annotations) == 2
    assert {t.name for t in drawn.data if t.showlegend is not False} == {"level", "colour beyond softness"}
