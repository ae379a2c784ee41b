"""The schema's version: looked at before anything is touched, raised step by step after a backup copy."""

from __future__ import annotations

import sqlite3
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from pianolab.casebook.engine import APPLICATION_ID, DATABASE_NAME, clear_errors, refusal, writing
from pianolab.errors import CasebookError

VERSIONS = ("1",)
"""All schema versions that this pianolab knows, oldest first."""

MIGRATIONS = Path(__file__).parent / "migrations"
BACKUPS = "backups"


def version_of(database: Path) -> str:
    """Version of a casebook's schema, read without writing a byte.

    Raises
    ------
    CasebookError
        the file is no casebook
    """
    with clear_errors(database.parent):
        connection = connect_read_only(database)
        try:
            mark = connection.execute("PRAGMA application_id").fetchone()[0]
            if mark != APPLICATION_ID:
                raise refusal(database.parent, f"a {DATABASE_NAME} of another program", "a casebook")
            row = connection.execute("SELECT version_num FROM alembic_version").fetchone()
        finally:
            connection.close()
    if row is None:
        raise refusal(database.parent, "a casebook that was never finished", "a complete casebook")
    return str(row[0])


def check_version(database: Path, *, versions: tuple[str, ...] = VERSIONS) -> str:
    """The version, or `CasebookError` where it is newer than this pianolab knows."""
    version = version_of(database)
    if version not in versions:
        raise refusal(
            database.parent,
            f"a casebook of schema {version}",
            f"schema {versions[-1]} or older",
            "It was written by a newer pianolab; update pianolab. The casebook is untouched.",
        )
    return version


def back_up(database: Path, *, label: str) -> Path:
    """A complete copy of the database in ``backups/``, made before a migration."""
    folder = database.parent / BACKUPS
    stamp = datetime.now(UTC).strftime("%Y%m%dT%H%M%S%f")
    target = folder / f"{stamp}-{label}.sqlite"
    with clear_errors(database.parent):
        folder.mkdir(exist_ok=True)
        copy_database(database, target)
    return target


def connect_read_only(database: Path) -> sqlite3.Connection:
    """A connection that leaves the folder as it is, also where it can't be written."""
    # Without a write-ahead log nobody has the file open; then not even helper files need to be made.
    log = database.with_name(f"{database.name}-wal")
    how = "mode=ro" if log.exists() else "immutable=1"
    return sqlite3.connect(f"{database.absolute().as_uri()}?{how}", uri=True)


def copy_database(database: Path, target: Path) -> None:
    """Copy one consistent state of a database, write-ahead log included."""
    source = connect_read_only(database)
    copy = sqlite3.connect(target)
    try:
        source.backup(copy)
    finally:
        copy.close()
        source.close()


def migrate(engine: sa.Engine, *, name: object, migrations: Path = MIGRATIONS) -> None:
    """Raise a database to the newest schema in one transaction: all steps or none."""
    from alembic.config import Config
    from alembic.runtime.environment import EnvironmentContext
    from alembic.script import ScriptDirectory

    script = ScriptDirectory(str(migrations))

    def steps(revision: Any, _: Any) -> Any:
        return script._upgrade_revs("head", revision)

    try:
        with (
            writing(engine, name=name) as connection,
            EnvironmentContext(Config(), script, fn=steps) as environment,
        ):
            environment.configure(connection=connection)
            environment.run_migrations()
    except CasebookError:
        raise
    except Exception as error:
        raise refusal(
            name, f"a migration that failed ({error})", "a casebook of a known schema", "Nothing was changed."
        ) from error
