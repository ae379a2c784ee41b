"""The form of the pianos: enter, change, go on to another, begin a visit; nothing that can't be used is kept."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import fields, replace
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path

import pytest

from pianolab.casebook import Casebook, create_casebook, open_casebook
from pianolab.model import Piano, Visit
from pianolab.planning import plan_visits
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


def test_while_visits_are_planned_none_is_begun(book: Casebook) -> None:
    form = PianoForm(book, visits=False)
    form.controls["name"].value = "hallway"
    form.another.click()
    assert [p.name for p in book.pianos()] == ["hallway", "piano 2"]
    assert book.visits() == ()
    assert "Not visited yet" in form.line.value
    (first, _) = plan_visits(book.pianos()).stops
    assert first.earlier_visits == ()
    form.again.click()
    assert [v.day for v in book.visits()] == [date.today()] == [form.visit.day]


def test_opened_again_it_enters_nothing(book: Casebook) -> None:
    PianoForm(book, begin=Piano(name="hallway"))
    before = len(book.log())
    form = PianoForm(book, begin=Piano(name="another"))
    assert form.piano.name == "hallway"
    assert len(book.log()) == before


def test_what_is_typed_is_in_the_casebook_at_once_and_after_a_restart(book: Casebook, tmp_path: Path) -> None:
    form = PianoForm(book, examiner="Ana")
    for name, value in {
        "name": " by the window ",
        "kind": "grand",
        "year": "1931",
        "compass": (1, 85),
        "key_tops": "ivory",
        "asking_price": "2400",
        "seller": "M",
        "address": "3 Mill Lane",
    }.items():
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


def test_the_folded_parts_are_saved_like_the_rest(book: Casebook, tmp_path: Path) -> None:
    form = PianoForm(book, examiner="Ana")
    typed = {
        "make": "Invented & Sons",
        "model": "120",
        "size_cm": "121,5 cm",
        "weight_kg": "230",
        "seller_kind": "dealer",
        "warranty_years": "5 years",
        "tunings_included": "2",
        "delivery_included": True,
        "storage_kind": "beside heat",
        "storage": "over floor heating",
    }
    for name, value in typed.items():
        form.controls[name].value = value
        assert form.line.value.startswith("Saved at "), name
    book.close()
    with open_casebook(tmp_path / "book") as again:
        (kept,) = again.pianos()
    assert (kept.make, kept.model, kept.size_cm, kept.weight_kg) == ("Invented & Sons", "120", 121.5, 230.0)
    assert (kept.seller_kind, kept.warranty_years, kept.tunings_included) == ("dealer", 5.0, 2)
    assert (kept.delivery_included, kept.storage_kind, kept.storage) == (
        True,
        "beside heat",
        "over floor heating",
    )
    html = form.to_html()
    assert all(words in html for words in ("Invented &amp; Sons", "121.5", "a dealer", "yes", "beside heat"))


def test_every_field_of_a_piano_has_its_place_on_the_form(book: Casebook) -> None:
    form = PianoForm(book)
    shown = {*form.controls, "id", "currency", "first_key", "last_key"} - {"compass"}
    assert shown == {field.name for field in fields(Piano)}
    folded = [w for part in form.more.children for w in part.children]
    assert {id(w) for w in form.controls.values()} <= {id(w) for w in (*form.children, *folded)}


def test_what_is_not_known_of_an_offer_stays_unknown(book: Casebook) -> None:
    form = PianoForm(
        book, begin=Piano(name="a", warranty_years=2, seller_kind="dealer", delivery_included=False)
    )
    assert form.controls["warranty_years"].value == "2"
    form.controls["warranty_years"].value = ""
    form.controls["seller_kind"].value = ""
    form.controls["delivery_included"].value = ""
    kept = form.piano
    assert (kept.warranty_years, kept.seller_kind, kept.delivery_included) == (None, None, None)


@pytest.mark.parametrize(
    ("typed", "price"),
    [("2.400", 2400), ("2,400", 2400), ("1 900", 1900), ("€ 900", 900), ("about 900", None)],
)
def test_a_price_as_people_write_it(book: Casebook, typed: str, price: int | None) -> None:
    form = PianoForm(book)
    form.controls["asking_price"].value = typed
    assert form.piano.asking_price == price
    assert ("Not saved" in form.line.value) == (price is None)


def test_an_unknown_price_stays_unknown(book: Casebook) -> None:
    form = PianoForm(book, begin=Piano(name="a", asking_price=Decimal(900), year=1950))
    form.controls["asking_price"].value = ""
    form.controls["year"].value = ""
    assert (form.piano.asking_price, form.piano.year) == (None, None)
    assert book.pianos() == (form.piano,)


def test_another_piano_and_back(book: Casebook) -> None:
    form = PianoForm(book, begin=Piano(name="Piano 2", seller="M"))
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


def behind_its_back(book: Casebook, **values: object) -> None:
    with book.editing(by="Ben") as edit:
        edit.change(replace(book.pianos()[0], **values))  # type: ignore[arg-type]


def test_what_another_changed_meanwhile_is_not_set_back(book: Casebook) -> None:
    form = PianoForm(book, begin=Piano(name="A", seller="M", address="old lane"), examiner="Ana")
    behind_its_back(book, seller="N", address="new lane")
    form.controls["serial"].value = "1234"
    (kept,) = book.pianos()
    assert (kept.seller, kept.address, kept.serial) == ("N", "new lane", "1234")
    assert form.line.value.startswith("Saved at ")
    assert "Changed elsewhere meanwhile: Seller, Address." in form.line.value
    assert form.controls["seller"].value == "N"
    assert not form.asking.waits


@pytest.mark.parametrize(("button", "seller"), [("mine", "O"), ("theirs", "<b>N</b>")])
def test_what_both_changed_is_asked_with_both_values(book: Casebook, button: str, seller: str) -> None:
    form = PianoForm(book, begin=Piano(name="A", seller="M"), examiner="Ana")
    behind_its_back(book, seller="<b>N</b>", year=1950)
    form.controls["seller"].value = "O"
    assert book.pianos()[0].seller == "<b>N</b>"
    assert "Saved" not in form.line.value
    assert form.asking.waits
    assert "Seller: <b>O</b> from you, <b>&lt;b&gt;N&lt;/b&gt;</b> from Ben" in form.asking.words.value
    getattr(form.asking, button).click()
    (kept,) = book.pianos()
    assert (kept.seller, kept.year) == (seller, 1950)
    assert (form.piano, form.controls["seller"].value) == (kept, seller)
    assert not form.asking.waits
    assert form.asking.children == ()


def test_a_second_conflict_while_the_first_is_asked(book: Casebook) -> None:
    form = PianoForm(book, begin=Piano(name="A", seller="M"), examiner="Ana")
    behind_its_back(book, seller="N")
    form.controls["seller"].value = "O"
    behind_its_back(book, seller="P")
    form.asking.mine.click()
    assert book.pianos()[0].seller == "P"
    assert "<b>P</b> from Ben" in form.asking.words.value
    form.asking.mine.click()
    assert book.pianos()[0].seller == "O"


def test_a_name_that_another_piano_has_is_refused(book: Casebook) -> None:
    form = PianoForm(book, begin=Piano(name="A"))
    form.another.click()
    form.controls["name"].value = "a"
    assert "the name of another piano in this casebook" in form.line.value
    assert {p.name for p in book.pianos()} == {"A", "piano 2"}


def test_a_piano_that_was_removed_meanwhile(book: Casebook) -> None:
    form = PianoForm(book, begin=Piano(name="A"))
    with book.editing(by="Ben") as edit:
        edit.remove(form.visit.id)
        edit.remove(form.piano.id)
    form.controls["seller"].value = "O"
    assert "removed by Ben" in form.asking.words.value
    assert book.pianos() == ()
