"""Vetoes and warnings: set off by their rules, named with who confirms them, and by nothing else."""

from decimal import Decimal

import pytest

from pianolab.assess import assess_piano, load_prices
from pianolab.checklist import load_checklist
from pianolab.errors import BadInput
from pianolab.model import Finding, Piano

CHECKLIST = load_checklist()
PRICES = load_prices()
PIANO = Piano(id="p", name="A", kind="upright", asking_price=Decimal(1000))


def judge(*findings: Finding, piano: Piano = PIANO):
    return assess_piano(piano, findings, survey=None, checklist=CHECKLIST, prices=PRICES)


def found(point: str, **value) -> Finding:
    return Finding(visit_id="v", point=point, **value)


@pytest.mark.parametrize(
    ("bad", "good"),
    [
        (found("bridge-treble", grade=1), found("bridge-treble", grade=2)),
        (found("plate-cracks", answer=True), found("plate-cracks", answer=False)),
        (found("pins-torque", reading=3.0), found("pins-torque", reading=3.6)),
        (found("papers-ownership", answer=False), found("papers-ownership", answer=True)),
        (found("frame-posts", grade=2), found("frame-posts", grade=3)),
        (found("case-pests", answer=True), found("case-pests", answer=False)),
    ],
    ids=lambda f: f"{f.point} {f.grade or f.answer or f.reading}",
)
def test_a_veto_holds_from_its_limit_on(bad: Finding, good: Finding) -> None:
    (veto,) = judge(bad).vetoes
    assert veto.source == bad.point
    assert veto.how_sure == "seen"
    assert veto.confirm_by
    assert not judge(good).vetoes


def test_a_veto_two_people_disagree_about_is_possible() -> None:
    both = judge(
        found("bridge-treble", grade=1, examiner="Ana"), found("bridge-treble", grade=4, examiner="Ben")
    )
    assert [v.how_sure for v in both.vetoes] == ["possible"]


def test_unchecked_stopping_points_are_listed_as_unknown() -> None:
    assert {u.source for u in judge().unknown_vetoes} >= {"plate-cracks", "papers-ownership", "pins-torque"}
    after = {u.source for u in judge(found("plate-cracks", answer=False)).unknown_vetoes}
    assert "plate-cracks" not in after


@pytest.mark.parametrize(("offset", "rust", "asked"), [(-25.0, 5, False), (-25.0, 1, True), (-60.0, 5, True)])
def test_low_pitch_with_weak_strings_or_far_down_asks_a_technician(make_survey, offset, rust, asked) -> None:
    survey = make_survey(offset_cents=offset)
    result = assess_piano(
        PIANO, [found("strings-rust", grade=rust)], survey=survey, checklist=CHECKLIST, prices=PRICES
    )
    (warning,) = [w for w in result.warnings if "cents flat" in w.text]
    assert "proves nothing about its pins" in warning.text
    assert ("ask a technician whether to raise it at all or to tune it lower" in warning.text) == asked
    assert warning.confirm_by == ("technician" if asked else "the tuner")


def test_looks_are_no_warning_but_function_is() -> None:
    assert not judge(found("case-finish", grade=1)).alerts
    assert judge(found("touch-repetition", grade=1)).warnings
    assert not judge(found("touch-repetition", grade=3)).warnings


@pytest.mark.parametrize(
    ("finding", "piano", "line"),
    [
        (
            found("no-such-point", grade=3),
            PIANO,
            r"finding: got 'no-such-point', need the id of a checklist point",
        ),
        (found("bridge-treble", count=3), PIANO, r"finding at bridge-treble: got a count, need a grade"),
        (found("plate-cracks", grade=3), PIANO, r"finding at plate-cracks: got a grade, need a yes/no"),
        (
            found("plate-cracks", answer=False),
            Piano(name="B", currency="GBP"),
            r"asking price of B: got GBP, need EUR",
        ),
    ],
)
def test_bad_input_gives_one_clear_line(finding: Finding, piano: Piano, line: str) -> None:
    with pytest.raises(BadInput, match=line):
        judge(finding, piano=piano)
