"""Comparable prices from the casebook to what is offered: on one road, by day, kind and currency."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest

from pianolab import decide
from pianolab.casebook import Casebook, create_casebook
from pianolab.checklist import load_checklist
from pianolab.model import Buyer, Comparable, Examiner, Piano, Visit
from pianolab.workflow import export
from tests.compare.panel_entries import supplied_findings

DAY = date(2026, 5, 16)
PIANO = Piano(id="p", name="in the hall", year=1986, asking_price=Decimal(1900), seller_kind="private")
LIKE = Comparable(
    price=Decimal(2000),
    age_years=40,
    condition="good",
    seller_kind="private",
    sold=True,
    seen_on=DAY,
    place="by the quay",
    note="told by Joost",
)


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Casebook]:
    """One sound piano at which a technician has looked at everything."""
    points = load_checklist()
    looked = {"scope": "technician", "grade": 5, "by": "technician"}
    with create_casebook(tmp_path / "book") as book:
        with book.editing(by="Ana") as edit:
            edit.add(Examiner(id="t", name="technician", role="technician"))
            edit.add(Buyer(name="b", budget=Decimal(4000), moving_cost=(200, 300)))
            edit.add(PIANO)
            visit = edit.add(Visit(piano_id="p", day=DAY, examiner="technician"))
            for f in supplied_findings("sound", looked, PIANO, None, points, leave_out=("each-recorded",)):
                edit.add(replace(f, visit_id=visit.id))
        yield book


def enter(book: Casebook, *comparables: Comparable) -> None:
    with book.editing(by="Ana") as edit:
        for number, c in enumerate(comparables):
            edit.add(replace(c, id=f"c{number}"))


def price(book: Casebook, **changes: object) -> Decimal | None:
    return decide(book, profile="b", **changes).comparison.standings[0].price.worth_mid


def test_two_prices_make_a_worth_and_one_does_not(book: Casebook) -> None:
    enter(book, LIKE)
    assert price(book) is None
    with book.editing(by="Ana") as edit:
        edit.add(replace(LIKE, id="other", price=Decimal(2200)))
    worth = price(book)
    assert worth is not None
    assert 1900 < worth < 2300


@pytest.mark.parametrize("wrong", [{"kind": "grand"}, {"seen_on": date(2026, 6, 1)}])
def test_another_kind_or_a_later_day_carries_nothing(book: Casebook, wrong: dict[str, object]) -> None:
    enter(book, *(replace(LIKE, **wrong) for _ in range(2)))  # type: ignore[arg-type]
    assert price(book, until=date(2026, 5, 20)) is None


def test_the_page_and_the_tables_tell_it_and_neither_place_nor_note(book: Casebook, tmp_path: Path) -> None:
    enter(book, LIKE, replace(LIKE, price=Decimal(2200)))
    export(book, tmp_path / "page.html", tables=tmp_path / "tables", settings=None)
    page = (tmp_path / "page.html").read_text(encoding="utf-8")
    shortlist = (tmp_path / "tables" / "shortlist.csv").read_text(encoding="utf-8-sig")
    assert "brought over to in the hall step by step" in page
    assert "walk_away_above" in shortlist
    seen = (tmp_path / "tables" / "comparables.csv").read_text(encoding="utf-8-sig").splitlines()
    assert len(seen) == 3
    assert seen[0].count(",") == seen[1].count(",")
    for text in (page, shortlist):
        assert "Joost" not in text
        assert "by the quay" not in text


def test_the_notebook_shows_terms_and_comparables(book: Casebook) -> None:
    enter(book, LIKE, replace(LIKE, price=Decimal(2200)))
    decision = decide(book, profile="b")
    assert "2 like instruments" in decision.table("price")._repr_html_()
    assert "40 years, good, private, paid" in decision.table("comparables")._repr_html_()
