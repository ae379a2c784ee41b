"""What a casebook remembers of how it is to be judged: kept, gathered, zipped, and never in the way of an old one."""

import shutil
from pathlib import Path

import pytest
import sqlalchemy as sa

from pianolab.casebook import (
    KeptSettings,
    OwnFile,
    create_casebook,
    export_zip,
    gather,
    import_zip,
    keep_settings,
    kept_settings,
    open_casebook,
    tables,
)
from pianolab.casebook.engine import writing
from pianolab.errors import BadInput, CasebookError
from pianolab.files import LARGEST_TEXT

FIRST_SCHEMA = Path(__file__).parent / "first_schema"
OWN = OwnFile("school.toml", '[[point]]\nid = "x"\n')
ALL = KeptSettings(
    profile="patient restorer",
    seed=7,
    checklist=OWN,
    prices=OwnFile("p.toml", "a = 1\nö"),
    plans=OwnFile("plans.toml", "hire_a_month = 45"),
)


def test_they_are_there_when_it_is_opened_again(tmp_path: Path) -> None:
    with create_casebook(tmp_path / "book") as book:
        assert kept_settings(book) == KeptSettings()
        keep_settings(book, ALL)
    with open_casebook(tmp_path / "book") as book:
        assert kept_settings(book) == ALL
        assert book.verify().ok
        assert book.log() == (), "a choice is no finding"
        keep_settings(book, KeptSettings())
        assert kept_settings(book) == KeptSettings()


def test_a_casebook_of_the_first_schema_has_none_and_takes_them(tmp_path: Path) -> None:
    shutil.copytree(FIRST_SCHEMA, tmp_path / "old")
    with open_casebook(tmp_path / "old") as book:
        assert kept_settings(book) == KeptSettings()
        keep_settings(book, ALL)
        assert kept_settings(book) == ALL


def test_the_same_again_writes_nothing(tmp_path: Path) -> None:
    with create_casebook(tmp_path / "book") as book:
        keep_settings(book, ALL)
        before = (tmp_path / "book" / "casebook.sqlite-wal").stat().st_size
        keep_settings(book, ALL)
        assert (tmp_path / "book" / "casebook.sqlite-wal").stat().st_size == before


def test_a_gathered_casebook_brings_its_own_points_and_prices_but_no_buyer(tmp_path: Path) -> None:
    with create_casebook(tmp_path / "one") as book:
        keep_settings(book, ALL)
    result = gather(tmp_path / "one", into=tmp_path / "all")
    assert result.problems == ()
    with open_casebook(tmp_path / "all") as book:
        assert kept_settings(book) == KeptSettings(checklist=ALL.checklist, prices=ALL.prices)


def test_what_is_remembered_already_is_not_replaced_by_gathering(tmp_path: Path) -> None:
    mine = KeptSettings(checklist=OwnFile("mine.toml", "other"))
    for name, kept in (("one", ALL), ("all", mine)):
        with create_casebook(tmp_path / name) as book:
            keep_settings(book, kept)
    (line,) = gather(tmp_path / "one", into=tmp_path / "all").problems
    assert "its checklist school.toml left out, mine.toml is remembered here already" in line
    with open_casebook(tmp_path / "all") as book:
        assert kept_settings(book) == KeptSettings(checklist=mine.checklist, prices=ALL.prices)


def test_a_zip_holds_them(tmp_path: Path) -> None:
    with create_casebook(tmp_path / "book") as book:
        keep_settings(book, ALL)
        export_zip(book, tmp_path / "book.zip")
    with import_zip(tmp_path / "book.zip", into=tmp_path / "again") as book:
        assert kept_settings(book) == ALL


@pytest.mark.parametrize(
    "text", ["", "[]", "{", '{"seed": "7"}', '{"prices": {"name": 1, "text": ""}}', '{"prices": []}']
)
def test_damaged_settings_are_one_clear_line(tmp_path: Path, text: str) -> None:
    with create_casebook(tmp_path / "book") as book:
        with writing(book._engine, name="book") as connection:
            connection.execute(sa.insert(tables.meta).values(key="settings", value=text))
        with pytest.raises(CasebookError, match="got settings that can't be read") as caught:
            kept_settings(book)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("content", "line"),
    [
        (None, "got no such file or directory, need a TOML file"),
        (b"\xff\xfe", "got bytes that are no text"),
        (b"#" * (LARGEST_TEXT + 1), "1,048,577 characters, need 1,048,576 or fewer"),
    ],
)
def test_a_file_that_cannot_be_read(tmp_path: Path, content: bytes | None, line: str) -> None:
    if content is not None:
        (tmp_path / "own.toml").write_bytes(content)
    with pytest.raises(BadInput, match=line):
        OwnFile.read(tmp_path / "own.toml")
