"""Wherever money is shown it says that it is an estimate, whose prices these are and of which day, and if they are old."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest

from pianolab.assess import load_prices
from pianolab.casebook import create_casebook
from pianolab.cli import main
from pianolab.figures import plan_costs
from pianolab.model import Finding, Piano, Visit
from pianolab.upkeep import MoneyPlans
from pianolab.workflow import Settings, decide, export
from pianolab.workflow.deciding import Decision

ORIGIN = "prices.toml: invented, 2026-01-15, in EUR"
FOUND = (
    ("case-finish", {"grade": 1}),
    ("touch-even", {"grade": 2}),
    ("keys-chips", {"count": 6, "keys": (1, 2, 3, 4, 5, 6)}),
    ("keys-sharp-chips", {"count": 1, "keys": (2,)}),
    ("keys-sticking", {"count": 2}),
    ("access-flights-home", {"count": 2}),
)


@pytest.fixture(scope="module")
def decision(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Decision]:
    with create_casebook(tmp_path_factory.mktemp("money") / "book") as book:
        with book.editing(by="Ana") as edit:
            for n, kind in enumerate(("upright", "grand")):
                name = f"the {kind}"
                edit.add(Piano(id=f"p{n}", name=name, kind=kind, year=1985, asking_price=Decimal(1500)))
                edit.add(Visit(id=f"v{n}", piano_id=f"p{n}", day=date(2026, 5, 2)))
                for point, value in FOUND:
                    edit.add(Finding(visit_id=f"v{n}", point=point, **value))
        yield decide(book, plans=MoneyPlans(hire_a_month=45))


@pytest.fixture(scope="module")
def written(decision: Decision, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("out")
    export(decision, folder / "page.html", tables=folder / "tables")
    return folder


def test_the_page_says_whose_prices_and_groups_jobs_by_what_they_are_for(written: Path) -> None:
    page = (written / "page.html").read_text(encoding="utf-8")
    assert "Estimates, not quotes" in page
    assert f"Prices of {ORIGIN}" in page
    titles = (
        "Needed for use and safety",
        "For the looks",
        "Bringing it home, and settling in",
        "Only because something",
    )
    assert [page.count(title) >= 2 for title in titles] == [True] * 4
    assert "needed at 1 of 6" in page
    assert "nothing more where this is done: regulating the action" in page


def test_the_page_has_the_years_with_hire_and_what_was_not_entered(written: Path) -> None:
    page = (written / "page.html").read_text(encoding="utf-8")
    assert "Money over the years" in page
    assert "Hiring, as entered, is €540 a year" in page
    assert "Not entered, so not counted: what a sale at the end may bring back" in page


@pytest.mark.slow
def test_plans_from_a_file_on_the_command_line(
    decision: Decision, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    plans, page = tmp_path / "plans.toml", tmp_path / "page.html"
    book = str(decision.casebook.folder)
    plans.write_text("hire_a_month = 20\nresale = [0.3, 0.6]\n", encoding="utf-8")
    assert main(["export", book, "--html", str(page), "--plans", str(plans)]) == 0
    assert "Hiring, as entered, is €240 a year" in page.read_text(encoding="utf-8")
    plans.unlink()
    for given, hire in (((), True), (("--plans", "usual"), False), ((), False)):
        assert main(["export", book, "--html", str(page), "--replace", *given]) == 0
        assert ("Hiring, as entered, is €240 a year" in page.read_text(encoding="utf-8")) is hire
    plans.write_text("rent = 20\n", encoding="utf-8")
    assert main(["export", book, "--html", str(tmp_path / "b.html"), "--plans", str(plans)]) == 2
    said = capsys.readouterr().err
    assert "plans.toml: got ['rent'], need only resale, hire_a_month" in said
    assert said.count("\n") == 1
    assert not (tmp_path / "b.html").exists()


def test_without_prices_none_of_it_is_on_the_page(decision: Decision, tmp_path: Path) -> None:
    export(decision, tmp_path / "page.html", leave_out=["prices"])
    page = (tmp_path / "page.html").read_text(encoding="utf-8")
    for told in ("Money over the years", "€540", "Needed for use and safety"):
        assert told not in page


@pytest.mark.parametrize("table", ["repairs.csv", "shortlist.csv"])
def test_tables_with_money_say_whose_prices(written: Path, table: str) -> None:
    header, *rows = (written / "tables" / table).read_text(encoding="utf-8-sig").splitlines()
    assert header.endswith("prices_of")
    assert rows
    assert all(ORIGIN in row for row in rows)


def test_chart_estimate_and_years_say_it_too(decision: Decision) -> None:
    plan = plan_costs(decision.comparison)
    assert f"estimates, not quotes. Prices of {ORIGIN}." in plan.alt
    assert plan.origin == ORIGIN
    assert ORIGIN in decision.assessment("p0").repairs.headline()
    assert ORIGIN in decision.years["p0"].sentences[-1]


def test_the_tables_of_jobs_and_years_are_those_of_the_decision(decision: Decision) -> None:
    assert decision.table("jobs", "p1") == decision.assessment("p1").repairs
    assert decision.table("years", "p0") == decision.years["p0"]
    assert {row[5] for row in decision.table("jobs", "p0").rows()} == {"needed", "keeps value", "looks"}


def test_a_grand_costs_more_to_put_right_and_to_carry(decision: Decision) -> None:
    upright, grand = ({j.job: j for j in decision.assessment(piano).repairs.jobs} for piano in ("p0", "p1"))
    for job in ("regulation", "carrying stairs", "refinishing"):
        assert grand[job].usual > upright[job].usual


def test_old_prices_are_said_to_be_old(decision: Decision) -> None:
    assert not [note for note in decision.notes if "higher" in note]
    later = decide(decision.casebook, Settings(year=2031))
    (note,) = [note for note in later.notes if "higher" in note]
    assert note.startswith("prices of 2026-01-15 (prices.toml): those of today are likely ")
    assert note in later.provenance["To be known"]


def test_the_age_of_a_list_by_hand() -> None:
    """Five years at 2 and 5 %: 1.02 to the fifth is 1.104, 1.05 to the fifth 1.276."""
    prices = replace(load_prices(), day=date(2021, 1, 1))
    assert "10 to 28 % higher" in prices.aged(date(2026, 1, 1))
    assert "10 to 25 %" not in prices.aged(date(2026, 1, 1))  # added up instead of multiplied
    assert prices.aged(date(2022, 12, 1)) == ""
