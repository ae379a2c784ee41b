"""Remaining life of what wears out."""

from types import SimpleNamespace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pianolab.checklist import load_checklist
from pianolab.errors import BadInput
from pianolab.model import Buyer, Finding, Piano
from pianolab.sources import SOURCES
from pianolab.upkeep import life as life_module
from pianolab.upkeep.life import Life, remaining_life

CHECKLIST = load_checklist()
OLD = Piano(name="A", year=1978)
BUYER = Buyer(name="B", years_of_use=10, level="intermediate")


def grade(point: str, value: int) -> Finding:
    return Finding(visit_id="v", point=point, grade=value)


def hammers(grooves: int, felt: int) -> list[Finding]:
    return [grade("hammers-grooves", grooves), grade("hammers-felt", felt)]


def life_of(
    findings: list[Finding], *, piano: Piano = OLD, profile: Buyer | None = BUYER, **more: object
) -> Life:
    return remaining_life(piano, findings, profile=profile, year=2026, checklist=CHECKLIST, **more)  # type: ignore[arg-type]


def test_what_was_seen_decides_and_age_is_no_fault() -> None:
    young, old = (life_of(hammers(5, 5), piano=Piano(name="A", year=y)).part("hammers") for y in (2020, 1930))
    assert young.years is not None
    assert old.years is not None
    assert old.years[0] == young.years[0] > 5
    assert old.lasts(10) == young.lasts(10) == "yes"
    assert "grooves" in old.basis or "felt" in old.basis


@settings(max_examples=30, deadline=None)
@given(st.integers(1, 5), st.integers(1, 5), st.integers(0, 4), st.one_of(st.none(), st.integers(1900, 2026)))
def test_a_worse_finding_never_prolongs_a_life(grooves: int, felt: int, less: int, year: int | None) -> None:
    piano = Piano(name="A", year=year)
    better = life_of(hammers(grooves, felt), piano=piano).part("hammers").years
    worse = life_of(hammers(max(1, grooves - less), felt), piano=piano).part("hammers").years
    assert better is not None
    assert worse is not None
    assert worse[0] <= better[0]
    assert worse[1] <= better[1] + 1e-9
    assert 0.0 <= worse[0] <= worse[1]


def test_age_and_air_shorten_what_tires_without_showing_it() -> None:
    held = [Finding(visit_id="v", point="tuning-held", answer=True)]
    young, old = (life_of(held, piano=Piano(name="A", year=y)).part("pins") for y in (2018, 1905))
    assert young.years is not None
    assert old.years is not None
    assert 0 < old.years[0] < young.years[0]
    assert old.years[1] < young.years[1]
    dry, damp = (
        life_of(held, piano=Piano(name="A", year=2018, storage_kind=kind)).part("pins").years
        for kind in ("lived-in room", "damp")
    )
    assert dry is not None
    assert damp is not None
    assert damp[0] < dry[0]
    assert damp[1] < dry[1]
    barn = life_of([*held, grade("papers-standing", 1)], piano=Piano(name="A", year=2018)).part("pins").years
    assert barn is not None
    assert barn[1] < dry[1]


def test_what_was_not_looked_at_leaves_the_low_end_open() -> None:
    both = life_of(hammers(5, 5)).part("hammers")
    one = life_of([grade("hammers-grooves", 5)]).part("hammers")
    assert both.years is not None
    assert one.years is not None
    assert both.years[0] > 0
    assert one.years[0] == 0.0
    assert "felt that is left not looked at" in one.basis


def test_neither_age_nor_state_is_unknown_with_its_reason() -> None:
    life = life_of([], piano=Piano(name="A"))
    assert all(p.years is None and p.why_not.kind == "life.nothing known" for p in life.parts)
    assert all(p.lasts(1) == "unknown" for p in life.parts)
    assert "nobody can say" in life.sentences[0]
    assert life.to_frame()["years from"].isna().all()


def test_age_alone_says_perhaps_and_beyond_the_usual_life_nothing() -> None:
    life = life_of([], piano=Piano(name="A", year=2010))
    assert {p.lasts(5) for p in life.parts} == {"perhaps"}
    assert {p.lasts(80) for p in life.parts} == {"perhaps"}
    assert all(p.by_age and p.years is not None and p.years[0] == 0.0 for p in life.parts)
    ancient = life_of([], piano=Piano(name="A", year=1890))
    assert all(p.years is None and p.why_not.kind == "life.older than usual" for p in ancient.parts)


def test_a_renewed_part_counts_from_its_renewal() -> None:
    ancient = Piano(name="A", year=1890)
    life = life_of([], piano=ancient, replaced={"hammers": 2016})
    assert life.part("hammers").years is not None
    assert "renewed in 2016" in life.part("hammers").basis
    assert life.part("strings").years is None
    read = life_of([Finding(visit_id="v", point="strings-age", reading=20)], piano=ancient)
    assert read.part("strings").years is not None
    assert "said to be 20 years old" in read.part("strings").basis
    assert read.part("hammers").years is None


def test_pins_are_told_by_any_of_two_points() -> None:
    held = life_of([Finding(visit_id="v", point="tuning-held", answer=True)]).part("pins")
    slipping = life_of([Finding(visit_id="v", point="tuning-held", answer=False)]).part("pins")
    assert held.lasts(10) == "yes"
    assert slipping.lasts(10) == "no"
    assert slipping.years is not None
    assert slipping.years[1] < 5


def test_much_playing_wears_hammers_and_not_pins() -> None:
    seen = [*hammers(4, 4), Finding(visit_id="v", point="tuning-held", answer=True)]
    little, much = (life_of(seen, profile=Buyer(name="B", level=level)) for level in ("beginner", "advanced"))
    assert little.part("hammers").years is not None
    assert much.part("hammers").years < little.part("hammers").years  # type: ignore[operator]
    assert much.part("pins").years == little.part("pins").years
    both = life_of(seen, profile=Buyer(name="B", level="beginner to intermediate"))
    assert both.hours_per_week == (2.0, 8.0)
    assert life_of(seen, profile=None).hours_per_week == (2.0, 14.0)


def test_the_order_of_findings_does_not_matter() -> None:
    seen = [*hammers(3, 4), grade("strings-rust", 2), grade("dampers-felt", 3), grade("strings-bass", 4)]
    assert life_of(seen) == life_of(seen[::-1])
    assert all(p.source in SOURCES for p in life_of(seen).parts)


def test_every_point_of_the_table_is_in_the_checklist() -> None:
    from pianolab.upkeep.life import _rules

    for rule in _rules()[0].values():
        for point in (*rule.looked_at, *rule.worsened_by, *rule.age_points):
            assert point in CHECKLIST, point


@pytest.mark.parametrize(
    ("more", "message"),
    [
        ({"replaced": {"hamers": 2000}}, "replaced: got 'hamers', need one of strings"),
        ({"replaced": {"hammers": 2040}}, "replaced hammers: got 2040, need a year from 1978 to 2026"),
        ({"replaced": {"hammers": 1960}}, "replaced hammers: got 1960"),
    ],
)
def test_impossible_renewals(more: dict[str, object], message: str) -> None:
    with pytest.raises(BadInput, match=message):
        life_of([], **more)


def test_a_year_before_the_piano_was_built() -> None:
    with pytest.raises(BadInput, match="year: got 1970, need 1978 or later"):
        remaining_life(OLD, [], profile=None, year=1970, checklist=CHECKLIST)


def test_the_headline_counts_every_part_once() -> None:
    life = life_of([])
    lasting = [p for p in life.parts if p.lasts(life.years_of_use) in ("yes", "no")]
    assert life.headline().endswith(
        f"open or unknown: {len(life.parts) - len(lasting)} of {len(life.parts)} parts"
    )


def test_of_two_equally_worn_places_the_part_itself_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    """A worn part counts before something else that wears it."""
    views = {
        name: SimpleNamespace(point=SimpleNamespace(id=name), checked=True, share=0.5)
        for name in ("a-part", "z-cause")
    }
    monkeypatch.setattr(life_module, "found_at", lambda view, _: view.point.id)
    rule: Any = SimpleNamespace(looked_at=("a-part",), worsened_by=("z-cause",))
    said = life_module._basis(rule, views, [], None)  # type: ignore[arg-type]
    assert said.number("found") == "a-part"


def test_bad_air_takes_the_same_share_of_both_ends_of_a_life() -> None:
    held = [Finding(visit_id="v", point="tuning-held", answer=True)]
    spans = [
        life_of(held, piano=Piano(name="A", year=2024, storage_kind=kind)).part("pins").years
        for kind in ("lived-in room", "damp")
    ]
    dry, damp = (span for span in spans if span is not None)
    age = 2026 - 2024
    assert dry[0] < 0.9 * dry[1]
    assert damp[0] < 0.9 * damp[1]
    assert (damp[0] + age) / (dry[0] + age) == pytest.approx((damp[1] + age) / (dry[1] + age), abs=0.05)


def test_air_shortens_both_ends_by_the_worst_that_is_told() -> None:
    air = {"kind": {"damp": 0.5}, "grade": [1.0, 0.9, 0.8, 0.6, 0.4], "point": "papers-standing"}
    damp, told = Piano(name="A", storage_kind="damp"), (grade("papers-standing", 5),)
    assert life_module._in_air((10.0, 20.0), damp, (), air) == (5.0, 10.0)
    assert life_module._in_air((10.0, 20.0), damp, told, air) == (4.0, 8.0)
    assert life_module._in_air((10.0, 20.0), Piano(name="A"), (), air) == (10.0, 20.0)
