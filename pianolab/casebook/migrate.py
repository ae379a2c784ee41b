"""The schema's version: looked at before anything is touched, raised step by step after a backup copy."""

from __future__ import annotations

import sqlite3
import threading
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy.exc import DBAPIError

from pianolab.casebook.engine import APPLICATION_ID, DATABASE_NAME, connect_read_only, make_engine, writing
from pianolab.casebook.troubles import readable, refusal
from pianolab.errors import CasebookError

VERSIONS = ("1", "2")
"""All schema versions that this pianolab knows, oldest first."""

MIGRATIONS = Path(__file__).parent / "migrations"

ONE_AT_A_TIME = threading.Lock()
"""Alembic keeps the connection it works on in a global of the process."""


def version_of(database: Path) -> str:
    """Version of a casebook's schema, read without writing a byte.

    Raises
    ------
    CasebookError
        the file is no casebook
    """
    with readable(database.parent), closing(connect_read_only(database)) as connection:
        mark = connection.execute("PRAGMA application_id").fetchone()[0]
        if mark != APPLICATION_ID:
            raise refusal(database.parent, f"a {DATABASE_NAME} of another program", "a casebook")
        row = connection.execute("SELECT version_num FROM alembic_version").fetchone()
    if row is None:
        raise refusal(database.parent, "a casebook that was never finished", "a complete casebook")
    return str(row[0])


def check_version(database: Path, *, versions: tuple[str, ...] = VERSIONS) -> str:
    """The version, or `CasebookError` where it is newer than this pianolab knows."""
    return known_version(database.parent, version_of(database), versions=versions)


def known_version(name: object, version: str, *, versions: tuple[str, ...] = VERSIONS) -> str:
    """The version itself, or `CasebookError` where it is newer than this pianolab knows."""
    if version not in versions:
        raise refusal(
            name,
            f"a casebook of schema {version}",
            f"schema {versions[-1]} or older",
            "It was written by a newer pianolab; update pianolab. The casebook is untouched.",
        )
    return version


def copy_database(database: Path, target: Path) -> None:
    """Copy one consistent state of a database, write-ahead log included."""
    with closing(connect_read_only(database)) as source, closing(sqlite3.connect(target)) as copy:
        source.backup(copy)


def raise_database(database: Path, *, name: object) -> None:
    """Raise the database in a file to the newest schema; no connection to it stays open."""
    engine = make_engine(database)
    try:
        migrate(engine, name=name)
    finally:
        engine.dispose()


def migrate(engine: sa.Engine, *, name: object, migrations: Path = MIGRATIONS) -> None:
    """Raise a database to the newest schema in one transaction: all steps or none."""
    with writing(engine, name=name) as connection:
        raise_schema(connection, name=name, migrations=migrations)


def raise_schema(connection: sa.Connection, *, name: object, migrations: Path = MIGRATIONS) -> None:
    """Raise a database to the newest schema inside a transaction that is open already."""
    from alembic.config import Config
    from alembic.runtime.environment import EnvironmentContext
    from alembic.script import ScriptDirectory

    script = ScriptDirectory(str(migrations))

    def steps(revision: Any, _: Any) -> Any:
        return script._upgrade_revs("head", revision)

    try:
        with ONE_AT_A_TIME, EnvironmentContext(Config(), script, fn=steps) as environment:
            environment.configure(connection=connection)
            environment.run_migrations()
    except (CasebookError, DBAPIError):
        raise
    except Exception as error:
        raise refusal(
            name, f"a migration that failed ({error})", "a casebook of a known schema", "Nothing was changed."
        ) from error


def server_version(connection: sa.Connection, *, name: object) -> str:
    """Version of the schema of a casebook on a server; `CasebookError` where it is none."""
    tables = connection.exec_driver_sql("SELECT to_regclass('alembic_version'), to_regclass('meta')").one()
    if None in tuple(tables):
        got = "a database without a casebook"
        raise refusal(name, got, "a casebook", "Misspelt? create_casebook makes a new one.")
    version = connection.exec_driver_sql("SELECT version_num FROM alembic_version").scalar_one_or_none()
    mark = connection.exec_driver_sql("SELECT value FROM meta WHERE key = 'casebook_id'").first()
    if version is None or mark is None:
        raise refusal(name, "a database of another program", "a casebook")
    return str(version)


def raise_on_server(
    engine: sa.Engine,
    *,
    name: object,
    migrations: Path = MIGRATIONS,
    versions: tuple[str, ...] = VERSIONS,
) -> None:
    """Raise a casebook on a server: a copy of its tables, then all steps, in one transaction."""
    with writing(engine, name=name) as connection:
        # Looked at again in our turn: another may have raised it meanwhile.
        version = known_version(name, server_version(connection, name=name), versions=versions)
        if version != versions[-1]:
            _copy_tables(connection, label=f"schema{version}")
            raise_schema(connection, name=name, migrations=migrations)


OWN_COPIES = "SELECT 'pianolab_copy_' || (current_schema()::regnamespace::oid)::text || '_'"
"""Beginning of the names of the schemas that hold copies of this one."""

NOT_COPIED = "media_piece"
"""Sound and pictures are named by their content; no migration touches them."""


def _copy_tables(connection: sa.Connection, *, label: str) -> str:
    quote = connection.dialect.identifier_preparer.quote
    own = str(connection.exec_driver_sql("SELECT current_schema()").scalar_one())
    stamp = datetime.now(UTC).strftime("%Y%m%dt%H%M%S%f")
    copy = connection.exec_driver_sql(OWN_COPIES).scalar_one() + f"{stamp}_{label}"
    query = sa.text("SELECT tablename FROM pg_tables WHERE schemaname = :own AND tablename != :left")
    names = connection.execute(query, {"own": own, "left": NOT_COPIED}).scalars().all()
    connection.exec_driver_sql(f"CREATE SCHEMA {quote(copy)}")
    for table in names:
        source, target = f"{quote(own)}.{quote(table)}", f"{quote(copy)}.{quote(table)}"
        connection.exec_driver_sql(f"CREATE TABLE {target} AS TABLE {source}")
    return copy


def copies_on_server(connection: sa.Connection) -> list[str]:
    """Schemas that hold copies of this casebook's tables."""
    query = f"SELECT nspname FROM pg_namespace WHERE starts_with(nspname::text, ({OWN_COPIES}))"
    return list(connection.exec_driver_sql(query).scalars())


def drop_copies(engine: sa.Engine, *, name: object) -> None:
    """Drop every copy that was made before a migration: for a purge."""
    with writing(engine, name=name) as connection:
        quote = connection.dialect.identifier_preparer.quote
        for copy in copies_on_server(connection):
            connection.exec_driver_sql(f"DROP SCHEMA {quote(copy)} CASCADE")
