"""Disks that are full or write-protected, and programs that were killed: what can still be done, and what is left."""

import ctypes
import json
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path
from uuid import uuid4

import pytest

from pianolab.casebook import create_casebook, gather, open_casebook
from pianolab.casebook import opening as opening_module
from pianolab.casebook.backups import BACKUPS, KEPT, back_up, back_up_daily, copies
from pianolab.casebook.engine import DATABASE_NAME, QUEUE
from pianolab.casebook.leftovers import IN_WORK_S, leftovers
from pianolab.errors import CasebookError
from pianolab.model import Finding

FIRST_SCHEMA = Path(__file__).parent / "first_schema"
PR_CAPBSET_DROP, CAP_DAC_OVERRIDE = 24, 1  # from Linux' own headers, prctl.h and capability.h

LOOK = """
import json, resource, sys
from pathlib import Path
from pianolab.casebook import open_casebook
from pianolab.errors import PianolabError
from pianolab.model import Piano
if sys.argv[2] == "full":
    resource.setrlimit(resource.RLIMIT_FSIZE, (0, resource.RLIM_INFINITY))
with open_casebook(sys.argv[1]) as book:
    said = ""
    try:
        with book.editing(by="Ana") as edit:
            edit.add(Piano(name="new"))
    except PianolabError as error:
        said = str(error)
    found = {"why": book.read_only, "said": said, "pianos": [p.name for p in book.pianos()],
             "log": len(book.log()), "problems": book.verify().problems}
    if len(sys.argv) > 3:
        from pianolab.workflow import export
        found["written"] = [str(p) for p in export(book, Path(sys.argv[3]) / "page.html").paths]
print(json.dumps(found))
"""


def bound_by_permissions():
    """In the child: root, too, is stopped by permissions."""
    if os.geteuid() == 0:
        ctypes.CDLL(None).prctl(PR_CAPBSET_DROP, CAP_DAC_OVERRIDE, 0, 0, 0)


def look(folder, how, *more):
    done = subprocess.run(
        [sys.executable, "-c", LOOK, str(folder), how, *map(str, more)],
        capture_output=True,
        text=True,
        timeout=120,
        preexec_fn=bound_by_permissions,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-2000:]
    return json.loads(done.stdout)


def state_of(folder):
    return {str(p.relative_to(folder)): p.read_bytes() if p.is_file() else b"" for p in folder.rglob("*")}


@pytest.fixture
def closed(folder_case):
    """A closed casebook, made writable again at the end."""
    folder_case.book.close()
    yield folder_case.place
    protect(folder_case.place, False)


def protect(folder, yes):
    for path in (folder, *(p for p in folder.rglob("*") if p.is_dir())):
        path.chmod(0o555 if yes else 0o755)
    for path in folder.rglob("*"):
        if path.is_file():
            path.chmod(0o444 if yes else 0o644)


pytestmark = pytest.mark.skipif(
    os.name != "posix", reason="permissions and limits of a process as Linux has them"
)


@pytest.mark.slow
def test_a_write_protected_casebook_opens_for_reading_and_exporting(closed, tmp_path):
    protect(closed, True)
    before = state_of(closed)
    found = look(closed, "protected", tmp_path)
    assert found["why"] == "a write-protected casebook"
    assert found["pianos"] == ["by the window"]
    assert (found["log"], found["problems"]) == (3, [])
    assert "opened for reading only" in found["said"]
    assert found["written"] == [str(tmp_path / "page.html")]
    assert state_of(closed) == before


@pytest.mark.slow
def test_a_casebook_on_a_full_disk_opens_for_reading(closed):
    before = state_of(closed)
    found = look(closed, "full")
    assert found["why"] == "a casebook on a full disk"
    assert found["pianos"] == ["by the window"]
    assert "full disk" in found["said"]
    # Trying to open it for writing leaves SQLite's own empty files: another program might be using them by now.
    empty = {f"{DATABASE_NAME}-wal": b"", f"{DATABASE_NAME}-shm": b""}
    assert {
        name: data for name, data in state_of(closed).items() if (name, data) not in empty.items()
    } == before
    assert look(closed, "full")["pianos"] == ["by the window"]


@pytest.mark.slow
def test_what_a_killed_program_left_in_its_log_is_read_too(folder_case, tmp_path):
    """The write-ahead log holds confirmed changes; a write-protected copy of such a folder must show them."""
    with folder_case.book.editing(by="Ana") as edit:
        edit.add(Finding(visit_id=folder_case.visit.id, point="pins-rust", grade=3))
    copy = tmp_path / "copy"
    copy.mkdir()
    for end in ("", "-wal"):
        shutil.copy(folder_case.place / f"{DATABASE_NAME}{end}", copy)
    assert (copy / f"{DATABASE_NAME}-wal").stat().st_size
    protect(copy, True)
    found = look(copy, "protected")
    assert (found["log"], found["why"]) == (4, "a write-protected casebook")
    protect(copy, False)


@pytest.mark.slow
def test_an_archived_casebook_of_an_older_schema_is_read_as_it_is(tmp_path):
    old = tmp_path / "old"
    shutil.copytree(FIRST_SCHEMA, old)
    protect(old, True)
    before = state_of(old)
    found = look(old, "protected")
    assert found["pianos"]
    assert found["why"] == "a write-protected casebook"
    assert state_of(old) == before
    protect(old, False)


def test_an_ordinary_casebook_is_not_read_only(case):
    assert case.book.read_only == ""


KILLED = """
import os, signal, sys
from pianolab.casebook import create_casebook, gather, opening
moment = int(sys.argv[2])
real = opening.build_database
def build(path, folder):
    if moment == 0:
        os.kill(os.getpid(), signal.SIGKILL)
    real(path, folder)
    if moment == 1:
        os.kill(os.getpid(), signal.SIGKILL)
opening.build_database = build
gather(sys.argv[3:], into=sys.argv[1]) if sys.argv[3:] else create_casebook(sys.argv[1])
"""


@pytest.mark.slow
@pytest.mark.parametrize("moment", [0, 1])
def test_a_folder_in_which_making_was_killed_is_still_good_for_one(tmp_path, moment):
    place = tmp_path / "new"
    done = subprocess.run([sys.executable, "-c", KILLED, str(place), str(moment)], timeout=60, check=False)
    assert done.returncode == -signal.SIGKILL
    assert place.is_dir()
    with create_casebook(place) as book:
        assert book.verify().ok
    assert (place / DATABASE_NAME).is_file()


@pytest.mark.slow
@pytest.mark.parametrize("moment", [0, 1])
def test_a_folder_in_which_gathering_was_killed_takes_it_again(closed, tmp_path, moment):
    place = tmp_path / "all"
    command = [sys.executable, "-c", KILLED, str(place), str(moment), str(closed)]
    assert subprocess.run(command, timeout=60, check=False).returncode == -signal.SIGKILL
    gather([closed], into=place)
    with open_casebook(place) as book, open_casebook(closed) as source:
        assert book.verify().ok
        assert book.pianos() == source.pianos() != ()


def test_gathering_on_a_full_disk_leaves_nothing(closed, tmp_path, monkeypatch):
    def full(path, folder):
        path.write_bytes(b"half")
        raise CasebookError(f"{folder}: got a full disk, need room on the disk.")

    monkeypatch.setattr(opening_module, "build_database", full)
    with pytest.raises(CasebookError, match="full disk"):
        gather([closed], into=tmp_path / "all")
    assert not (tmp_path / "all").exists()
    monkeypatch.undo()
    assert gather([closed], into=tmp_path / "all").added > 0


@pytest.mark.slow
def test_making_killed_at_any_moment_leaves_a_casebook_or_room_for_one(tmp_path):
    code = "import sys; from pianolab.casebook import create_casebook; print(1, flush=True); create_casebook(sys.argv[1])"
    for turn in range(15):
        place = tmp_path / f"new {turn}"
        with subprocess.Popen([sys.executable, "-c", code, str(place)], stdout=subprocess.PIPE) as process:
            process.stdout.readline()
            time.sleep(turn * 0.02)
            process.kill()
        with open_casebook(place) if (place / DATABASE_NAME).exists() else create_casebook(place) as book:
            assert book.verify().ok


def test_making_on_a_full_disk_leaves_nothing(tmp_path, monkeypatch):
    def full(path, folder):
        path.write_bytes(b"half")
        raise CasebookError(f"{folder}: got a full disk, need room on the disk.")

    monkeypatch.setattr(opening_module, "build_database", full)
    with pytest.raises(CasebookError, match="full disk"):
        create_casebook(tmp_path / "above" / "new")
    assert list(tmp_path.iterdir()) == []
    monkeypatch.undo()
    create_casebook(tmp_path / "above" / "new").close()


def test_two_who_make_one_casebook_get_one(tmp_path, monkeypatch):
    real = opening_module.build_database

    def overtaken(path, folder):
        real(path, folder)
        monkeypatch.setattr(opening_module, "build_database", real)
        create_casebook(folder).close()

    monkeypatch.setattr(opening_module, "build_database", overtaken)
    with pytest.raises(CasebookError, match="a folder with a casebook in it"):
        create_casebook(tmp_path / "new")
    with open_casebook(tmp_path / "new") as book:
        assert book.verify().ok
    assert sorted(p.name for p in (tmp_path / "new").iterdir()) == [DATABASE_NAME, "media"]


def test_leftovers_go_when_they_are_old_and_nothing_else(closed):
    old, young = uuid4().hex, uuid4().hex
    names = [f".{DATABASE_NAME}.{{}}.part", f".{DATABASE_NAME}.{{}}.part-wal", "media/.{}.part"]
    own = ["media/.mine.part", "notes.part", f".{DATABASE_NAME}.part", "media/.DS_Store"]
    for name in [n.format(i) for n in names for i in (old, young)] + own:
        (closed / name).write_bytes(b"x")
    beside = closed.with_name(f".{closed.name}.{old}.part")
    (beside / "media").mkdir(parents=True)
    past = time.time() - 2 * IN_WORK_S
    for path in [*(closed / n.format(old) for n in names), beside]:
        os.utime(path, (past, past))
    assert len(leftovers(closed)) == 4
    open_casebook(closed).close()
    there = {str(p.relative_to(closed)) for p in closed.rglob("*") if p.is_file()}
    assert there == {DATABASE_NAME, QUEUE, *own, *(n.format(young) for n in names)}
    assert not beside.exists()


def test_a_copy_a_day_before_the_first_change(folder_case):
    book, folder = folder_case.book, folder_case.place
    assert copies(folder) == []
    with book.editing(by="Ana") as edit:
        edit.add(Finding(visit_id=folder_case.visit.id, point="pins-rust", grade=3))
    (copy,) = copies(folder)
    with book.editing(by="Ana") as edit:
        edit.add(Finding(visit_id=folder_case.visit.id, point="pins-look", grade=3))
    assert copies(folder) == [copy]
    (folder / "alone").mkdir()
    shutil.copy(copy, folder / "alone" / DATABASE_NAME)
    with open_casebook(folder / "alone") as before:
        assert len(before.log()) == 3
    # The next days: the oldest daily copies go, one made before a migration stays.
    kept = back_up(folder / DATABASE_NAME, label="schema1")
    for day in range(KEPT + 3):
        for path in sorted(copies(folder), key=lambda p: p.name):
            path.rename(path.with_name(f"{int(path.name[:8]) - 100}{path.name[8:]}"))
        assert back_up_daily(folder / DATABASE_NAME), day
    assert len(copies(folder, label="day")) == KEPT
    assert [p.name[-13:] for p in copies(folder, label="schema1")] == [kept.name[-13:]]


def test_a_new_casebook_needs_no_copy(tmp_path):
    with create_casebook(tmp_path / "new") as book, book.editing(by="Ana"):
        pass
    assert not (tmp_path / "new" / BACKUPS).exists()


def test_no_copy_is_made_where_it_would_fill_the_disk(folder_case, monkeypatch):
    from pianolab.casebook import backups

    monkeypatch.setattr(backups.shutil, "disk_usage", lambda _: shutil._ntuple_diskusage(10, 9, 1))
    with folder_case.book.editing(by="Ana") as edit:
        edit.add(Finding(visit_id=folder_case.visit.id, point="pins-rust", grade=3))
    assert copies(folder_case.place) == []


def test_a_damaged_database_gives_no_copy(folder_case):
    folder_case.book.close()
    database = folder_case.place / DATABASE_NAME
    data = bytearray(database.read_bytes())
    data[4096 * 3 : 4096 * 12] = b"\xff" * (4096 * 9)
    database.write_bytes(data)
    with pytest.raises(CasebookError, match="a damaged database"):
        back_up(database, label="test")
    assert list((folder_case.place / BACKUPS).iterdir()) == []


@pytest.mark.slow
def test_without_a_write_ahead_log_a_protected_casebook_opens_for_reading_too(closed, tmp_path):
    """As it stands on a network drive: nothing need be written to open it."""
    with closing(sqlite3.connect(closed / DATABASE_NAME)) as connection:
        assert connection.execute("PRAGMA journal_mode = DELETE").fetchone() == ("delete",)
    protect(closed, True)
    before = state_of(closed)
    found = look(closed, "protected", tmp_path)
    assert (found["why"], found["pianos"]) == ("a write-protected casebook", ["by the window"])
    assert "opened for reading only" in found["said"]
    assert state_of(closed) == before
