"""Gathering: nothing lost, nothing doubled, in any order, as often as one likes."""

import sqlite3
from contextlib import closing
from dataclasses import replace
from datetime import date
from itertools import permutations

import numpy as np
import pytest

from pianolab.casebook import create_casebook, gather, open_casebook
from pianolab.casebook.codec import to_json
from pianolab.errors import BadInput, CasebookError
from pianolab.io import Sound, write_sound
from pianolab.model import Answer, Finding, Piano, TouchOpinion, TouchTrial, Visit
from tests.casebook.places import Folders

READERS = (
    "pianos",
    "visits",
    "findings",
    "examiners",
    "recordings",
    "surveys",
    "photos",
    "profiles",
    "touch_opinions",
    "touch_trials",
    "answers",
)


def content(place):
    with open_casebook(place) as book:
        assert book.verify().ok
        records = {reader: [to_json(r) for r in getattr(book, reader)()] for reader in READERS}
        return records, [(c.uid, c.by, c.action) for c in book.log()], {c.record_id for c in book.conflicts()}


@pytest.fixture
def shelf(case, places, tmp_path):
    """The same casebook in three hands, each having gone on alone: ana, ben, cem."""
    case.book.close()
    hands = {name: places.copy(case.place, name) for name in ("ana", "ben", "cem")}
    go_on_alone(case, hands, tmp_path)
    return hands


@pytest.fixture
def folders(folder_case, tmp_path):
    """The same, in folders only."""
    folder_case.book.close()
    hands = {name: Folders(tmp_path).copy(folder_case.place, name) for name in ("ana", "ben", "cem")}
    go_on_alone(folder_case, hands, tmp_path)
    return hands


def go_on_alone(case, hands, tmp_path):
    with open_casebook(hands["ana"]) as book, book.editing(by="Ana") as edit:
        edit.change(replace(case.finding, grade=3))
        edit.add(Finding(visit_id=case.visit.id, point="pins-rust", grade=5))
        rng = np.random.default_rng(2)
        path = write_sound(tmp_path / "a.wav", 0.1 * rng.random((4800, 1)), rate_hz=48000, subtype="PCM_16")
        edit.add_sound(case.visit.id, path)
    with open_casebook(hands["ben"]) as book, book.editing(by="Ben") as edit:
        edit.change(replace(case.finding, grade=2))
        piano = edit.add(Piano(name="in the cellar"))
        edit.add(Visit(piano_id=piano.id, day=date(2026, 6, 1)))
    with open_casebook(hands["cem"]) as book, book.editing(by="Cem") as edit:
        edit.change(replace(case.piano, note="near the tram"))


def test_nothing_is_lost_nothing_is_doubled(shelf, places):
    result = gather(list(shelf.values()), into=places.new("all"))
    assert result.problems == ()
    assert result.media == 1
    records, log, _ = content(places.new("all"))
    for folder in shelf.values():
        own, own_log, _ = content(folder)
        assert set(own_log) <= set(log)
        for reader in ("visits", "recordings"):
            assert set(own[reader]) <= set(records[reader])
    assert len(log) == len(set(log)) == 3 + 3 + 3 + 1
    with open_casebook(places.new("all")) as book:
        assert {p.name: p.note for p in book.pianos()} == {
            "by the window": "near the tram",
            "in the cellar": "",
        }
        assert book.media_path(book.recordings()[0].media).is_file()


def test_again_changes_nothing(shelf, places):
    gather(list(shelf.values()), into=places.new("all"))
    before = content(places.new("all"))
    again = gather(list(shelf.values()), into=places.new("all"))
    assert (again.added, again.updated, again.changes, again.media, again.purged) == (0, 0, 0, 0, 0)
    assert content(places.new("all")) == before


def test_the_order_does_not_matter(shelf, places):
    results = []
    for number, order in enumerate(permutations(shelf.values())):
        for folder in order:
            gather([folder], into=places.new(f"all{number}"))
        results.append(content(places.new(f"all{number}")))
    assert all(result == results[0] for result in results)


def test_gathering_into_one_of_them_and_back_makes_all_equal(shelf):
    ana, ben, cem = shelf.values()
    gather([ben, cem], into=ana)
    gather([ana], into=ben)
    gather([ben], into=cem)
    assert content(ana) == content(ben) == content(cem)


def test_of_several_changes_in_one_hand_the_last_one_stands_in_the_conflict(case, shelf, places):
    with open_casebook(shelf["ben"]) as book, book.editing(by="Ben") as edit:
        edit.change(replace(case.finding, grade=1))
    (conflict,) = gather([shelf["ana"], shelf["ben"]], into=places.new("all")).conflicts
    assert [(v.by, v.after["grade"]) for v in conflict.versions] == [("Ana", 3), ("Ben", 1)]


def test_conflicts_stand_side_by_side_until_settled(case, shelf, places):
    result = gather(list(shelf.values()), into=places.new("all"))
    (conflict,) = result.conflicts
    assert conflict.record_id == case.finding.id
    assert [(v.by, v.after["grade"]) for v in conflict.versions] == [("Ana", 3), ("Ben", 2)]
    assert conflict.current.grade == 2  # the later one counts for now
    assert "Ana" in repr(result.rows())
    with open_casebook(places.new("all")) as book:
        assert book.conflicts() == result.conflicts
        with book.editing(by="Ana") as edit:
            edit.settle(replace(case.finding, grade=3))
        assert book.conflicts() == ()
        assert book.findings(case.visit.id)[0].grade == 3
    assert gather(list(shelf.values()), into=places.new("all")).conflicts == ()
    # The others learn that it is settled.
    assert gather([places.new("all")], into=shelf["ben"]).conflicts == ()


def test_the_same_change_on_both_sides_is_no_conflict(case, shelf, places):
    with open_casebook(shelf["cem"]) as book, book.editing(by="Cem") as edit:
        edit.change(replace(case.finding, grade=2))
    assert gather([shelf["ben"], shelf["cem"]], into=places.new("all")).conflicts == ()


def test_a_change_made_on_top_of_another_is_no_conflict(case, shelf, places):
    gather([shelf["ben"]], into=places.new("all"))
    with open_casebook(shelf["ben"]) as book, book.editing(by="Ben") as edit:
        edit.change(replace(case.finding, grade=1))
    result = gather([shelf["ben"]], into=places.new("all"))
    assert (result.updated, result.conflicts) == (1, ())
    older = gather([case.place], into=places.new("all"))
    assert (older.updated, older.changes) == (0, 0)
    with open_casebook(places.new("all")) as book:
        assert book.findings(case.visit.id)[0].grade == 1


def test_removed_on_one_side_changed_on_the_other_is_a_conflict(case, shelf, places):
    with open_casebook(shelf["cem"]) as book, book.editing(by="Cem") as edit:
        edit.remove(case.finding.id)
    (conflict,) = gather([shelf["ben"], shelf["cem"]], into=places.new("all")).conflicts
    assert conflict.current is None
    assert [v.after and v.after["grade"] for v in conflict.versions] == [2, None]


def test_sources_are_only_read(folders, tmp_path):
    def state():
        return {p: p.read_bytes() for f in folders.values() for p in f.rglob("*") if p.is_file()}

    before = state()
    gather(list(folders.values()), into=tmp_path / "all")
    assert state() == before


def test_a_source_that_is_open_is_read_with_its_latest_changes(shelf, places):
    with open_casebook(shelf["ben"]) as book:
        with book.editing(by="Ben") as edit:
            edit.add(Piano(name="just now"))
        gather([shelf["ben"]], into=places.new("all"))
    with open_casebook(places.new("all")) as together:
        assert together.piano("just now")


def test_what_was_purged_anywhere_stays_purged(case, shelf, places):
    gather(list(shelf.values()), into=places.new("all"))
    with open_casebook(shelf["cem"]) as book:
        book.purge([case.visit.id], by="Cem")
    result = gather([shelf["cem"]], into=places.new("all"))
    assert result.purged == 4  # the visit, two findings, the recording
    with open_casebook(places.new("all")) as together:
        assert case.visit.id not in {v.id for v in together.visits()}
        assert together.recordings() == together.findings() == ()
        assert together.verify().ok
        assert together.verify().unused_media == ()
    again = gather(list(shelf.values()), into=places.new("all"))
    assert (again.added, again.media) == (0, 0)


def test_new_records_of_something_purged_are_left_out_and_said(case, shelf, places):
    with open_casebook(shelf["cem"]) as book:
        book.purge([case.visit.id], by="Cem")
    with open_casebook(shelf["ben"]) as book, book.editing(by="Ben") as edit:
        edit.add(Finding(id="late", visit_id=case.visit.id, point="pins-look", grade=3))
    result = gather([shelf["cem"], shelf["ben"]], into=places.new("all"))
    assert any("late left out" in problem for problem in result.problems)
    with open_casebook(places.new("all")) as book:
        assert book.verify().ok


def test_damaged_media_are_not_copied_and_said(folders, tmp_path):
    (path,) = (folders["ana"] / "media").iterdir()
    path.write_bytes(b"something else")
    result = gather([folders["ana"]], into=tmp_path / "all")
    assert any("changed content" in problem for problem in result.problems)
    path.unlink()
    result = gather([folders["ana"]], into=tmp_path / "all")
    assert any("is missing" in problem for problem in result.problems)
    with open_casebook(tmp_path / "all") as book:
        assert len(book.recordings()) == 1
        assert not book.verify().ok


RUBBISH = [
    ("after", '{"name": ""}', "can't be read"),
    ("after", "[" * 100_000, "can't be read"),
    ("after", '{"id": "another", "name": "x"}', "content of 'another'"),
    ("after", b"\xff\xfe", "content"),
    ("kind", "Organ", "unknown to this version"),
    ("at", "tomorrow", "at: got 'tomorrow'"),
    ("at", "9999-12-31T23:59:59.999999+00:00", "need the moment of a change"),
    ("at", 5, "need the moment of a change"),
    ("by", "\ud800", "by: got"),
    ("action", "steal", "action: got 'steal'"),
    ("undoes", " ", "undoes: got"),
]


@pytest.mark.parametrize(("column", "value", "said"), RUBBISH)
def test_rubbish_inside_is_left_out_by_name_and_the_rest_taken(folders, tmp_path, column, value, said):
    where = "WHERE by = 'Ben' AND kind = 'Piano'"
    with closing(sqlite3.connect(folders["ben"] / "casebook.sqlite")) as connection, connection:
        (identity,) = connection.execute(f"SELECT record_id FROM change {where}").fetchone()
        if value == "\ud800":  # no driver writes it; as bytes of a text it can stand in a file
            connection.execute(f"UPDATE change SET {column} = CAST(x'eda080' AS TEXT) {where}")
        else:
            connection.execute(f"UPDATE change SET {column} = ? {where}", (value,))
    result = gather([folders["ben"]], into=tmp_path / "all")
    problems = "\n".join(result.problems)
    assert str(folders["ben"]) in problems
    if value != "\ud800":
        assert f"{identity} left out" in problems
        assert said in problems
    records, log, _ = content(tmp_path / "all")
    assert len(records["pianos"]) == 1  # Ben's change of the finding came along, his piano not, nor its visit
    assert [by for _, by, _ in log].count("Ben") == 1
    with open_casebook(tmp_path / "all") as book, book.editing(by="Ana") as edit:
        edit.change(replace(book.pianos()[0], note="goes on"))


def test_a_source_whose_clock_is_ahead_is_taken_and_said(folders, tmp_path):
    with closing(sqlite3.connect(folders["ben"] / "casebook.sqlite")) as connection, connection:
        connection.execute("UPDATE change SET at = '2096' || substr(at, 5) WHERE by = 'Ben'")
    result = gather([folders["ben"]], into=tmp_path / "all")
    (problem,) = result.problems
    assert "3 changes by Ben are dated up to 2096" in problem
    with open_casebook(tmp_path / "all") as book:
        cellar = book.piano("in the cellar")
        with book.editing(by="Ana") as edit:
            edit.change(replace(cellar, note="dry"))
        assert book.piano("in the cellar").note == "dry"
        assert [c.by for c in book.log(cellar.id)] == ["Ben", "Ana"]
        assert book.verify().ok


def test_refusals_leave_the_target_alone(folders, tmp_path):
    with pytest.raises(CasebookError, match="no such folder"):
        gather([folders["ana"], tmp_path / "nowhere"], into=tmp_path / "all")
    assert not (tmp_path / "all").exists()
    with pytest.raises(CasebookError, match="the same casebook as the target"):
        gather([folders["ana"]], into=folders["ana"])
    with pytest.raises(CasebookError, match="no casebooks"):
        gather([], into=tmp_path / "all")
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "letter.txt").write_text("dear")
    with pytest.raises(CasebookError, match="isn't empty"):
        gather([folders["ana"]], into=tmp_path / "full")


def test_casebooks_that_never_met(places):
    for name in ("one", "two"):
        with create_casebook(places.new(name)) as book, book.editing(by=name) as edit:
            edit.add(Piano(name="the same name"))
    gather([places.new("one"), places.new("two")], into=places.new("all"))
    with open_casebook(places.new("all")) as book:
        assert len(book.pianos()) == 2


@pytest.fixture
def trial(case):
    """A second piano, an opinion, and a trial of the two."""
    with case.book.editing(by="Ana") as edit:
        other = edit.add(Piano(name="in the cellar"))
        edit.add(
            TouchOpinion(visit_id=case.visit.id, player="Ana", taste={"weight": 2}, faults={"evenness": 4})
        )
        edit.add(Answer(pupil="Mia", kind="unison", task="u1", given="first", truth="second", correct=False))
        return edit.add(TouchTrial(player="Ana", piano_id=case.piano.id, other_piano_id=other.id))


def test_opinions_trials_and_answers_are_gathered_with_both_pianos(case, places, trial):
    result = gather([case.place], into=places.new("all"))
    assert result.problems == ()
    with open_casebook(places.new("all")) as together:
        assert together.touch_trials() == (trial,)
        assert together.touch_opinions(case.visit.id) == case.book.touch_opinions()
        assert together.answers() == case.book.answers()


@pytest.mark.parametrize("which", ["piano_id", "other_piano_id"])
def test_a_trial_goes_with_either_piano(case, places, trial, which):
    apart = places.copy(case.place, "apart")
    gone = getattr(trial, which)
    assert ("TouchTrial", trial.id) in case.book.purge([gone], by="Ana").records
    assert case.book.touch_trials() == ()
    assert case.book.verify().ok
    # Elsewhere a new trial of the purged piano is left out, and said.
    with open_casebook(apart) as other, other.editing(by="Ben") as edit:
        edit.add(replace(trial, id="late", player="Ben"))
    result = gather([apart], into=case.place)
    assert ["late left out, its Piano was purged" in problem for problem in result.problems] == [True]
    assert case.book.touch_trials() == ()


def test_a_piano_of_a_trial_is_not_removed(case, trial):
    for identity in (trial.piano_id, trial.other_piano_id):
        with case.book.editing(by="Ana") as edit, pytest.raises(BadInput, match="records that belong to it"):
            edit.remove(identity)
    with case.book.editing(by="Ana") as edit, pytest.raises(BadInput, match="TouchTrial other_piano_id"):
        edit.add(replace(trial, id="x", other_piano_id="nobody"))


def test_from_a_folder_into_a_server_and_back(server_case, tmp_path):
    with create_casebook(tmp_path / "own") as own:
        with own.editing(by="Ben") as edit:
            piano = edit.add(Piano(name="in the cellar"))
            visit = edit.add(Visit(piano_id=piano.id, day=date(2026, 6, 1)))
            kept = edit.add_sound(visit.id, Sound(np.zeros((480, 1), np.float32), 48000, "a"))
        sound = own.media_path(kept.media).read_bytes()
    result = gather([tmp_path / "own"], into=server_case.place)
    assert (result.added, result.media, result.problems) == (3, 1, ())
    assert result.into == server_case.book.name
    assert server_case.book.media_path(kept.media).read_bytes() == sound
    gather([server_case.place], into=tmp_path / "own")
    assert content(tmp_path / "own") == content(server_case.place)


def test_a_server_as_source_is_only_read(server_case, tmp_path):
    before = content(server_case.place)
    gather([server_case.place], into=tmp_path / "all")
    assert content(server_case.place) == before
    with pytest.raises(CasebookError, match="the same casebook as the target"):
        gather([server_case.place], into=server_case.place)
