"""What every public result shows in a notebook: escaped, readable, and never an unknown value as nothing."""

from __future__ import annotations

import importlib
import inspect
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from pianolab.casebook import create_casebook
from pianolab.compare.ranking_change import RankingChange
from pianolab.model import Piano, Visit
from pianolab.show import Fields, Lines, Row, Showable, Table, html_table, short_value

TOOLS = {"Edit", "AsOf", "Conflict", "Printer", "Progress"}


def public_classes(part: str) -> list[type]:
    module = importlib.import_module(f"pianolab.{part}")
    found = [getattr(module, n) for n in getattr(module, "__all__", ())]
    return [c for c in found if inspect.isclass(c) and not issubclass(c, (BaseException, str))]


@pytest.mark.parametrize("part", ["assess", "casebook", "compare", "workflow"])
def test_results_and_their_pieces_show_themselves(part: str) -> None:
    silent = {c.__name__ for c in public_classes(part) if not hasattr(c, "_repr_html_")}
    pieces = {"HeardChange", "PointChange"}
    given = {"Circumstances"}
    assert silent <= TOOLS | pieces | given


@pytest.mark.parametrize("name", ["Piano", "Visit", "Finding", "Recording", "Buyer", "Room"])
def test_records_show_themselves(name: str) -> None:
    assert issubclass(getattr(importlib.import_module("pianolab.model"), name), Fields)


class Hostile(Showable):
    """A result full of markup."""

    header = ("<i>what</i>", "empty", "number")

    def headline(self) -> str:
        return "<script>struck()</script>"

    def rows(self) -> list[Row]:
        return [("<b>bold</b>", "", 0.123456), ("plain", "", None)]


def test_everything_is_escaped_empty_columns_go_and_unknown_stays() -> None:
    html = Hostile()._repr_html_()
    assert "<script" not in html
    assert "<b>bold" not in html
    assert "empty" not in html
    assert "0.12<" in html
    assert "–" in html


def test_what_a_reader_sees_can_differ_from_the_numbers() -> None:
    class Priced(Hostile):
        def shown(self) -> list[Row]:
            return [("dear", "very", "€5")]

    assert "€5" in Priced()._repr_html_()
    assert Priced().to_frame()["number"].tolist()[0] == 0.123456


@dataclass(frozen=True)
class Inner(Fields):
    """A record inside another."""

    width_m: float | None = None
    note: str = ""


@dataclass(frozen=True)
class Outer(Fields):
    """A record with everything that records hold."""

    text: str = "<b>"
    empty: str = ""
    unknown: int | None = None
    amount: Decimal = Decimal("12.50")
    days: tuple[date, ...] = (date(2026, 5, 4),)
    inside: Inner = Inner(width_m=3.25)
    long: str = "x" * 5000


def test_a_record_shows_its_fields() -> None:
    html = Outer()._repr_html_()
    assert "&lt;b&gt;" in html
    assert ">empty<" not in html
    assert ">unknown</td>" in html
    assert "12.50" in html
    assert "2026-05-04" in html
    assert "width m: 3.25" in html
    assert len(html) < 2500


def test_a_casebook_shows_its_pianos_and_their_visits(tmp_path: Path) -> None:
    with create_casebook(tmp_path / "book") as book:
        with book.editing(by="me") as edit:
            piano = edit.add(Piano(name="A & B", kind="grand"))
            edit.add(Visit(piano_id=piano.id, day=date(2026, 5, 4)))
            edit.add(Piano(name="unseen"))
        html = book._repr_html_()
    assert "A &amp; B" in html
    assert "2026-05-04" in html
    assert "none yet" in html


def test_lines_and_tables_of_ones_own() -> None:
    assert html_table("t", ["a"], []).endswith("<p>none</p></figure>")
    assert Table("t", ["a"], [(1,)]).to_frame().to_dict("list") == {"a": [1]}
    assert repr(Lines("Ask", [], empty="nothing")) == "Ask\n  nothing"
    assert "<li>&lt;u&gt;</li>" in Lines("Ask", ["<u>"])._repr_html_()


@pytest.mark.parametrize(("value", "said"), [(0.006, "0.01"), (0.0049, "0.0049"), (-0.3, "-0.3"), (0.0, "0")])
def test_two_decimals_are_enough_unless_nothing_were_left_of_them(value: float, said: str) -> None:
    assert short_value(value) == said


def test_a_ranking_has_another_leader_only_where_another_piano_is_chosen() -> None:
    def chosen(piano: str) -> Any:
        return SimpleNamespace(verdict=SimpleNamespace(piano_id=piano))

    assert RankingChange(before=chosen("a"), after=chosen("b"), moved=()).leader_changed
    assert not RankingChange(before=chosen("a"), after=chosen("a"), moved=()).leader_changed
