"""Purging: says what goes, leaves a bare id, and nothing of the content anywhere in the folder."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from pianolab.casebook import create_casebook, export_zip, gather, import_zip, open_casebook
from pianolab.casebook.backups import back_up
from pianolab.casebook.engine import DATABASE_NAME
from pianolab.casebook.migrate import _copy_tables, copies_on_server
from pianolab.errors import BadInput
from pianolab.io import Sound
from pianolab.model import Piano

SOUND = Sound(np.zeros((480, 1), np.float32), 48000, "a.wav")


def everything(case):
    """All that is stored, as bytes: the folder's files, or every table and copy on the server."""
    if isinstance(case.place, Path):
        return b"".join(p.read_bytes() for p in case.place.rglob("*") if p.is_file())
    query = (
        "SELECT quote_ident(schemaname) || '.' || quote_ident(tablename) FROM pg_tables "
        "WHERE schemaname = current_schema() OR schemaname = ANY(%(copies)s)"
    )
    with case.book._engine.connect() as connection:
        copies = copies_on_server(connection)
        tables = connection.exec_driver_sql(query, {"copies": copies}).scalars().all()
        rows = [connection.exec_driver_sql(f"SELECT t::text FROM {t} t").scalars().all() for t in tables]
        return repr(rows).encode()


def copy_first(case):
    """A copy as before a migration."""
    if isinstance(case.place, Path):
        back_up(case.place / DATABASE_NAME, label="test")
        return
    with case.book._engine.execution_options(purpose="write").begin() as connection:
        _copy_tables(connection, label="test")


def test_nothing_of_the_content_is_left(case):
    with case.book.editing(by="Ana") as edit:
        edit.change(replace(case.piano, address="Moved to Quiet Street"))
        edit.add_sound(case.visit.id, SOUND)
    before = everything(case).count(b"Hidden Lane")
    copy_first(case)
    assert everything(case).count(b"Hidden Lane") > before > 0
    plan = case.book.purge([case.piano.id], by="Ana")
    for word in (b"Hidden Lane", b"Quiet Street", b"by the window"):
        assert word not in everything(case)
    assert {kind for kind, _ in plan.records} == {"Piano", "Visit", "Finding", "Recording"}
    assert case.book.verify().unused_media == ()
    assert list((case.book.folder / "media").iterdir()) == []
    assert case.book.pianos() == ()
    assert case.book.verify().ok


def test_the_plan_says_it_beforehand_and_changes_nothing(case):
    with case.book.editing(by="Ana") as edit:
        recording = edit.add_sound(case.visit.id, SOUND)
    before = case.book.log()
    plan = case.book.purge_plan([case.visit.id])
    assert {i for _, i in plan.records} == {case.visit.id, case.finding.id, recording.id}
    assert plan.media == (recording.media,)
    assert "removes 3 records and 1 media files" in repr(plan)
    assert case.book.log() == before


def test_the_log_keeps_that_something_was(case):
    case.book.purge([case.finding.id], by="Ana")
    (entry,) = case.book.log(case.finding.id)
    assert (entry.purged, entry.before, entry.after, entry.by) == (True, None, None, "Ana")
    assert case.book.as_of(entry.at).findings() == ()


def test_media_used_elsewhere_stay(case):
    with case.book.editing(by="Ana") as edit:
        one, other = edit.add_sound(case.visit.id, SOUND), edit.add_sound(case.visit.id, SOUND)
    assert case.book.purge([one.id], by="Ana").media == ()
    assert case.book.media_path(other.media).is_file()
    assert case.book.purge([other.id], by="Ana").media == (other.media,)


def test_removed_records_can_be_purged(case):
    with case.book.editing(by="Ana") as edit:
        edit.remove(case.finding.id)
    case.book.purge(case.finding.id, by="Ana")
    assert case.book.log(case.finding.id)[0].purged


def test_a_purged_id_is_not_used_again(case):
    case.book.purge([case.piano.id], by="Ana")
    with case.book.editing(by="Ana") as edit, pytest.raises(BadInput, match="an id that was purged"):
        edit.add(case.piano)


def test_unknown_ids(case):
    with pytest.raises(BadInput, match="no such record"):
        case.book.purge([case.finding.id, "nothing"], by="Ana")
    assert case.book.findings() == (case.finding,)


def test_purged_changes_are_not_undone(places):
    with create_casebook(places.new("other")) as book:
        with book.editing(by="Ana") as edit:
            first = edit.add(Piano(name="first"))
            second = edit.add(Piano(name="second"))
        book.purge([second.id], by="Ana")
        assert book.undo(by="Ana").record_id == first.id


def test_an_address_goes_and_the_piano_stays(case, places, tmp_path):
    case.book.close()
    other = places.copy(case.place, "other")
    with case.book.editing(by="Ana") as edit:
        edit.change(replace(case.piano, address="9 Quiet Street", seller="Mrs Sellwell"))
    case.book.purge_fields(case.piano.id, ["address", "seller"], by="Ana")
    for word in (b"Hidden Lane", b"Quiet Street", b"Sellwell"):
        assert word not in everything(case)
    assert case.book.pianos() == (replace(case.piano, address=""),)
    assert [c.after["address"] for c in case.book.log(case.piano.id)] == ["", ""]
    assert case.book.verify().ok
    # Another's casebook that still has it, even in a new change, doesn't bring it back.
    with open_casebook(other) as book, book.editing(by="Ben") as edit:
        edit.change(replace(case.piano, address="5 Hidden Lane, back door", note="new"))
    gather([other], into=case.place)
    assert case.book.piano(case.piano.id) == replace(case.piano, address="", note="new")
    case.book.close()
    assert b"Hidden Lane" not in everything(case)
    with open_casebook(other) as book:
        there = replace(case, book=book, place=other)
        copy_first(there)
        assert b"Hidden Lane" in everything(there)
        gather([case.place], into=other)
        assert b"Hidden Lane" not in everything(there)
    with import_zip(export_zip(case.book, tmp_path / "all.zip"), into=tmp_path / "again") as again:
        assert again.piano(case.piano.id).address == ""


@pytest.mark.parametrize("name", ["name", "year", "asking_price", "colour", "id"])
def test_only_text_that_may_be_empty_is_purged(case, name):
    with pytest.raises(BadInput, match="field of Piano"):
        case.book.purge_fields(case.piano.id, [name], by="Ana")
    assert case.book.pianos() == (case.piano,)
