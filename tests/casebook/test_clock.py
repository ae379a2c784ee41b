"""Clocks that are wrong: undo and redo follow the order of entry, whatever the clock says."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from pianolab.casebook import gather, ledger, open_casebook
from pianolab.errors import CasebookError
from pianolab.model import Finding
from tests.casebook.places import Folders

START = datetime(2026, 6, 1, 12, tzinfo=UTC)


@pytest.fixture
def clock(monkeypatch):
    """Sets the clock of whoever writes."""

    def set_to(moment):
        class Set(datetime):
            @classmethod
            def now(cls, _=None):
                return moment

        monkeypatch.setattr(ledger, "datetime", Set)

    return set_to


def enter(book, case, grade, *, by="Ben"):
    with book.editing(by=by) as edit:
        return edit.add(Finding(visit_id=case.visit.id, point="pins-rust", grade=grade))


def grades(book):
    return sorted(f.grade for f in book.findings() if f.point == "pins-rust")


def test_undo_takes_back_what_was_entered_last_though_the_clock_went_back(case, clock):
    clock(START)
    enter(case.book, case, 2)
    clock(START - timedelta(days=400))
    enter(case.book, case, 3)
    enter(case.book, case, 4)
    case.book.undo(by="Ben")
    assert grades(case.book) == [2, 3]
    case.book.undo(by="Ben")
    assert grades(case.book) == [2]
    clock(START - timedelta(days=800))
    case.book.redo(by="Ben")
    assert grades(case.book) == [2, 3]
    case.book.redo(by="Ben")
    assert grades(case.book) == [2, 3, 4]
    with pytest.raises(CasebookError, match="got no undo of theirs"):
        case.book.redo(by="Ben")


def test_redo_is_over_once_something_was_entered_though_the_clock_went_back(case, clock):
    clock(START)
    enter(case.book, case, 2)
    case.book.undo(by="Ben")
    clock(START - timedelta(days=400))
    enter(case.book, case, 3)
    with pytest.raises(CasebookError, match="got no undo of theirs"):
        case.book.redo(by="Ben")
    assert grades(case.book) == [3]


def test_what_was_gathered_from_another_machine_is_not_what_was_entered_last(
    folder_case, tmp_path, monkeypatch
):
    """Ben's tablet comes home in the evening; his last tap is the one on this computer."""
    tablet = Folders(tmp_path).copy(folder_case.place, "tablet")
    with monkeypatch.context() as patch, open_casebook(tablet) as book:
        patch.setattr(type(book), "_machine", lambda _: "tablet")
        enter(book, folder_case, 1)
    enter(folder_case.book, folder_case, 5)
    gather([tablet], into=folder_case.place)
    folder_case.book.undo(by="Ben")
    assert grades(folder_case.book) == [1]
    folder_case.book.undo(by="Ben")
    assert grades(folder_case.book) == []


def test_on_a_shared_casebook_the_last_entry_counts_on_whatever_machine(case, monkeypatch):
    enter(case.book, case, 1)
    with monkeypatch.context() as patch, open_casebook(case.place) as book:
        patch.setattr(type(book), "_machine", lambda _: "tablet")
        enter(book, case, 2)
    case.book.undo(by="Ben")
    assert grades(case.book) == [1]


def test_a_record_from_the_far_future_can_still_be_changed(case, clock):
    """Casebooks that took such an entry before it was refused are still to be used."""
    clock(datetime.max.replace(tzinfo=UTC))
    late = enter(case.book, case, 2)
    clock(START)
    with case.book.editing(by="Ana") as edit:
        edit.change(replace(late, grade=3))
    assert grades(case.book) == [3]
    assert case.book.log(late.id)
