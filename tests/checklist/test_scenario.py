"""The invented shortlist fits the checklist, and any condition fits any instrument."""

import itertools

import pytest

from pianolab.checklist import findings_for, load_checklist, load_scenario
from pianolab.checklist.entry import check_finding

CHECKLIST = load_checklist()
SCENARIO = load_scenario()
PAIRS = list(itertools.product(SCENARIO.instruments, SCENARIO.conditions.values()))


def test_four_instruments_and_four_conditions() -> None:
    assert [p.name for p in SCENARIO.instruments] == [
        "Harbour Street upright",
        "Mill Lane grand",
        "Orchard Close upright",
        "Station Road grand",
    ]
    assert sorted(SCENARIO.default_condition.values()) == sorted(SCENARIO.conditions)
    assert all(p.asking_price and p.asking_price > 0 for p in SCENARIO.instruments)


@pytest.mark.parametrize(("piano", "condition"), PAIRS, ids=lambda x: x.name)
def test_each_condition_covers_each_instrument(piano, condition) -> None:
    findings = findings_for(condition, visit_id="v1", piano=piano, examiner="Ana", checklist=CHECKLIST)
    assert [f.point for f in findings] == [p.id for p in CHECKLIST.for_piano(piano)]
    assert len({f.id for f in findings}) == len(findings)
    own = [f for f in findings if CHECKLIST[f.point].access != "technician only"]
    assert sum(f.state == "checked" for f in own) > 0.85 * len(own)
    for f in findings:
        if CHECKLIST[f.point].access == "technician only":
            assert f.state == "not checked"
            assert "technician" in f.reason


def test_conditions_name_no_instrument() -> None:
    for condition in SCENARIO.conditions.values():
        text = repr(condition)
        assert not any(
            word in text for piano in SCENARIO.instruments for word in (piano.name, piano.seller) if word
        )


@pytest.mark.parametrize(("piano", "condition"), PAIRS, ids=lambda x: x.name)
def test_plain_facts_are_answered_within_what_is_possible(piano, condition) -> None:
    """What a demonstration shows of a sheet is filled in; only an invented maker or none is named."""
    findings = findings_for(condition, visit_id="v1", piano=piano, checklist=CHECKLIST)
    for finding in findings:
        check_finding(finding, CHECKLIST, piano)
    found = {f.point: f for f in findings}
    for point in (
        "papers-warranty",
        "papers-weight",
        "papers-make",
        "papers-size",
        "strings-age-bass",
        "type-added",
    ):
        assert found[point].state == "checked", point
    assert found["papers-make"].answer is ("maker unknown" not in found["papers-make"].note)
    assert found["strings-age-bass"].reading <= found["papers-age"].reading
    assert found["type-added-works"].state == "does not apply"
