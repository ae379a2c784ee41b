"""Folders as people name them: spaces, umlauts, signs of other scripts, two hundred characters."""

import os
from dataclasses import replace
from pathlib import Path

import pytest

from pianolab import files
from pianolab.casebook import check_casebook, export_zip, gather, import_zip, open_casebook, restore_casebook
from pianolab.casebook.backups import back_up
from pianolab.casebook.engine import DATABASE_NAME
from pianolab.cli import main
from pianolab.files import AlreadyThere, write_files
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
