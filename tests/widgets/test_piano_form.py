"""The form of the pianos: enter, change, go on to another, begin a visit; nothing that can't be used is kept."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path

import pytest

from pianolab.casebook import Casebook, create_casebook, open_casebook
from pianolab.model import Piano, Visit
from pianolab.widgets import PianoForm


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Casebook]:
    with create_casebook(tmp_path / "book") as book:
        yield book


def test_an_empty_casebook_gets_one_piano_and_a_visit_of_today(book: Casebook) -> None:
    form = PianoForm(book, examiner="Ana")
    assert [p.name for p in book.pianos()] == ["my first piano"] == [form.piano.name]
    (visit,) = book.visits()
    assert (visit.day, visit.examiner, visit) == (date.today(), "Ana", form.visit)


def test_opened_again_it_enters_nothing(book: Casebook) -> None:
    PianoForm(book, begin=Piano(name="hallway"))
    before = len(book.log())
    form = PianoForm(book, begin=Piano(name="another"))
    assert form.piano.name == "hallway"
    assert len(book.log()) == before


def test_what_is_typed_is_in_the_casebook_at_once_and_after_a_restart(book: Casebook, tmp_path: Path) -> None:
    form = PianoForm(book, examiner="Ana")
    for name, value in {
        "name": " by the window ", "kind": "grand", "year": "1931", "compass": (1, 85), "key_tops": "ivory",
        "asking_price": "2400", "seller": "M", "address": "3 Mill Lane",
    }.items():  # fmt: skip
        form.controls[name].value = value
        assert form.line.value.startswith("Saved at "), name
    book.close()
    with open_casebook(tmp_path / "book") as again:
        (kept,) = again.pianos()
    assert kept == form.piano
    assert (kept.name, kept.kind, kept.year, kept.last_key) == ("by the window", "grand", 1931, 85)
    assert (kept.key_tops, kept.asking_price, kept.address) == ("ivory", Decimal(2400), "3 Mill Lane")
    assert form.choice.label == "by the window"


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("name", "  ", "need a name in one line"),
        ("year", "about 1930", "need a year from 1700 to 2100"),
        ("year", "30", "1700 to 2100"),
        ("asking_price", "<b>cheap</b>", "&lt;b&gt;cheap"),
        ("asking_price", "-5", "0 to 1,000,000,000"),
    ],
)
def test_what_cannot_be_used_is_refused_in_one_line(
    book: Casebook, field: str, value: str, words: str
) -> None:
    form = PianoForm(book)
    before = book.pianos()
    form.controls[field].value = value
    assert form.line.value.startswith("<b>Not saved.</b>")
    assert words in form.line.value
    assert book.pianos() == before


def test_an_unknown_price_stays_unknown(book: Casebook) -> None:
    form = PianoForm(book, begin=Piano(name="a", asking_price=Decimal(900), year=1950))
    form.controls["asking_price"].value = ""
    form.controls["year"].value = ""
    assert (form.piano.asking_price, form.piano.year) == (None, None)
    assert book.pianos() == (form.piano,)


def test_another_piano_and_back(book: Casebook) -> None:
    form = PianoForm(book, begin=Piano(name="piano 2", seller="M"))
    first = form.piano
    form.another.click()
    assert form.piano.name == "piano 3"
    assert form.controls["seller"].value == ""
    assert [v.piano_id for v in book.visits()] == [first.id, form.piano.id]
    assert "Run the cells below again" in form.line.value
    form.choice.value = first.id
    assert (form.piano, form.controls["seller"].value) == (first, "M")
    assert len(book.visits()) == 2


def test_a_new_visit_begins_once_a_day(book: Casebook) -> None:
    form = PianoForm(book)
    form.again.click()
    assert len(book.visits()) == 1
    other = PianoForm(book)
    with book.editing(by="me") as edit:
        older = edit.add(Piano(name="seen before"))
        edit.add(Visit(piano_id=older.id, day=date.today() - timedelta(days=30)))
    other.choice.options = [*other.choice.options, (older.name, older.id)]
    other.choice.value = older.id
    assert other.visit.day < date.today()
    other.again.click()
    assert other.visit.day == date.today()
    assert len(book.visits(older.id)) == 2


def test_the_twin_is_escaped_and_says_what_is_known(book: Casebook) -> None:
    form = PianoForm(book, begin=Piano(name="<script>x</script>", seller="M & N"))
    html = form.to_html()
    assert "<script>" not in html
    assert "M &amp; N" in html
    assert "88 keys, A0 to C8" in html
