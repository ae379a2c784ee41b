"""Folders as people name them and disks as they are: spaces, umlauts, two hundred signs; network drives."""

import os
import shutil
import sqlite3
import threading
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest

from pianolab import files
from pianolab.casebook import (
    check_casebook,
    engine,
    export_zip,
    gather,
    import_zip,
    open_casebook,
    restore_casebook,
)
from pianolab.casebook.backups import back_up, trouble_in
from pianolab.casebook.engine import DATABASE_NAME
from pianolab.cli import main
from pianolab.files import AlreadyThere, write_files
from pianolab.model import Finding
from tests.casebook.places import Folders

NAMES = ("my pianos", "Flügel für Zoë", "ピアノ 100%", "a#b?c&d;e'f", "x" * 200, "-dash", "trailing.")


@pytest.mark.parametrize("name", NAMES)
def test_everything_works_in_a_folder_of_any_name(
    folder_case, tmp_path, name, sound_file, photo_file, capsys
):
    folder_case.book.close()
    place = Folders(tmp_path).copy(folder_case.place, name)
    with open_casebook(place) as book:
        with book.editing(by="Ana") as edit:
            edit.add_sound(folder_case.visit.id, sound_file)
            edit.add_photo(folder_case.visit.id, photo_file)
            edit.change(replace(folder_case.piano, note=name))
        zipped = export_zip(book, place / "all of it.zip")
    back_up(place / DATABASE_NAME, label="day")
    with import_zip(zipped, into=place / "back here") as back:
        assert back.verify().ok
    assert gather([place], into=place / "gathered here").problems == ()
    assert check_casebook(place).ok
    assert restore_casebook(place).after.ok
    assert main(["check", str(place)]) == 0
    assert "sound" in capsys.readouterr().out


def test_names_that_differ_in_capitals_alone_are_one_file_on_many_disks(tmp_path):
    with pytest.raises(Exception, match="the same file for two outputs"):
        write_files({tmp_path / "Page.html": b"1", tmp_path / "page.HTML": b"2"})
    with pytest.raises(Exception, match="the same file for two outputs"):
        write_files({tmp_path / "\u00e9.html": b"1", tmp_path / "e\u0301.html": b"2"})
    assert list(tmp_path.iterdir()) == []


def test_where_a_file_that_is_open_can_not_be_replaced_nothing_is_lost(tmp_path, monkeypatch):
    """As Windows does it, simulated: renaming onto a file that another program has open is refused."""
    path = tmp_path / "page.html"
    path.write_bytes(b"mine")

    def refused(self: Path, _: object) -> Path:
        raise PermissionError(13, "The process cannot access the file", str(self))

    monkeypatch.setattr(Path, "replace", refused)
    with pytest.raises(files.BadInput, match=r"page\.html: got the process cannot access the file"):
        write_files({path: b"new"}, replace=True)
    assert path.read_bytes() == b"mine"
    assert [p.name for p in tmp_path.iterdir()] == ["page.html"]


def test_on_a_disk_without_second_names_a_file_is_still_never_replaced(tmp_path, monkeypatch):
    def refused(*_: object, **__: object) -> None:
        raise OSError(95, "Operation not supported")

    monkeypatch.setattr(os, "link", refused)
    write_files({tmp_path / "a.txt": b"1"})
    with pytest.raises(AlreadyThere):
        write_files({tmp_path / "a.txt": b"2"})
    assert (tmp_path / "a.txt").read_bytes() == b"1"


MOUNTS = [
    ("/", "ext4"),
    ("/home", "btrfs"),
    ("/mnt/school", "nfs4"),
    ("/mnt/school/here", "ext4"),
    ("/win", "cifs"),
]


@pytest.mark.parametrize(
    ("folder", "is_so"),
    [
        ("/mnt/school/pianos", True),
        ("/mnt/school", True),
        ("/win/my pianos", True),
        ("/mnt/school/here/pianos", False),
        ("/mnt/schoolyard", False),
        ("/home/ana", False),
    ],
)
@pytest.mark.skipif(os.name != "posix", reason="names as POSIX has them")
def test_a_network_drive_is_known_by_its_kind(monkeypatch, folder, is_so):
    monkeypatch.setattr(engine, "_mounts", lambda: MOUNTS)
    assert engine.on_network(Path(folder)) == is_so


@pytest.mark.parametrize("kind", ["nfs", "nfs4", "cifs", "smb3", "smbfs", "fuse.sshfs", "9p"])
def test_kinds_of_network_drives(kind):
    assert engine.NETWORK.fullmatch(kind)


@pytest.mark.parametrize("kind", ["ext4", "xfs", "apfs", "tmpfs", "overlay", "fuseblk", "nfsd", "ntfs"])
def test_kinds_of_other_disks(kind):
    assert not engine.NETWORK.fullmatch(kind)


@pytest.mark.skipif(not Path("/proc/self/mounts").exists(), reason="as Linux tells it")
def test_this_computers_own_folders_are_told():
    assert any(point == "/" for point, _ in engine._mounts())
    assert not engine.on_network(Path("/proc"))


def test_what_macos_says_of_its_drives(monkeypatch):
    said = "/dev/disk3 on / (apfs, local)\n//ana@school/pianos on /Volumes/our pianos (smbfs, nodev)\n"
    monkeypatch.setattr(engine.subprocess, "run", lambda *_, **__: SimpleNamespace(stdout=said))
    assert engine._mounts_in_words() == [("/", "apfs"), ("/Volumes/our pianos", "smbfs")]


@pytest.fixture
def drive(monkeypatch):
    """From here on every folder is one of a network drive."""
    monkeypatch.setattr(engine, "on_network", lambda _: True)


def mode_of(book):
    with book._engine.connect() as connection:
        return [
            connection.exec_driver_sql(f"PRAGMA {p}").scalar_one() for p in ("journal_mode", "synchronous")
        ]


def helpers(place):
    return sorted(
        p.name for p in place.glob(f"{DATABASE_NAME}*") if p.name.endswith(("-wal", "-shm", "-journal"))
    )


@pytest.mark.usefixtures("drive")
def test_on_a_network_drive_there_is_no_write_ahead_log(folder_case, tmp_path):
    folder_case.book.close()
    place = folder_case.place
    with open_casebook(place) as book:
        assert mode_of(book) == ["delete", 3]
        with book.editing(by="Ana") as edit:
            edit.change(replace(folder_case.piano, note="there"))
            assert not [name for name in helpers(place) if not name.endswith("-journal")]
        assert helpers(place) == []
        zipped = export_zip(book, tmp_path / "all.zip")
        assert book.undo(by="Ana")
    assert import_zip(zipped, into=tmp_path / "back").verify().ok
    assert gather([place], into=tmp_path / "gathered").problems == ()
    back_up(place / DATABASE_NAME, label="day")
    assert check_casebook(place).ok


def test_back_from_the_drive_it_has_one_again(folder_case):
    folder_case.book.close()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(engine, "on_network", lambda _: True)
        with open_casebook(folder_case.place) as book:
            assert mode_of(book) == ["delete", 3]
    with open_casebook(folder_case.place) as book:
        assert mode_of(book) == ["wal", 2]


def test_who_opens_it_as_a_drive_while_another_has_it_open_joins_in(folder_case, monkeypatch):
    """The way was chosen by the first; nobody is shut out, and nothing is lost."""
    monkeypatch.setattr(engine, "on_network", lambda _: True)
    with folder_case.book._engine.connect(), open_casebook(folder_case.place) as second:
        assert mode_of(second)[0] == "wal"
        with second.editing(by="Ben") as edit:
            edit.change(replace(folder_case.piano, note="joined"))
    assert folder_case.book.pianos()[0].note == "joined"


def half_written(place, target):
    """A copy of a casebook as it stands when whoever writes is killed: pages of an edit that was never finished."""
    with closing(sqlite3.connect(place / DATABASE_NAME, isolation_level=None)) as connection:
        connection.execute("PRAGMA cache_size = 1")
        connection.execute("BEGIN IMMEDIATE")
        connection.execute("UPDATE change SET by = 'Zoe'")
        shutil.copytree(place, target)
        connection.execute("ROLLBACK")


@pytest.mark.usefixtures("drive")
def test_a_writer_who_is_killed_on_a_drive_leaves_nothing_half_done(folder_case, tmp_path):
    folder_case.book.close()
    with open_casebook(folder_case.place) as book:
        with book.editing(by="Ana") as edit:
            for n in range(300):
                edit.add(Finding(visit_id=folder_case.visit.id, point="pins-rust", grade=3, note=f"{n}" * 50))
        before = [c.by for c in book.log()]
    half_written(folder_case.place, tmp_path / "killed")
    half_written(folder_case.place, tmp_path / "without")
    assert helpers(tmp_path / "killed") == [f"{DATABASE_NAME}-journal"]
    with open_casebook(tmp_path / "killed") as book:
        assert [c.by for c in book.log()] == before
        assert book.verify().ok
    # The twin: without the journal it shows that something had been written.
    (tmp_path / "without" / f"{DATABASE_NAME}-journal").unlink()
    with closing(sqlite3.connect(tmp_path / "without" / DATABASE_NAME)) as connection:
        assert ("Zoe",) in connection.execute("SELECT by FROM change").fetchall()


@pytest.mark.usefixtures("drive")
def test_a_copy_is_whole_while_another_writes_on_a_drive(folder_case):
    place, stop = folder_case.place, threading.Event()
    folder_case.book.close()

    def write():
        with open_casebook(place) as book:
            while not stop.is_set():
                with book.editing(by="Ben") as edit:
                    edit.add(Finding(visit_id=folder_case.visit.id, point="pins-rust", grade=3))

    writer = threading.Thread(target=write)
    writer.start()
    try:
        for _ in range(10):
            assert trouble_in(back_up(place / DATABASE_NAME, label="day")) == ""
    finally:
        stop.set()
        writer.join()
    assert check_casebook(place).ok
