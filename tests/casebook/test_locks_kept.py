"""What one program has saved stays saved, whatever another that opens and closes the casebook meanwhile does.

A program that opens SQLite's file by itself and closes it gives up all the locks it holds on it (SQLite's "How To Corrupt
An SQLite Database File", section 2.2). Another one then believes to be alone and takes the write-ahead log away when it
closes, and what is written to that log from then on is gone with the first program.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from pianolab.casebook import create_casebook, open_casebook
from pianolab.casebook.engine import DATABASE_NAME

KEEPER = """
import os, sys
from pathlib import Path
from pianolab.casebook import open_casebook
from pianolab.model import Piano

place, by_the_way = Path(sys.argv[1]), sys.argv[2]
book = open_casebook(place)
with book.editing(by="Ana") as edit:
    edit.add(Piano(name="first"))
exec(by_the_way)
print("open", flush=True)
sys.stdin.readline()
with book.editing(by="Ana") as edit:
    edit.add(Piano(name="second"))
print("saved", flush=True)
sys.stdin.readline()
os._exit(9)  # killed: nothing is closed
"""
IN_BETWEEN = {
    "nothing": "",
    "opened again": "open_casebook(place).close()",
    "looked at without writing": (
        "from pianolab.casebook.engine import DATABASE_NAME, connect_read_only\\n"
        "connect_read_only(place / DATABASE_NAME).close()"
    ),
    "a copy of the day": (
        "from pianolab.casebook.backups import back_up\\nback_up(place / 'casebook.sqlite', label='day')"
    ),
    "exported": "from pianolab.casebook import export_zip\\nexport_zip(book, place.parent / 'book.zip')",
    "looked through": "book.verify()",
}
BY_HAND = f"open(place / '{DATABASE_NAME}', 'rb').close()"
"""What the library must not do; the twin shows that this test would tell."""


def kept_after(folder: Path, by_the_way: str) -> set[str]:
    """Names of the pianos that are there after the keeper was killed; another program has come and gone meanwhile."""
    create_casebook(folder).close()
    with subprocess.Popen(
        [sys.executable, "-c", KEEPER, str(folder), by_the_way.replace("\\n", "\n")],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as keeper:
        assert keeper.stdin is not None
        assert keeper.stdout is not None
        assert keeper.stdout.readline() == "open\n"
        with open_casebook(folder) as book:
            assert [p.name for p in book.pianos()] == ["first"]
        keeper.stdin.write("\n")
        keeper.stdin.flush()
        assert keeper.stdout.readline() == "saved\n"
        keeper.stdin.write("\n")
        keeper.stdin.flush()
        keeper.wait()
    with open_casebook(folder) as book:
        return {p.name for p in book.pianos()}


@pytest.mark.slow
@pytest.mark.parametrize("what", list(IN_BETWEEN))
def test_what_is_saved_stays(tmp_path: Path, what: str) -> None:
    assert kept_after(tmp_path / "book", IN_BETWEEN[what]) == {"first", "second"}


@pytest.mark.slow
@pytest.mark.skipif(
    sys.platform == "win32", reason="Windows' locks belong to the opening, not to the program"
)
def test_a_file_opened_by_hand_would_lose_it(tmp_path: Path) -> None:
    assert kept_after(tmp_path / "book", BY_HAND) == {"first"}
