"""The form of comparable prices: add, list, take out; saved at once, and safe beside another tab."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from decimal import Decimal
from pathlib import Path

import ipywidgets
import pytest

from pianolab.casebook import Casebook, create_casebook, open_casebook
from pianolab.model import Comparable, Piano
from pianolab.widgets import ComparablesForm


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Casebook]:
    with create_casebook(tmp_path / "book") as book:
        with book.editing(by="Ana") as edit:
            edit.add(Piano(id="u", name="upright", asking_price=1900))
            edit.add(Piano(id="g", name="grand", kind="grand", asking_price=9000))
        yield book


def enter(form: ComparablesForm, **typed: object) -> None:
    for name, value in typed.items():
        form.controls[name].value = value
    form.add.click()


def test_a_price_is_in_the_casebook_at_once_and_after_a_restart(book: Casebook, tmp_path: Path) -> None:
    form = ComparablesForm(book, book.piano("g"), examiner="Ana")
    enter(
        form,
        price="8.500",
        age_years="32 years",
        condition="good",
        seller_kind="dealer",
        warranty_years="2,5",
        tunings_included="1",
        delivery_included=True,
        sold=True,
        place="by the sea",
        note="A & B",
    )
    assert form.line.value.startswith("Saved.")
    book.close()
    with open_casebook(tmp_path / "book") as again:
        (kept,) = again.comparables()
    assert (kept.piano_id, kept.kind, kept.price, kept.currency) == ("g", "grand", Decimal(8500), "EUR")
    assert (kept.age_years, kept.condition, kept.seller_kind, kept.warranty_years) == (
        32,
        "good",
        "dealer",
        2.5,
    )
    assert (kept.tunings_included, kept.delivery_included, kept.sold) == (1, True, True)
    assert (kept.place, kept.seen_on, kept.note) == ("by the sea", date.today(), "A & B")


def test_what_was_not_said_is_unknown(book: Casebook) -> None:
    form = ComparablesForm(book)
    enter(form, piano="upright", price="1800")
    (kept,) = book.comparables()
    assert (kept.piano_id, kept.kind, kept.sold) == (None, "upright", False)
    unknown = (kept.age_years, kept.condition, kept.seller_kind, kept.warranty_years, kept.delivery_included)
    assert unknown == (None,) * 5
    assert kept.tunings_included is None


def test_the_next_price_starts_where_the_last_one_was(book: Casebook) -> None:
    form = ComparablesForm(book)
    enter(form, piano="g", price="8000", seller_kind="dealer", age_years="30", note="x", condition="worn")
    left = {
        name: form.controls[name].value
        for name in ("piano", "price", "seller_kind", "age_years", "note", "condition")
    }
    assert left == {
        "piano": "g",
        "price": "",
        "seller_kind": "dealer",
        "age_years": "",
        "note": "",
        "condition": "",
    }


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ({"price": ""}, "need a price"),
        ({"price": "0"}, "more than 0"),
        ({"price": "<b>cheap</b>"}, "&lt;b&gt;cheap"),
        ({"price": "900", "age_years": "1985"}, "0 to 400 years. The year built by mistake?"),
        ({"price": "900", "warranty_years": "-1"}, "0 to 50 years"),
    ],
)
def test_what_cannot_be_used_is_refused_in_one_line_and_stays_typed(
    book: Casebook, typed: dict[str, str], words: str
) -> None:
    form = ComparablesForm(book)
    enter(form, **typed)
    assert form.line.value.startswith("<b>Not saved.</b>")
    assert words in form.line.value
    assert {name: form.controls[name].value for name in typed} == typed
    assert book.comparables() == ()


def take_out(form: ComparablesForm, row: int = 0) -> None:
    form.list.children[row].children[0].click()


def test_taken_out_and_brought_back(book: Casebook) -> None:
    form = ComparablesForm(book)
    for price in ("1800", "2000"):
        enter(form, piano="u", price=price)
    take_out(form)
    assert [c.price for c in book.comparables()] == [2000]
    assert len(form.list.children) == 1
    form.undo.click()
    assert sorted(c.price for c in book.comparables()) == [1800, 2000]
    assert len(form.list.children) == 2
    assert form.undo.disabled


def test_two_tabs_lose_nothing(book: Casebook) -> None:
    one, other = ComparablesForm(book, examiner="Ana"), ComparablesForm(book, examiner="Ben")
    enter(one, piano="u", price="1800")
    enter(other, piano="u", price="2000")
    assert sorted(c.price for c in book.comparables()) == [1800, 2000]
    assert len(other.list.children) == 2
    take_out(other)
    assert len(one.list.children) == 1, "the first tab has not looked since"
    take_out(one)
    assert one.line.value.startswith("<b>Not saved.</b>")
    assert [c.price for c in book.comparables()] == [2000]
    assert len(one.list.children) == 1
    assert "2,000" in one.list.children[0].children[1].value


def test_a_price_in_another_currency_cannot_slip_in(book: Casebook) -> None:
    with book.editing(by="Ana") as edit:
        edit.add(Piano(id="c", name="far", kind="grand", asking_price=9000, currency="CHF"))
    form = ComparablesForm(book)
    enter(form, piano="c", price="8000")
    assert [c.currency for c in book.comparables()] == ["CHF"]


def test_the_twin_is_escaped_and_complete(book: Casebook) -> None:
    with book.editing(by="Ana") as edit:
        edit.add(Comparable(piano_id="u", price=1800, note="<script>x</script>", sold=False))
    html = ComparablesForm(book).to_html()
    assert "<script>" not in html
    assert all(words in html for words in ("€1,800", "for upright", "asked"))


def test_every_button_can_be_hit_with_a_thumb(book: Casebook) -> None:
    form = ComparablesForm(book)
    enter(form, piano="u", price="1800")
    buttons = [w for w in _all(form) if isinstance(w, ipywidgets.Button)]
    assert len(buttons) == 3
    assert all(int(b.layout.min_height.removesuffix("px")) >= 44 for b in buttons)


def _all(widget: ipywidgets.Widget) -> Iterator[ipywidgets.Widget]:
    yield widget
    for child in getattr(widget, "children", ()):
        yield from _all(child)


def test_what_is_not_known_says_so_on_the_screen(book: Casebook) -> None:
    """A choice whose value is None would stand empty."""
    form = ComparablesForm(book)
    for name in ("condition", "seller_kind", "delivery_included"):
        assert form.controls[name].label == "not known"
        assert form.controls[name].index == 0
