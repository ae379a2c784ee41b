"""Connections to a casebook's database, and database errors as clear lines."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy.exc import DBAPIError, IntegrityError

from pianolab.errors import CasebookError

DATABASE_NAME = "casebook.sqlite"
APPLICATION_ID = 0x504C4342
"""Written into the database's header: tells a casebook from any other SQLite file."""

WAIT_S = 60.0
"""How long a writer waits for the others before it gives up."""


def refusal(name: object, got: str, need: str, hint: str = "") -> CasebookError:
    """A `CasebookError` of one line: got, need, likely cause."""
    line = f"{name}: got {got}, need {need}." + (f" {hint}" if hint else "")
    return CasebookError(" ".join(line.split()))


def make_engine(path: Path) -> sa.Engine:
    """An engine on one SQLite file: write-ahead log, full sync on commit, foreign keys, patient writers."""
    engine = sa.create_engine(sa.URL.create("sqlite", database=str(path)), connect_args={"timeout": WAIT_S})

    @sa.event.listens_for(engine, "connect")
    def prepare(connection: Any, _: object) -> None:
        connection.isolation_level = None  # transactions begin where we say, see `begin`
        for pragma in ("journal_mode = WAL", "synchronous = FULL", "foreign_keys = ON", "secure_delete = ON"):
            connection.execute(f"PRAGMA {pragma}")

    @sa.event.listens_for(engine, "begin")
    def begin(connection: sa.Connection) -> None:
        writing = connection.get_execution_options().get("writing", False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writing else "BEGIN")

    return engine


@contextmanager
def writing(engine: sa.Engine, *, name: object) -> Iterator[sa.Connection]:
    """One transaction that writes: all of it is kept, or none; other writers wait meanwhile."""
    with clear_errors(name), engine.execution_options(writing=True).begin() as connection:
        yield connection


@contextmanager
def reading(engine: sa.Engine, *, name: object) -> Iterator[sa.Connection]:
    """One transaction that reads one consistent state."""
    with clear_errors(name), engine.connect() as connection:
        yield connection


def empty_log(engine: sa.Engine, *, name: object) -> None:
    """Fold the write-ahead log into the database and empty it: it holds old pages until then."""
    with clear_errors(name):
        raw = engine.raw_connection()
        try:
            raw.cursor().execute("PRAGMA wal_checkpoint(TRUNCATE)")
        finally:
            raw.close()


HINTS = (
    ("database or disk is full", "a full disk", "room on the disk", "Free some space and try again."),
    ("disk I/O error", "a write error of the disk", "a disk that takes writes", "Is it full or unplugged?"),
    ("database is locked", "a casebook held by another program", "its turn to write",
     "Is another notebook in the middle of an edit?"),
    ("readonly", "a write-protected casebook", "leave to write", "Copy the folder to where you may write."),
    ("unable to open", "a database that can't be opened", "leave to read and write in the folder", ""),
    ("malformed", "a damaged database", "an undamaged one", "Take the last copy from backups/."),
    ("not a database", "a file that is no database", "a casebook", "Was it overwritten?"),
    ("no such table", "a database without a casebook's tables", "a casebook", ""),
)  # fmt: skip


@contextmanager
def clear_errors(name: object) -> Iterator[None]:
    """Database errors as one line; what was confirmed before stays."""
    try:
        yield
    except (DBAPIError, sqlite3.Error) as error:
        raise _translated(name, error) from error


def _translated(name: object, error: Exception) -> CasebookError:
    text = str(error.orig) if isinstance(error, DBAPIError) else str(error)
    kept = "Nothing of this edit was kept; everything saved before is safe."
    for sign, got, need, hint in HINTS:
        if sign.lower() in text.lower():
            return refusal(name, got, need, f"{hint} {kept}")
    if isinstance(error, (IntegrityError, sqlite3.IntegrityError)):
        return refusal(name, "a record that belongs to one that isn't here", "the other record first", kept)
    return refusal(name, f"a database error ({text})", "a working database", kept)
