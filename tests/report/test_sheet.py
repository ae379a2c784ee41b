"""The sheet: only what was looked at or heard speaks for an instrument; who looked and how long comes from the notes."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime
from decimal import Decimal
from types import SimpleNamespace
from typing import Any

import pytest

from pianolab.checklist import load_checklist
from pianolab.model import Finding
from pianolab.report.answers import _budget_words
from pianolab.report.instruments import instruments_of
from pianolab.report.opening_sheet import _why_not, looked, looked_words, reasons_for, sheet_of
from pianolab.report.shapes import grade_mark
from pianolab.statements import statement
from tests.figures.make import make_survey
from tests.report.make_sheet import compared, sound_structure


@pytest.fixture(scope="module")
def seen():
    """One piano whose structure was looked at and found sound, and that was recorded."""
    return instruments_with(sound_structure(), heard=True)


def instruments_with(findings, *, heard: bool):
    comparison, piano, marks = compared(findings)
    surveys = {piano.id: make_survey(seed=1)} if heard else {}
    return instruments_of(
        comparison,
        marks,
        surveys=surveys,
        findings={piano.id: findings},
        checklist=load_checklist(),
        leave_out=frozenset(),
    )[0]


def kinds(instrument) -> list[str]:
    return [s.kind for s in reasons_for(instrument, prices=False)]


def test_a_sound_structure_speaks_for_it(seen) -> None:
    assert kinds(seen)[0].startswith("sheet.structure")


def test_nothing_looked_at_and_nothing_heard_gives_no_reason() -> None:
    assert kinds(instruments_with((), heard=False)) == []


def test_one_structural_fault_silences_the_structure() -> None:
    first, *rest = sound_structure()
    assert not any(
        k.startswith("sheet.structure")
        for k in kinds(instruments_with((replace(first, grade=2), *rest), heard=False))
    )


def test_a_few_structural_points_are_no_reason() -> None:
    assert not any(
        k.startswith("sheet.structure") for k in kinds(instruments_with(sound_structure()[:2], heard=False))
    )


def test_a_fault_that_is_heard_is_not_passed_over(seen) -> None:
    table = seen.survey.table.assign(faults="")
    quiet = replace(seen, survey=replace(seen.survey, table=table))
    assert "sheet.no fault" in kinds(quiet)
    loud = table.assign(faults=["buzz", *[""] * (len(table) - 1)])
    assert "sheet.no fault" not in kinds(replace(seen, survey=replace(seen.survey, table=loud)))


def test_keys_that_die_early_do_not_sing(seen) -> None:
    short = seen.survey.table.assign(sustain_verdict="short")
    assert "sheet.sings" not in kinds(replace(seen, survey=replace(seen.survey, table=short)))
    sound = seen.survey.table.assign(sustain_verdict="sound")
    assert "sheet.sings" in kinds(replace(seen, survey=replace(seen.survey, table=sound)))


def test_who_looked_and_how_long_is_taken_from_the_notes(seen) -> None:
    at = datetime(2026, 5, 16, 10, 0, tzinfo=UTC)
    notes = [
        Finding(visit_id="v", point="plate-cracks", answer=False, examiner="Ana", at=at),
        Finding(visit_id="v", point="bridge-treble", grade=4, examiner="Ben", at=at.replace(minute=42)),
    ]
    assert looked(notes).who == ("Ana", "Ben")
    assert looked(notes).minutes == 42.0
    assert "on 2026-05-16, about 42 min" in looked_words(seen, notes)
    assert "by nobody who is named" in looked_words(seen, [])


def test_the_day_is_told_where_only_the_visit_knows_it(seen) -> None:
    note = [Finding(visit_id="v", point="plate-cracks", answer=False, examiner="Ana")]
    assert "on a day that nobody noted" in looked_words(seen, note)
    said = looked_words(seen, note, [date(2026, 3, 14), date(2026, 4, 11)])
    assert "on 2026-03-14 and 2026-04-11;" in said
    at = datetime(2026, 3, 15, 0, 10, tzinfo=UTC)
    assert looked([replace(note[0], at=at)], [date(2026, 3, 14)]).days == ("2026-03-14",)


def others_of(instrument, **standing):
    """Why an instrument is not the one, with other facts about where it stands."""
    bare = replace(instrument.assessment, alerts=())
    return _why_not(replace(instrument, assessment=bare, standing=replace(instrument.standing, **standing)))


def test_what_bars_another_is_told_of_it_and_without_that_where_it_is_weak() -> None:
    seen = instruments_with(sound_structure(), heard=False)
    barred = statement("obstacle.budget", "price")
    assert others_of(seen, barred_by=barred) == barred
    weakest = min(seen.assessment.aspects, key=lambda a: a.middle).aspect
    behind = others_of(seen, barred_by=None)
    assert behind.kind.startswith("sheet.behind")
    assert behind.number("aspect") == weakest


def test_without_a_choice_the_sheet_speaks_of_the_one_that_comes_first_most_often() -> None:
    seen = instruments_with(sound_structure(), heard=False)
    often, seldom = (
        replace(seen, standing=replace(seen.standing, rank_shares=s, barred_by=None))
        for s in ((0.6, 0.4), (0.4, 0.6))
    )
    comparison, _, _ = compared(sound_structure())
    comparison = replace(comparison, verdict=replace(comparison.verdict, piano_id=""))
    told: dict[str, object] = {"findings": {}, "photos": {}, "days": {}, "prices": True}
    for order in ((often, seldom), (seldom, often)):
        sheet = sheet_of(comparison, order, **told)  # type: ignore[arg-type]
        assert len(sheet["others"]) == 2
        assert sheet["second"] is seldom


@pytest.mark.parametrize(
    ("low", "high", "said"),
    [(3000, 5000, "is enough"), (3000, 5001, "may not be enough"), (5001, 6000, "is not enough")],
)
def test_whether_the_budget_is_enough_goes_by_the_ends_of_what_it_may_cost(
    low: int, high: int, said: str
) -> None:
    standing: Any = SimpleNamespace(
        price=SimpleNamespace(beside=(), named=False), total_p10=Decimal(low), total_p90=Decimal(high)
    )
    assert said in _budget_words(standing, Decimal(5000), "EUR")


def test_a_disc_is_empty_for_sound_and_full_for_failed_and_between_it_fills() -> None:
    marks = {grade: str(grade_mark(grade)) for grade in (5, 4, 3, 2, 1)}
    assert "full" not in marks[5]
    assert '<circle class="full"' in marks[1]
    assert all('<path class="full"' in marks[grade] for grade in (4, 3, 2))
    assert "unknown" in str(grade_mark(None))
