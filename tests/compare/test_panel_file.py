"""The panel's files hold what they promise: known points, possible values, every field, and the spread of cases."""

from __future__ import annotations

import tomllib
from collections import Counter
from typing import Any

import pytest

from pianolab.checklist import Checklist, load_checklist
from pianolab.errors import BadInput
from tests.compare.panel_cases import build_case, build_pair, load_cases, load_pairs
from tests.compare.panel_entries import PANEL
from tests.compare.panel_expected import VERDICTS

OPEN = PANEL / "open.toml"


@pytest.fixture(scope="module")
def checklist() -> Checklist:
    return load_checklist()


@pytest.fixture
def raw() -> dict[str, Any]:
    """A made-up case that passes; each twin spoils one thing of it."""
    text = """
    id = "made-up"
    story = "A room, and nothing else."
    looked = { scope = "technician", grade = 5, by = "technician" }
    buyer = { kind = "teacher", budget = 2000, home = "ground floor" }
    findings = [{ points = ["hammers-grooves"], grade = 3, by = "technician" }]
    sound = { pitch_cents = -5, unisons_wide = [4, 60], decay = "long", quality = "good" }
    comparables = [{ price = 1000, age_years = 35, condition = "good", seller = "private" }]
    [piano]
    kind = "upright"
    year = 1990
    asking_price = 900
    currency = "EUR"
    key_tops = "plastic"
    middle_pedal = "none"
    seller = "private"
    warranty_years = 0
    storage = "a room"
    [expect]
    verdict = "buy"
    tolerable = ["buy if"]
    foolish = ["walk away"]
    must_name = ["hammers-grooves|sound.pitch_cents"]
    next = ["negotiate"]
    price = { open = [500, 850], aim = [600, 900], walk = [800, 1000] }
    needed = ["hammer filing"]
    why = "It is a twin."
    """
    return tomllib.loads(text)


def test_open_panel_reads() -> None:
    assert len(load_cases(OPEN)) == 40


def test_every_verdict_is_there_and_a_third_is_plainly_to_buy() -> None:
    said = Counter(case.expected.verdict for case in load_cases(OPEN).values() if case.expected)
    assert set(said) == set(VERDICTS)
    assert 12 <= said["buy"] <= 16


def test_each_structural_part_fails_somewhere() -> None:
    named = {
        point
        for case in load_cases(OPEN).values()
        if case.expected and case.expected.verdict in ("walk away", "find out first")
        for group in case.expected.must_name
        for point in group
    }
    parts = {
        "pins-oversize",
        "sound.slipped",
        "pinblock-cracks",
        "board-ribs",
        "bridge-treble",
        "plate-mended",
        "papers-flood",
        "hammers-moth",
        "case-pests",
        "frame-posts",
        "frame-beams",
        "bridge-bearing",
        "touch-repetition",
    }
    assert parts <= named


def test_pairs_read_and_differ() -> None:
    pairs = load_pairs(PANEL / "pairs.toml", OPEN)
    assert len(pairs) == 20
    for pair in pairs.values():
        assert _told(pair.better) != _told(pair.worse), pair.id


def _told(case: Any) -> tuple[Any, ...]:
    findings = tuple(
        (f.point, f.state, f.grade, f.answer, f.count, f.reading, f.examiner) for f in case.findings
    )
    return findings, case.sound, case.piano.asking_price, case.piano.year, case.warranty_years


def test_a_scope_supplies_all_but_what_is_listed(raw: dict[str, Any], checklist: Checklist) -> None:
    case = build_case(raw, checklist)
    applying = {p.id for p in checklist if p.applies(case.piano) and p.aspects}
    values = {f.point: f for f in case.findings}
    assert applying - set(values) == {"tuning-held"}
    assert values["hammers-grooves"].grade == 3
    assert values["papers-age"].reading == 36
    assert values["tuning-pitch"].reading == -5
    assert len(values) == len(case.findings)


def test_a_change_takes_the_place_of_the_finding_at_its_point(
    raw: dict[str, Any], checklist: Checklist
) -> None:
    change = {
        "id": "twin",
        "base": "made-up",
        "order": "above",
        "why": "A deeper groove is no better.",
        "better": {"findings": []},
        "worse": {"findings": [{"points": ["hammers-grooves"], "grade": 1, "by": "technician"}]},
    }
    pair = build_pair(change, {"made-up": raw}, checklist)
    grades = [
        [f.grade for f in case.findings if f.point == "hammers-grooves"] for case in (pair.better, pair.worse)
    ]
    assert grades == [[3], [1]]
    with pytest.raises(BadInput, match="same change twice"):
        build_pair({**change, "worse": change["better"]}, {"made-up": raw}, checklist)
    with pytest.raises(BadInput, match="base"):
        build_pair({**change, "base": "nobody's"}, {"made-up": raw}, checklist)


SPOILT = {
    "unknown point": (
        "findings",
        [{"points": ["hammer-grooves"], "grade": 3, "by": "layman"}],
        "hammers-grooves",
    ),
    "grade where yes or no is asked": (
        "findings",
        [{"points": ["plate-cracks"], "grade": 3, "by": "layman"}],
        "got a grade",
    ),
    "grade that there is not": ("findings", [{"points": ["pins-look"], "grade": 6, "by": "layman"}], "grade"),
    "reading that can't be": (
        "findings",
        [{"points": ["pins-torque"], "reading": 90, "by": "layman"}],
        "N·m",
    ),
    "point of a grand": (
        "findings",
        [{"points": ["frame-beams"], "grade": 3, "by": "layman"}],
        "this piano has",
    ),
    "unseen without a reason": (
        "findings",
        [{"points": ["pins-look"], "state": "not allowed", "by": "layman"}],
        "without a reason",
    ),
    "unknown state": (
        "findings",
        [{"points": ["pins-look"], "state": "hidden", "reason": "x", "by": "layman"}],
        "state",
    ),
    "nobody's finding": ("findings", [{"points": ["pins-look"], "grade": 3, "by": "the cat"}], "by"),
    "missing field": ("piano", {"kind": "upright"}, "no year"),
    "unknown buyer": ("buyer", {"kind": "ghost", "budget": 1, "home": "none"}, "kind of buyer"),
    "scope of bad grades": ("looked", {"scope": "buyer", "grade": 3, "by": "layman"}, "what is sound"),
    "more wide unisons than there are": (
        "sound",
        {"pitch_cents": 0, "unisons_wide": [9, 8], "decay": "long", "quality": "good"},
        "unisons",
    ),
    "a price without comparables": ("comparables", [], "comparables"),
}


@pytest.mark.parametrize("name", SPOILT)
def test_a_spoilt_case_is_refused(name: str, raw: dict[str, Any], checklist: Checklist) -> None:
    field, value, said = SPOILT[name]
    build_case(raw, checklist)
    with pytest.raises(BadInput, match=said):
        build_case({**raw, field: value}, checklist)


SPOILT_OPINION = {
    "tolerable and foolish at once": ({"tolerable": ["walk away"]}, "each verdict once"),
    "nothing foolish": ({"foolish": []}, "tests nothing"),
    "unknown verdict": ({"verdict": "perhaps"}, "verdicts among"),
    "a reason that is not in the case": ({"must_name": ["pins-look"]}, "must_name"),
    "a step nobody knows": ({"next": ["pray"]}, "next"),
    "a job without a price": ({"needed": ["gilding"]}, "needed"),
    "aim above walk": ({"price": {"open": [1, 2], "aim": [3, 9], "walk": [3, 4]}}, "aim not above walk"),
    "half a price": ({"price": {"open": [1, 2]}}, "open, aim and walk"),
    "a case to buy without a price": ({"price": {"none": ["technician"]}}, "to buy"),
    "missing what nobody knows": ({"price": {"none": ["luck"]}, "verdict": "find out first"}, "one of"),
}


@pytest.mark.parametrize("name", SPOILT_OPINION)
def test_a_spoilt_opinion_is_refused(name: str, raw: dict[str, Any], checklist: Checklist) -> None:
    change, said = SPOILT_OPINION[name]
    with pytest.raises(BadInput, match=said):
        build_case({**raw, "expect": {**raw["expect"], **change}}, checklist)
