"""The room there and the room at home on one form: saved as changed, one place for each fact, taken back; no browser."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from pianolab.casebook import Casebook, create_casebook
from pianolab.errors import BadInput
from pianolab.model import Finding, Piano, Room, Visit, load_profiles
from pianolab.rooms import room_of_visit
from pianolab.widgets.room_form import RoomForm


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Casebook]:
    with create_casebook(tmp_path / "book") as casebook:
        with casebook.editing(by="Ana") as edit:
            piano = edit.add(Piano(name="by the window"))
            edit.add(Visit(piano_id=piano.id, day=date(2026, 5, 14), examiner="Ana"))
        yield casebook


def form_of(book: Casebook, **given: Any) -> RoomForm:
    return RoomForm(book, book.visits()[0].id, **{"examiner": "Ana", **given})


def kept(book: Casebook) -> Any:
    visit = book.visits()[0]
    return room_of_visit(visit.room, book.findings(visit.id))


def fill(form: RoomForm) -> None:
    form.there.sizes["length_m"].value = "5,2 m"
    form.there.surfaces["carpet"].value = True
    form.answers["lid"].value = "open"
    form.answers["wall"].value = "free"
    form.answers["hardness"].value = "bare"


def test_each_change_is_kept_where_the_walk_sees_it(book: Casebook) -> None:
    form, written = form_of(book), []
    form.when_written(lambda: written.append(1))
    fill(form)
    assert form.line.value.startswith("Saved at ")
    found = kept(book)
    assert (found.room.length_m, found.room.surfaces) == (5.2, ("carpet",))
    assert (found.lid, found.against_wall, found.hardness) == ("open", False, "bare")
    assert len(written) == 5
    visit = book.visits()[0]
    answered = {f.point for f in book.findings(visit.id) if f.examiner == "Ana"}
    assert answered == {"room-length", "room-lid", "room-wall", "room-soft", "room-bare"}
    assert visit.room == Room(surfaces=("carpet",))
    again = form_of(book)
    assert (again.answers["hardness"].value, again.there.sizes["length_m"].value) == ("bare", "5.2")
    assert again.there.surfaces["carpet"].value


def test_what_the_walk_found_stands_on_the_form_and_is_changed_in_its_place(book: Casebook) -> None:
    visit, form = book.visits()[0], form_of(book)
    with book.editing(by="Ben") as edit:
        edit.add(Finding(visit_id=visit.id, point="room-height", reading=2.5, examiner="Ben"))
    form.refresh()
    assert form.there.sizes["height_m"].value == "2.5"
    form.there.sizes["height_m"].value = "2.7"
    (height,) = (f for f in book.findings(visit.id) if f.point == "room-height")
    assert (height.reading, height.examiner) == (2.7, "Ana")


def test_a_size_of_the_visits_own_record_moves_to_the_walks_point(book: Casebook) -> None:
    visit = book.visits()[0]
    with book.editing(by="Ana") as edit:
        edit.change(replace(visit, room=Room(length_m=9.0, note="bay window")))
    form_of(book).there.sizes["length_m"].value = "6"
    assert book.visits()[0].room == Room(note="bay window")
    assert kept(book).room.length_m == 6.0


def test_everything_is_taken_back_step_by_step(book: Casebook) -> None:
    form = form_of(book)
    fill(form)
    form.answers["lid"].value = ""
    form.answers["lid"].value = "closed"
    form.home.sizes["width_m"].value = "3.8"
    assert form.home_room.width_m == 3.8
    lids = []
    for _ in range(4):
        form.back.click()
        assert form.line.value.startswith("Taken back at ")
        lids.append(kept(book).lid)
    assert lids == ["closed", None, "open", "open"]
    assert form.home_room == load_profiles()["first piano"].home_room
    for _ in range(4):
        form.back.click()
    assert kept(book) == room_of_visit(Room())
    assert form.back.disabled
    form.take_back()
    assert form.line.value == "Nothing to take back."


def test_what_was_taken_out_comes_back_and_what_was_before_it_too(book: Casebook) -> None:
    form, lids = form_of(book), []
    for lid in ("open", "closed", ""):
        form.answers["lid"].value = lid
    for _ in range(3):
        form.back.click()
        lids.append(kept(book).lid)
    assert lids == ["closed", "open", None]


@pytest.mark.parametrize(("typed", "line"), [("520", "Centimetres"), ("long", "need 0.5 to 200 m")])
def test_what_cannot_be_a_room_is_refused_in_one_line(book: Casebook, typed: str, line: str) -> None:
    form, before = form_of(book), len(book.log())
    for fields in (form.there, form.home):
        fields.sizes["length_m"].value = typed
        assert form.line.value.startswith("<b>Not saved.</b>")
        assert line in form.line.value
        assert "\n" not in form.line.value
    assert len(book.log()) == before


def test_what_another_changed_meanwhile_is_asked(book: Casebook) -> None:
    form = form_of(book)
    form.there.surfaces["carpet"].value = True
    with book.editing(by="Ben") as edit:
        visit = book.visits()[0]
        edit.change(replace(visit, room=Room(surfaces=("tiles",))))
    form.there.surfaces["curtains"].value = True
    assert book.visits()[0].room.surfaces == ("tiles",)
    assert form.asking.waits
    assert "from Ben" in form.asking.words.value
    form.asking.mine.click()
    assert book.visits()[0].room.surfaces == ("carpet", "curtains")


def test_a_room_of_which_nothing_is_known_says_so_and_hostile_words_are_escaped(book: Casebook) -> None:
    form = form_of(book)
    assert "nobody noted how the lid stood" in form.sum.value
    assert form.to_html().count("not noted") == len(
        ("length", "width", "height", "surfaces", "lid", "wall", "clap")
    )
    with book.editing(by="Ben") as edit:
        edit.change(replace(book.visits()[0], room=Room(surfaces=("<script>",))))
    form.refresh()
    assert "<script" not in form.to_html() + form.there.others.value
    form.there.surfaces["rug"].value = True
    assert book.visits()[0].room.surfaces == ("rug", "<script>")


def test_nobody_of_that_name(book: Casebook) -> None:
    with pytest.raises(BadInput, match="buyer: got 'nobody'"):
        form_of(book, buyer="nobody")
