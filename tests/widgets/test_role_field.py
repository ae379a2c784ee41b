"""What the examiner is: asked beside the name, kept at once, and it decides whose word counts."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from pianolab.assess.agreement import technicians_of
from pianolab.casebook import Casebook, create_casebook
from pianolab.model import Examiner
from pianolab.widgets import PianoForm


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Casebook]:
    with create_casebook(tmp_path / "book") as book:
        yield book


def test_nothing_is_said_before_a_choice(book: Casebook) -> None:
    form = PianoForm(book, examiner="Ana")
    assert "Ana" in form.role.choice.description
    assert (form.role.choice.value, book.examiners()) == ("", ())


@pytest.mark.parametrize(
    ("role", "above"), [("pianist", False), ("piano technician", True), ("tuner", True), ("family", False)]
)
def test_a_role_is_kept_at_once_and_the_judgement_reads_it(book: Casebook, role: str, above: bool) -> None:
    form = PianoForm(book, examiner="Ana")
    form.role.choice.value = role
    (kept,) = book.examiners()
    assert (kept.name, kept.role) == ("Ana", role)
    assert technicians_of(book.examiners()) == (frozenset({"Ana"}) if above else frozenset())
    assert PianoForm(book, examiner="Ana").role.choice.value == role
    form.role.choice.value = ""
    assert [e.role for e in book.examiners()] == [""]


def test_a_role_in_other_words_stays(book: Casebook) -> None:
    with book.editing(by="Ana") as edit:
        edit.add(Examiner(name="Ana", role="piano maker"))
    form = PianoForm(book, examiner="Ana")
    assert form.role.choice.value == "piano maker"
    assert [e.role for e in book.examiners()] == ["piano maker"]
