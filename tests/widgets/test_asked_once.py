"""What stands in the piano's own record isn't asked on the walk; a share is read with its sign; controls fit a finger."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from pianolab.casebook import Casebook, create_casebook
from pianolab.checklist import load_checklist
from pianolab.errors import BadInput
from pianolab.model import Piano, Visit
from pianolab.report.twin_keyboard import KeyMark, MarkShape, keyboard_layout, keyboard_twin
from pianolab.widgets import ComparablesForm, FindingsForm, PianoForm, ProfileForm, RoomForm
from pianolab.widgets.asking import _in_words
from pianolab.widgets.entries import value_fields
from pianolab.widgets.form_parts import LEAST_PX


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Casebook]:
    with create_casebook(tmp_path / "book") as book:
        yield book


def walk_of(book: Casebook, **known: Any) -> FindingsForm:
    with book.editing(by="Ana") as edit:
        piano = edit.add(Piano(name=f"piano {len(book.pianos())}", **known))
        visit = edit.add(Visit(piano_id=piano.id, day=date(2026, 5, 14)))
    return FindingsForm(book, visit.id, examiner="Ana")


def asked(form: FindingsForm) -> list[str]:
    """Points in the order of their turn, by going on without an answer until the first comes again."""
    seen: list[str] = []
    while (point := form.view["point"]["id"]) not in seen:
        seen.append(point)
        form.receive({"do": "next"})
    return seen


@pytest.mark.slow
def test_age_and_size_in_the_record_are_not_asked_again(book: Casebook) -> None:
    known, unknown = asked(walk_of(book, year=1978, size_cm=110)), asked(walk_of(book))
    assert {"papers-age", "papers-size"} <= set(unknown)
    assert not {"papers-age", "papers-size"} & set(known)
    assert "papers-serial" in known  # whether the number fits the papers stands in no record


@pytest.mark.parametrize(("known", "shown"), [({"serial": "12 345"}, "12 345"), ({}, "")])
def test_a_number_that_was_typed_stands_beside_the_question_about_it(
    book: Casebook, known: dict[str, Any], shown: str
) -> None:
    form = walk_of(book, **known)
    form.receive({"do": "go", "point": "papers-serial"})
    assert dict(form.view["point"]["facts"]).get("On record", "") == shown


@pytest.mark.parametrize("typed", ["38%", "38 %", "38", "38 % relative humidity", "38,0%"])
def test_a_share_is_read_with_its_sign(typed: str) -> None:
    (point, *_) = (p for p in load_checklist() if p.unit == "% relative humidity")
    assert value_fields(point, typed)["reading"] == 38.0
    with pytest.raises(BadInput, match="need a number in"):
        value_fields(point, typed + " mm")


def test_every_form_has_controls_for_a_finger(book: Casebook) -> None:
    pianos = PianoForm(book)
    forms = [pianos, ProfileForm(book), ComparablesForm(book), RoomForm(book, pianos.visit.id)]
    for form in forms:
        assert "pl-form" in form._dom_classes
        assert f"--jp-widgets-inline-height: {LEAST_PX}px" in form.children[0].value


@pytest.mark.parametrize(
    ("value", "said"),
    [(True, "yes"), (False, "no"), (None, "nothing"), ("", "nothing"), ((1, 88), "1 to 88"), (0, "0")],
)
def test_both_sides_of_a_question_are_told_in_words(value: object, said: str) -> None:
    assert _in_words(value) == f"<b>{said}</b>"


@pytest.mark.parametrize(("shape", "drawn"), [("circle", 'cx="{x}"'), ("triangle", "M{x} ")])
def test_a_mark_stands_in_the_middle_of_its_key(shape: MarkShape, drawn: str) -> None:
    key = next(k for k in keyboard_layout(40, 52) if k.left > 2 and not k.black)
    html = keyboard_twin(first_key=40, last_key=52, marks={key.key: [KeyMark(shape=shape, text="")]})
    middle = f"{(key.left + key.width / 2) * 18:.1f}"
    assert drawn.format(x=middle) in html
    assert drawn.format(x=middle) not in keyboard_twin(first_key=40, last_key=52)
    boxes = re.findall(r'<rect x="([\d.]+)" y="0" width="([\d.]+)" height="98"', html)
    assert sum(float(x) < float(middle) < float(x) + float(wide) for x, wide in boxes) == 1
