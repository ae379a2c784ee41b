"""The page of the invented shortlist, judged and compared by the library itself."""

from html import unescape

import pytest

from pianolab.assess import assess_piano, load_prices
from pianolab.checklist import findings_for, load_checklist, load_scenario
from pianolab.compare import compare_pianos
from pianolab.model import load_profiles
from pianolab.report import comparison_page, csv_tables
from pianolab.show import money
from pianolab.words import upper_first
from tests.figures.make import make_survey
from tests.report.test_page import text_of


@pytest.fixture(scope="module")
def made() -> dict:
    checklist = load_checklist()
    scenario = load_scenario(checklist)
    profile = load_profiles()["first piano"]
    findings, assessments, surveys = {}, [], {}
    for n, (piano, condition) in enumerate(
        zip(scenario.instruments, scenario.conditions.values(), strict=True)
    ):
        findings[piano.id] = findings_for(
            condition, visit_id=f"v{n}", piano=piano, examiner="Ana", checklist=checklist
        )
        if n:
            surveys[piano.id] = make_survey(seed=n, masked=tuple(range(50, 75)) if n == 1 else ())
        assessments.append(
            assess_piano(
                piano,
                findings[piano.id],
                survey=surveys.get(piano.id),
                checklist=checklist,
                prices=load_prices(),
                profile=profile,
            )
        )
    comparison = compare_pianos(assessments, profile=profile, seed=3, draws=2000)
    return {"comparison": comparison, "findings": findings, "surveys": surveys, "checklist": checklist}


@pytest.fixture(scope="module")
def text(made) -> str:
    return unescape(text_of(comparison_page(**made)))


def test_every_veto_is_on_the_page(made, text) -> None:
    vetoes = [v.text for a in made["comparison"].assessments for v in a.vetoes]
    assert vetoes
    for words in vetoes:
        assert words in text


def test_prices_and_offers_are_on_the_page(made, text) -> None:
    for a in made["comparison"].assessments:
        assert money(a.piano.asking_price, a.piano.currency) in text
        s = made["comparison"].standing(a.piano.id)
        for amount in (s.price.open_with, s.price.aim_at, s.price.walk_away_above):
            assert amount is None or money(amount, a.piano.currency) in text
        for why in s.price.reasons:
            assert upper_first(why) in text


def test_every_point_that_was_not_looked_at_is_named(made, text) -> None:
    for found in made["findings"].values():
        for f in found:
            if f.state in ("not checked", "not allowed"):
                assert made["checklist"][f.point].title in text
                assert f.reason in text


def test_a_piano_that_was_not_recorded_says_so(text) -> None:
    assert text.count("Not recorded: unknown, not faultless.") == 1


def test_the_numbers_go_into_tables(made) -> None:
    tables = csv_tables(
        made["comparison"], surveys=made["surveys"], findings=made["findings"], checklist=made["checklist"]
    )
    findings = sum(len(f) for f in made["findings"].values())
    assert len(tables["findings.csv"].splitlines()) == 1 + findings
