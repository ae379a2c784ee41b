"""Gathering: nothing lost, nothing doubled, in any order, as often as one likes."""

import shutil
import sqlite3
from dataclasses import replace
from datetime import date
from itertools import permutations

import numpy as np
import pytest

from pianolab.casebook import create_casebook, gather, open_casebook
from pianolab.casebook.codec import to_json
from pianolab.errors import CasebookError
from pianolab.io import write_sound
from pianolab.model import Finding, Piano, Visit

READERS = ("pianos", "visits", "findings", "examiners", "recordings", "surveys", "photos", "profiles")


def content(folder):
    with open_casebook(folder) as book:
        assert book.verify().ok
        records = {reader: [to_json(r) for r in getattr(book, reader)()] for reader in READERS}
        return records, [(c.uid, c.by, c.action) for c in book.log()], {c.record_id for c in book.conflicts()}


@pytest.fixture
def shelf(case, tmp_path):
    """The same casebook in three hands, each having gone on alone: ana, ben, cem."""
    case.book.close()
    folders = {}
    for name in ("ana", "ben", "cem"):
        folders[name] = tmp_path / name
        shutil.copytree(case.book.folder, folders[name])
    with open_casebook(folders["ana"]) as book, book.editing(by="Ana") as edit:
        edit.change(replace(case.finding, grade=3))
        edit.add(Finding(visit_id=case.visit.id, point="lid", grade=5))
        rng = np.random.default_rng(2)
        path = write_sound(tmp_path / "a.wav", 0.1 * rng.random((4800, 1)), rate_hz=48000, subtype="PCM_16")
        edit.add_sound(case.visit.id, path)
    with open_casebook(folders["ben"]) as book, book.editing(by="Ben") as edit:
        edit.change(replace(case.finding, grade=2))
        piano = edit.add(Piano(name="in the cellar"))
        edit.add(Visit(piano_id=piano.id, day=date(2026, 6, 1)))
    with open_casebook(folders["cem"]) as book, book.editing(by="Cem") as edit:
        edit.change(replace(case.piano, note="near the tram"))
    return folders


def test_nothing_is_lost_nothing_is_doubled(shelf, tmp_path):
    result = gather(list(shelf.values()), into=tmp_path / "all")
    assert result.problems == ()
    assert result.media == 1
    records, log, _ = content(tmp_path / "all")
    for folder in shelf.values():
        own, own_log, _ = content(folder)
        assert set(own_log) <= set(log)
        for reader in ("visits", "recordings"):
            assert set(own[reader]) <= set(records[reader])
    assert len(log) == len(set(log)) == 3 + 3 + 3 + 1
    with open_casebook(tmp_path / "all") as book:
        assert {p.name: p.note for p in book.pianos()} == {
            "by the window": "near the tram",
            "in the cellar": "",
        }
        assert book.media_path(book.recordings()[0].media).is_file()


def test_again_changes_nothing(shelf, tmp_path):
    gather(list(shelf.values()), into=tmp_path / "all")
    before = content(tmp_path / "all")
    again = gather(list(shelf.values()), into=tmp_path / "all")
    assert (again.added, again.updated, again.changes, again.media, again.purged) == (0, 0, 0, 0, 0)
    assert content(tmp_path / "all") == before


def test_the_order_does_not_matter(shelf, tmp_path):
    results = []
    for number, order in enumerate(permutations(shelf.values())):
        for folder in order:
            gather([folder], into=tmp_path / f"all{number}")
        results.append(content(tmp_path / f"all{number}"))
    assert all(result == results[0] for result in results)


def test_gathering_into_one_of_them_and_back_makes_all_equal(shelf):
    ana, ben, cem = shelf.values()
    gather([ben, cem], into=ana)
    gather([ana], into=ben)
    gather([ben], into=cem)
    assert content(ana) == content(ben) == content(cem)


def test_conflicts_stand_side_by_side_until_settled(case, shelf, tmp_path):
    result = gather(list(shelf.values()), into=tmp_path / "all")
    (conflict,) = result.conflicts
    assert conflict.record_id == case.finding.id
    assert [(v.by, v.after["grade"]) for v in conflict.versions] == [("Ana", 3), ("Ben", 2)]
    assert conflict.current.grade == 2  # the later one counts for now
    assert "Ana" in repr(result.rows())
    with open_casebook(tmp_path / "all") as book:
        assert book.conflicts() == result.conflicts
        with book.editing(by="Ana") as edit:
            edit.settle(replace(case.finding, grade=3))
        assert book.conflicts() == ()
        assert book.findings(case.visit.id)[0].grade == 3
    assert gather(list(shelf.values()), into=tmp_path / "all").conflicts == ()
    # The others learn that it is settled.
    assert gather([tmp_path / "all"], into=shelf["ben"]).conflicts == ()


def test_the_same_change_on_both_sides_is_no_conflict(case, shelf, tmp_path):
    with open_casebook(shelf["cem"]) as book, book.editing(by="Cem") as edit:
        edit.change(replace(case.finding, grade=2))
    assert gather([shelf["ben"], shelf["cem"]], into=tmp_path / "all").conflicts == ()


def test_a_change_made_on_top_of_another_is_no_conflict(case, shelf, tmp_path):
    gather([shelf["ben"]], into=tmp_path / "all")
    with open_casebook(shelf["ben"]) as book, book.editing(by="Ben") as edit:
        edit.change(replace(case.finding, grade=1))
    result = gather([shelf["ben"]], into=tmp_path / "all")
    assert (result.updated, result.conflicts) == (1, ())
    older = gather([case.book.folder], into=tmp_path / "all")
    assert (older.updated, older.changes) == (0, 0)
    with open_casebook(tmp_path / "all") as book:
        assert book.findings(case.visit.id)[0].grade == 1


def test_removed_on_one_side_changed_on_the_other_is_a_conflict(case, shelf, tmp_path):
    with open_casebook(shelf["cem"]) as book, book.editing(by="Cem") as edit:
        edit.remove(case.finding.id)
    (conflict,) = gather([shelf["ben"], shelf["cem"]], into=tmp_path / "all").conflicts
    assert conflict.current is None
    assert [v.after and v.after["grade"] for v in conflict.versions] == [2, None]


def test_sources_are_only_read(shelf, tmp_path):
    def state():
        return {p: p.read_bytes() for f in shelf.values() for p in f.rglob("*") if p.is_file()}

    before = state()
    gather(list(shelf.values()), into=tmp_path / "all")
    assert state() == before


def test_a_source_that_is_open_is_read_with_its_latest_changes(shelf, tmp_path):
    with open_casebook(shelf["ben"]) as book:
        with book.editing(by="Ben") as edit:
            edit.add(Piano(name="just now"))
        gather([shelf["ben"]], into=tmp_path / "all")
    with open_casebook(tmp_path / "all") as together:
        assert together.piano("just now")


def test_what_was_purged_anywhere_stays_purged(case, shelf, tmp_path):
    gather(list(shelf.values()), into=tmp_path / "all")
    with open_casebook(shelf["cem"]) as book:
        book.purge([case.visit.id], by="Cem")
    result = gather([shelf["cem"]], into=tmp_path / "all")
    assert result.purged == 4  # the visit, two findings, the recording
    with open_casebook(tmp_path / "all") as together:
        assert case.visit.id not in {v.id for v in together.visits()}
        assert together.recordings() == together.findings() == ()
        assert list((tmp_path / "all" / "media").iterdir()) == []
        assert together.verify().ok
    again = gather(list(shelf.values()), into=tmp_path / "all")
    assert (again.added, again.media) == (0, 0)


def test_new_records_of_something_purged_are_left_out_and_said(case, shelf, tmp_path):
    with open_casebook(shelf["cem"]) as book:
        book.purge([case.visit.id], by="Cem")
    with open_casebook(shelf["ben"]) as book, book.editing(by="Ben") as edit:
        edit.add(Finding(id="late", visit_id=case.visit.id, point="pins", grade=3))
    result = gather([shelf["cem"], shelf["ben"]], into=tmp_path / "all")
    assert any("late left out" in problem for problem in result.problems)
    with open_casebook(tmp_path / "all") as book:
        assert book.verify().ok


def test_damaged_media_are_not_copied_and_said(shelf, tmp_path):
    (path,) = (shelf["ana"] / "media").iterdir()
    path.write_bytes(b"something else")
    result = gather([shelf["ana"]], into=tmp_path / "all")
    assert any("changed content" in problem for problem in result.problems)
    path.unlink()
    result = gather([shelf["ana"]], into=tmp_path / "all")
    assert any("is missing" in problem for problem in result.problems)
    with open_casebook(tmp_path / "all") as book:
        assert len(book.recordings()) == 1
        assert not book.verify().ok


@pytest.mark.parametrize(("column", "value"), [("after", '{"name": ""}'), ("kind", "Organ")])
def test_a_source_with_rubbish_inside_is_refused_whole(shelf, tmp_path, column, value):
    connection = sqlite3.connect(shelf["ben"] / "casebook.sqlite")
    connection.execute(f"UPDATE change SET {column} = ? WHERE by = 'Ben' AND kind = 'Piano'", (value,))
    connection.commit()
    connection.close()
    gather([shelf["cem"]], into=tmp_path / "all")
    before = content(tmp_path / "all")
    with pytest.raises(CasebookError, match=r"can't be read|unknown to this version"):
        gather([shelf["ben"]], into=tmp_path / "all")
    assert content(tmp_path / "all") == before


def test_refusals_leave_the_target_alone(shelf, tmp_path):
    with pytest.raises(CasebookError, match="no such folder"):
        gather([shelf["ana"], tmp_path / "nowhere"], into=tmp_path / "all")
    assert not (tmp_path / "all").exists()
    with pytest.raises(CasebookError, match="the same casebook as the target"):
        gather([shelf["ana"]], into=shelf["ana"])
    with pytest.raises(CasebookError, match="no casebooks"):
        gather([], into=tmp_path / "all")
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "letter.txt").write_text("dear")
    with pytest.raises(CasebookError, match="isn't empty"):
        gather([shelf["ana"]], into=tmp_path / "full")


def test_casebooks_that_never_met(tmp_path):
    for name in ("one", "two"):
        with create_casebook(tmp_path / name) as book, book.editing(by=name) as edit:
            edit.add(Piano(name="the same name"))
    gather([tmp_path / "one", tmp_path / "two"], into=tmp_path / "all")
    with open_casebook(tmp_path / "all") as book:
        assert len(book.pianos()) == 2
