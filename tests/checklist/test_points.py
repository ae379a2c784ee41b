"""The points read as a technician would: order, safety before each reach, what a piano can lack, facts of the trade.

Facts named here are from memory and common practice unless a source stands beside them.
"""

import re
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

import pytest

from pianolab.checklist import load_checklist
from pianolab.checklist.points import Point
from pianolab.checklist.stations import load_openings
from pianolab.errors import BadInput
from pianolab.model import Piano
from pianolab.shipped import shipped

CHECKLIST = load_checklist()
ORDER = [p.id for p in CHECKLIST]
UPRIGHT = Piano(name="u", kind="upright", year=1990, key_tops="plastic")
GRAND = Piano(name="g", kind="grand", year=1990, key_tops="plastic")
OLD_GRAND = Piano(name="o", kind="grand", year=1890)
AT_HOME = ("access-home", "home-floor", "home-humidity", "tuning-held")
"""Settled at home or by telephone, so no part of the visit's time."""


def first_of(ids: Iterable[str]) -> int:
    return min(ORDER.index(i) for i in ids)


# ---- order and time ------------------------------------------------------------------------------------------


def test_what_can_fall_on_somebody_is_looked_at_before_anybody_goes_below_or_lifts() -> None:
    below = [p.id for p in CHECKLIST if reaches_below(p)]
    assert "frame-beams" in below
    assert "board-cracks" in below
    for safe in ("case-legs", "pedal-lyre"):
        assert ORDER.index(safe) < first_of(below), safe
    lid_of_a_grand = [
        p.id for p in CHECKLIST.for_piano(GRAND) if p.opens == "panels" and p.area != "Papers and story"
    ]
    assert ORDER.index("case-prop") < first_of(lid_of_a_grand)


def test_the_scale_is_recorded_before_anybody_plays() -> None:
    played = [p.id for p in CHECKLIST if re.search(r"\b(play|strike|press)\b", p.how.lower())]
    assert len(played) > 20
    assert ORDER.index("each-recorded") < first_of(set(played) - {"each-recorded"})


@pytest.mark.parametrize("piano", [UPRIGHT, GRAND], ids=lambda p: p.kind)
def test_all_stops_that_a_layman_can_look_for_fit_into_a_third_of_an_hour(piano: Piano) -> None:
    stops = [p for p in CHECKLIST.for_piano(piano) if p.vetoes and p.access != "technician only"]
    at_the_visit = [p for p in stops if p.id not in AT_HOME]
    assert len(at_the_visit) >= 15
    assert sum(p.minutes for p in at_the_visit) <= 20


@pytest.mark.parametrize("piano", [UPRIGHT, GRAND], ids=lambda p: p.kind)
def test_half_of_these_stops_stand_in_the_short_walk(piano: Piano) -> None:
    stops = [p for p in CHECKLIST.for_piano(piano) if p.vetoes and p.access != "technician only"]
    assert sum(p.short_walk for p in stops) >= 0.4 * len(stops)


# ---- safety --------------------------------------------------------------------------------------------------


def cautions_at(point: Point) -> str:
    """All that is said of safety at a point, with that of what is opened for it, at a grand."""
    opening = load_openings().get(point.opens)
    return " ".join((*point.cautions, *(opening.cautions("grand") if opening else ()), point.how)).lower()


def reaches_below(point: Point) -> bool:
    text = f"{point.where} {point.position}".lower()
    return bool(re.search(r"underside|underneath|below a grand|lying", text)) and "technician" not in text


def lacks_caution(points: Iterable[Point], reach: str, *words: str) -> list[str]:
    """Points whose text names a reach, and whose cautions have none of the words."""
    return [
        p.id
        for p in points
        if re.search(reach, f"{p.title} {p.how} {p.where} {' '.join(p.anchors)}".lower())
        and not any(word in cautions_at(p) for word in words)
    ]


def test_nobody_goes_below_a_grand_without_a_word_about_its_legs() -> None:
    assert not [p.id for p in CHECKLIST if reaches_below(p) and "legs" not in cautions_at(p)]
    bare = replace(CHECKLIST["frame-beams"], cautions=())
    assert reaches_below(bare)
    assert "legs" not in cautions_at(bare)


def test_nests_mould_and_droppings_are_met_with_a_mask() -> None:
    dusty = r"\bnests?\b|larvae|droppings|mould \b"
    assert not lacks_caution(CHECKLIST, dusty, "mask")
    assert lacks_caution([replace(CHECKLIST["case-inside"], cautions=(), opens="")], dusty, "mask")


def test_a_grand_is_never_rolled_for_a_look() -> None:
    """A leg may give way when it is rolled; its board is seen from below."""
    for point in CHECKLIST.for_piano(GRAND):
        if point.opens == "wall":
            assert "grand is not rolled" in cautions_at(point), point.id


def test_lead_and_ivory_defer_to_local_rules() -> None:
    assert "local rules" in cautions_at(CHECKLIST["keys-lead"])
    ivory = CHECKLIST["papers-ivory"]
    assert "authority" in ivory.how
    assert [(v.on_answer, "authority" in v.confirm_by) for v in ivory.vetoes] == [(False, True)]


def test_looking_at_strings_and_plate_keeps_the_face_away() -> None:
    for point_id in (
        "plate-cracks",
        "plate-cracks-pins",
        "plate-cracks-edge",
        "plate-agraffes",
        "plate-mended",
        "bridge-treble",
        "bridge-tenor",
        "bridge-bass",
        "bridge-pins",
        "strings-rust",
        "strings-gauge",
    ):
        assert "face" in cautions_at(CHECKLIST[point_id]), point_id


def test_nobody_but_the_technician_turns_a_pin_or_a_bolt() -> None:
    for point in CHECKLIST:
        if point.area == "Pin block and tuning pins" and point.opens and point.id != "pinblock-cracks":
            assert "never turn" in cautions_at(point), point.id
    assert "touch no bolt" in cautions_at(CHECKLIST["plate-bolts"])


# ---- what a piano can be without -----------------------------------------------------------------------------


def test_no_piano_is_without_what_would_stop_the_purchase() -> None:
    """Ivory aside: a piano of which nobody knows the key tops may have none."""
    stops = [
        p.id for p in CHECKLIST if p.vetoes and any(p.can_be_missing(x) for x in (UPRIGHT, GRAND, OLD_GRAND))
    ]
    assert stops == ["papers-ivory"]


@pytest.mark.parametrize(
    ("point", "upright", "grand", "old_grand"),
    [
        ("plate-cracks", False, False, False),
        ("each-recorded", False, False, False),
        ("plate-agraffes", True, True, True),
        ("plate-capo", False, True, True),
        ("plate-pressure-bar", True, False, False),
        ("action-springs-loops", True, False, False),
        ("action-repetition-springs", False, False, True),
        ("action-knuckles", False, False, True),
        ("case-under-lid", True, False, False),
        ("pedal-middle", True, True, True),
    ],
)
def test_has_none_is_possible_only_where_such_pianos_are(
    point: str, upright: bool, grand: bool, old_grand: bool
) -> None:
    asked = CHECKLIST[point]
    assert [asked.can_be_missing(x) for x in (UPRIGHT, GRAND, OLD_GRAND)] == [upright, grand, old_grand]


def test_a_misspelt_kind_of_piano_that_has_none_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "own.toml"
    path.write_text('[[point]]\nid = "keys-chips"\nmay_lack = ["uprihgt"]\n')
    with pytest.raises(
        BadInput,
        match=r"own.toml: keys-chips: may_lack: got 'uprihgt', need one of any, .*Did you mean upright\?",
    ):
        load_checklist(path)
    path.write_text('[[point]]\nid = "keys-chips"\nmay_lack = ["any"]\n')
    assert load_checklist(path)["keys-chips"].can_be_missing(GRAND)
    path.write_text('[[point]]\nid = "keys-chips"\napplies_to = ["any"]\n')
    with pytest.raises(BadInput, match="applies_to: got 'any'"):
        load_checklist(path)


# ---- facts ---------------------------------------------------------------------------------------------------


def test_water_under_the_lid_is_no_matter_of_looks() -> None:
    assert CHECKLIST["case-lid-water"].nature == "structural"
    assert CHECKLIST["case-lid-water"].aspects["structure"] > 0
    assert CHECKLIST["case-lid-top"].nature == "cosmetic"


def test_brittle_parts_are_replaced_and_not_eased() -> None:
    assert [r.job for r in CHECKLIST["type-plastic"].repairs] == ["action parts"]


def test_a_silent_system_is_a_fact_and_only_a_bad_one_a_fault() -> None:
    there = CHECKLIST["type-added"]
    assert (there.good_answer, dict(there.aspects), there.repairs, there.nature) == (
        None,
        {},
        (),
        "information",
    )
    assert CHECKLIST["type-added-works"].repairs


def test_plain_and_wound_strings_have_ages_of_their_own() -> None:
    plain, wound = CHECKLIST["strings-age"], CHECKLIST["strings-age-bass"]
    assert plain.usual is not None
    assert wound.usual is not None
    assert wound.usual[1] < plain.usual[1]
    assert not wound.aspects


def test_a_covered_pin_block_is_not_cleared_by_a_look() -> None:
    block = CHECKLIST["pinblock-cracks"]
    assert "not checked" in block.how
    assert "as far as you can see" not in " ".join(block.anchors)


def test_makes_sizes_weights_and_promises_are_facts_without_a_score() -> None:
    for point_id in ("papers-make", "papers-size", "papers-weight", "papers-warranty"):
        point = CHECKLIST[point_id]
        assert (point.nature, dict(point.aspects), point.vetoes, point.repairs) == (
            "information",
            {},
            (),
            (),
        ), point_id


def test_every_mark_is_one_word_for_one_thing() -> None:
    marks = [p.mark for p in CHECKLIST if p.mark]
    assert len(marks) == len(set(marks)) >= 10


def test_every_job_of_a_point_has_a_price_with_its_three_amounts_in_order() -> None:
    import tomllib

    jobs = tomllib.loads(shipped("datasets/prices.toml").read_text(encoding="utf-8"))["jobs"]
    for job in {r.job for p in CHECKLIST for r in p.repairs}:
        assert 0 < jobs[job]["low"] < jobs[job]["usual"] < jobs[job]["high"], job
        assert set(jobs[job].get("includes", [])) <= set(jobs)
