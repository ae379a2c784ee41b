"""Connections to a casebook's database, and the one way to begin a transaction."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from pianolab.casebook.troubles import clear_errors

DATABASE_NAME = "casebook.sqlite"
APPLICATION_ID = 0x504C4342
"""Written into the database's header: tells a casebook from any other SQLite file."""

LARGEST_LOG = 16 * 1024**2
"""Bytes that the write-ahead log may keep on the disk after one large edit, such as a gathering."""

WAIT_S = 60.0
"""How long a writer waits for the others before it gives up."""


def make_engine(path: Path) -> sa.Engine:
    """An engine on one SQLite file: write-ahead log, full sync on commit, foreign keys, patient writers."""
    engine = sa.create_engine(sa.URL.create("sqlite", database=str(path)), connect_args={"timeout": WAIT_S})

    @sa.event.listens_for(engine, "connect")
    def prepare(connection: Any, _: object) -> None:
        connection.isolation_level = None  # transactions begin where we say, see `begin`
        for pragma in ("journal_mode = WAL", "synchronous = FULL", "foreign_keys = ON", "secure_delete = ON",
                       f"journal_size_limit = {LARGEST_LOG}"):  # fmt: skip
            connection.execute(f"PRAGMA {pragma}")

    @sa.event.listens_for(engine, "begin")
    def begin(connection: sa.Connection) -> None:
        connection.exec_driver_sql("BEGIN IMMEDIATE" if is_writing(connection) else "BEGIN")

    return engine


def is_writing(connection: sa.Connection) -> bool:
    """Whether the transaction that begins is one of `writing`."""
    return connection.get_execution_options().get("purpose") == "write"


@contextmanager
def writing(engine: sa.Engine, *, name: object) -> Iterator[sa.Connection]:
    """One transaction that writes: all of it is kept, or none; other writers wait meanwhile."""
    with clear_errors(name), engine.execution_options(purpose="write").begin() as connection:
        yield connection


@contextmanager
def reading(engine: sa.Engine, *, name: object) -> Iterator[sa.Connection]:
    """One transaction that reads one consistent state."""
    with clear_errors(name), engine.connect() as connection:
        yield connection
