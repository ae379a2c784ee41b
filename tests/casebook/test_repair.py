"""Damaged casebooks: found, named, made anew from all that can be read, and gone back to a copy by one command."""

import random
import shutil
import sqlite3
from contextlib import closing
from dataclasses import replace

import pytest

from pianolab.casebook import check_casebook, gather, open_casebook, repair_casebook, restore_casebook
from pianolab.casebook.backups import back_up, copies
from pianolab.casebook.engine import DATABASE_NAME
from pianolab.casebook.kept_settings import KeptSettings, keep_settings, kept_settings
from pianolab.cli import main
from pianolab.errors import BadInput, CasebookError, PianolabError
from pianolab.model import Finding, Piano


@pytest.fixture
def long_case(folder_case, sound_file, photo_file):
    """A casebook of some hundred findings, with sound, picture and settings, closed."""
    with folder_case.book as book:
        keep_settings(book, KeptSettings(profile="first piano"))
        with book.editing(by="Ana") as edit:
            edit.add_sound(folder_case.visit.id, sound_file)
            edit.add_photo(folder_case.visit.id, photo_file)
        for n in range(8):
            with book.editing(by="Ana") as edit:
                for m in range(40):
                    edit.add(
                        Finding(
                            id=f"f{n}-{m}",
                            visit_id=folder_case.visit.id,
                            point="pins-rust",
                            grade=1 + m % 5,
                            note="seen by torchlight " * 5,
                        )
                    )
    shutil.rmtree(folder_case.place / "backups")
    return folder_case


def spoil(folder, *pages, seed=1):
    """Overwrite pages of the database with noise."""
    path = folder / DATABASE_NAME
    data = bytearray(path.read_bytes())
    for page in pages:
        data[page * 4096 : (page + 1) * 4096] = random.Random(seed).randbytes(4096)
    path.write_bytes(data)


def damage_log(case, count):
    """Make so many leaf pages of the log unreadable: those that hold the mark of the machine, which only it holds."""
    data = (case.place / DATABASE_NAME).read_bytes()
    mark = case.book._machine().encode()
    pages = [
        n
        for n in range(len(data) // 4096)
        if data[n * 4096] == 13 and data.count(mark, n * 4096, (n + 1) * 4096) > 3
    ]
    assert len(pages) > 8
    spoil(case.place, *pages[len(pages) // 2 :][:count])


def findings_of(folder):
    with open_casebook(folder) as book:
        return {f.id: f for f in book.findings()}


def test_a_sound_casebook_is_said_to_be_sound(case):
    found = check_casebook(case.place)
    assert found.ok
    assert found.headline().endswith(": sound")


def test_a_damaged_one_is_found_and_made_anew_without_a_copy(long_case):
    folder = long_case.place
    before = findings_of(folder)
    damage_log(long_case, 2)
    found = check_casebook(folder)
    assert not found.ok
    repair = repair_casebook(folder)
    assert repair.after.ok, repair.after.problems
    after = findings_of(folder)
    assert 0.8 * len(before) < len(after) < len(before)
    assert all(before[identity] == finding for identity, finding in after.items())
    assert any("can't be read (damaged)" in line for line in repair.lost)
    assert repair.kept.is_file()
    with open_casebook(folder) as book:
        assert kept_settings(book).profile == "first piano"
        assert len(book.recordings()) == len(book.photos()) == 1
        assert book.id == long_case.book.id
        with book.editing(by="Ana") as edit:
            edit.change(replace(long_case.piano, note="goes on"))
    assert check_casebook(folder).ok


def test_copy_and_damaged_database_together_lose_nothing(long_case):
    folder = long_case.place
    back_up(folder / DATABASE_NAME, label="day")
    with open_casebook(folder) as book, book.editing(by="Ana") as edit:
        edit.change(replace(long_case.finding, grade=1, note="since the copy"))
        edit.add(Piano(name="in the cellar"))
    before = findings_of(folder)
    damage_log(long_case, 2)
    repair = repair_casebook(folder)
    assert repair.used.endswith("-day.sqlite")
    assert findings_of(folder) == before
    with open_casebook(folder) as book:
        assert [p.name for p in book.pianos()] == ["by the window", "in the cellar"]
        assert book.conflicts() == ()
    assert repair.after.ok


@pytest.mark.parametrize("pages", [(0,), (1,), (2, 3), (5,), (4, 6, 8)])
def test_whatever_page_is_damaged_repair_or_copy_help(long_case, pages):
    folder = long_case.place
    back_up(folder / DATABASE_NAME, label="day")
    before = findings_of(folder)
    spoil(folder, *pages)
    assert not check_casebook(folder).ok
    assert repair_casebook(folder).after.ok
    assert findings_of(folder) == before


def test_nothing_readable_and_no_copy_is_said_and_left_alone(long_case):
    path = long_case.place / DATABASE_NAME
    path.write_bytes(b"SQLite format 3\0" + b"rubbish!" * 5000)
    before = path.read_bytes()
    with pytest.raises(CasebookError, match="nothing that can be read"):
        repair_casebook(long_case.place)
    assert path.read_bytes() == before
    with pytest.raises(CasebookError, match="no sound copy"):
        restore_casebook(long_case.place)


def test_a_rubbish_entry_is_set_aside_by_name(long_case):
    folder = long_case.place
    with closing(sqlite3.connect(folder / DATABASE_NAME)) as connection, connection:
        connection.execute("UPDATE change SET at = 'tomorrow' WHERE record_id = 'f3-7'")
        connection.execute("UPDATE record SET at = 'tomorrow' WHERE id = 'f3-7'")
        connection.execute("UPDATE record SET body = replace(body, 'torchlight', 'day') WHERE id = 'f3-8'")
    problems = "\n".join(check_casebook(folder).problems)
    assert "f3-7: at: got 'tomorrow'" in problems
    assert "record f3-8: not what its last change says" in problems
    repair = repair_casebook(folder)
    assert any("f3-7 left out" in line for line in repair.lost)
    after = findings_of(folder)
    assert "f3-7" not in after
    assert "torchlight" in after["f3-8"].note
    assert repair.after.ok


def test_a_sound_casebook_needs_no_repair(long_case):
    before = (long_case.place / DATABASE_NAME).read_bytes()
    repair = repair_casebook(long_case.place)
    assert not repair.made_anew
    assert "needs no repair" in repr(repair)
    assert (long_case.place / DATABASE_NAME).read_bytes() == before


def test_missing_sound_is_no_matter_of_the_database(long_case):
    next(p for p in (long_case.place / "media").iterdir() if p.suffix == ".flac").unlink()
    repair = repair_casebook(long_case.place)
    assert not repair.made_anew
    assert [p.endswith(": missing") for p in repair.after.problems] == [True]


def test_nobody_may_have_it_open(long_case):
    with closing(sqlite3.connect(long_case.place / DATABASE_NAME)) as connection, connection:
        connection.execute("UPDATE record SET body = 'x' WHERE id = 'f3-8'")
    with open_casebook(long_case.place) as book:
        assert book.pianos()
        with pytest.raises(CasebookError, match="open elsewhere"):
            repair_casebook(long_case.place)
    assert repair_casebook(long_case.place).after.ok


def test_back_to_a_copy(long_case):
    folder = long_case.place
    back_up(folder / DATABASE_NAME, label="day")
    (copy,) = copies(folder)
    with open_casebook(folder) as book, book.editing(by="Ana") as edit:
        edit.change(replace(long_case.finding, grade=1))
    repair = restore_casebook(folder)
    assert repair.lost == ("1 changes that were entered after the copy",)
    assert findings_of(folder)[long_case.finding.id].grade == 4
    # And forward again: the state that was replaced is a copy too.
    assert restore_casebook(folder, copy=repair.kept.name).after.ok
    assert findings_of(folder)[long_case.finding.id].grade == 1
    with pytest.raises(BadInput, match=f"There are: .*{copy.name}"):
        restore_casebook(folder, copy="another.sqlite")


def test_a_deleted_database_comes_back_from_its_copy(long_case):
    folder = long_case.place
    back_up(folder / DATABASE_NAME, label="day")
    before = findings_of(folder)
    (folder / DATABASE_NAME).unlink()
    assert check_casebook(folder).problems == (f"{DATABASE_NAME} is missing",)
    assert repair_casebook(folder).after.ok
    assert findings_of(folder) == before


def test_the_commands(long_case, capsys):
    folder = long_case.place
    assert main(["check", str(folder)]) == 0
    assert ": sound" in capsys.readouterr().out
    back_up(folder / DATABASE_NAME, label="day")
    damage_log(long_case, 2)
    assert main(["check", str(folder)]) == 2
    said = capsys.readouterr()
    assert "problem: " in said.out
    assert "copy: " in said.out
    assert "--repair saves" in said.err
    assert main(["check", str(folder), "--repair"]) == 0
    assert "made anew" in capsys.readouterr().out
    assert main(["restore", str(folder)]) == 0
    assert main(["restore", str(folder), "--copy", "none"]) == 2
    assert main(["check", str(folder / "media")]) == 2
    assert capsys.readouterr().err.count("\n") == 2


def test_a_damaged_source_is_gathered_as_far_as_it_goes_and_called_by_its_own_name(long_case, tmp_path):
    folder = long_case.place
    count = len(findings_of(folder))
    damage_log(long_case, 2)
    result = gather([folder], into=tmp_path / "all")
    assert 0.8 * count < len(findings_of(tmp_path / "all")) < count
    assert any(line.startswith(f"{folder}: ") and "damaged" in line for line in result.problems)
    assert check_casebook(tmp_path / "all").ok


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(24))
def test_noise_in_a_source_never_harms_the_target(long_case, tmp_path, seed):
    """Whatever is wrong with a source: what is there already stays, and the line names the source."""
    rng = random.Random(seed)
    source, target = tmp_path / "source", tmp_path / "target"
    shutil.copytree(long_case.place, source)
    shutil.copytree(long_case.place, target)
    before = findings_of(target)
    path = source / DATABASE_NAME
    data = bytearray(path.read_bytes())
    for _ in range(rng.choice([1, 20, 400])):
        data[rng.randrange(len(data))] = rng.randrange(256)
    path.write_bytes(data)
    said = ""
    try:
        gather([source], into=target)
    except PianolabError as error:
        said = str(error)
    assert not said or str(source) in said
    assert findings_of(target).keys() >= before.keys()
    assert check_casebook(target).ok
