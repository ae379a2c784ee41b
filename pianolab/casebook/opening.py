"""Making a casebook and opening one, in a folder or on a server, for writing or for reading only.

Where nothing can be written (a full disk, a write-protected one, an archive) the folder is left as it is. Where
the database needs something to be written before it can be read (an older schema, or the log of a program that
was killed), a copy in the temporary folder is read in its place.
"""

from __future__ import annotations

import errno
import os
import shutil
import tempfile
import uuid
import weakref
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from uuid import uuid4

import sqlalchemy as sa

from pianolab.casebook import tables
from pianolab.casebook.backups import back_up
from pianolab.casebook.book import Casebook
from pianolab.casebook.engine import (
    APPLICATION_ID,
    DATABASE_NAME,
    make_engine,
    make_reading_engine,
    on_network,
    reading,
    writing,
)
from pianolab.casebook.ledger import later_than
from pianolab.casebook.leftovers import is_leftover, sweep
from pianolab.casebook.media import FOLDER
from pianolab.casebook.migrate import (
    VERSIONS,
    check_version,
    copy_database,
    known_version,
    migrate,
    raise_database,
    raise_on_server,
    raise_schema,
    server_version,
)
from pianolab.casebook.server import is_url, make_server_engine, name_of, parse_url
from pianolab.casebook.store import FolderStore, ServerStore
from pianolab.casebook.troubles import cannot_look, check_there, readable, refusal
from pianolab.errors import CasebookError
from pianolab.files import give_new_name

TRIAL_BYTES = 64 * 1024
"""What SQLite needs beside a database to open it for writing, about."""

FULL = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)


def create_casebook(place: str | Path) -> Casebook:
    """Make a new casebook in a new or empty folder, or in an empty database of a server: all of it, or nothing.

    Parameters
    ----------
    place : a folder, or a URL such as ``postgresql://teacher@school/pianos`` (see `open_casebook`)

    Returns
    -------
    Casebook, open

    Raises
    ------
    CasebookError
        the folder or database holds a casebook or anything else, or can't be written
    """
    if is_url(place):
        return create_on_server(str(place), lambda connection: mark_as_new(connection))
    folder = Path(place)
    _check_empty(folder)
    # Built beside and named at the end: a half-made casebook never carries the name, and what a killed program
    # leaves here stands in nobody's way.
    temporary = folder / f".{DATABASE_NAME}.{uuid.uuid4().hex}.part"
    new = [path for path in (folder / FOLDER, folder, *folder.parents) if not path.exists()]
    try:
        (folder / FOLDER).mkdir(parents=True, exist_ok=True)
        build_database(temporary, folder)
        give_new_name(temporary, folder / DATABASE_NAME)
    except BaseException as error:
        _remove_parts(temporary)
        if isinstance(error, FileExistsError) and (folder / DATABASE_NAME).exists():
            raise _refuse_second(folder) from error
        for path in new:
            with suppress(OSError):  # somebody else put something in it meanwhile
                path.rmdir()
        if isinstance(error, OSError):
            got = f"a folder that can't be written ({error.strerror})"
            raise refusal(folder, got, "permission to write there, and room") from error
        raise
    _remove_parts(temporary)
    return open_casebook(folder)


def _check_empty(folder: Path) -> None:
    try:
        is_file = folder.exists() and not folder.is_dir()
    except OSError as error:
        raise cannot_look(folder, error) from error
    if is_file:
        raise refusal(folder, "a file", "a folder that is new or empty")
    if (folder / DATABASE_NAME).exists():
        raise _refuse_second(folder)
    if folder.is_dir() and not all(is_leftover(path) for path in folder.iterdir()):
        raise refusal(folder, "a folder that isn't empty", "a new or empty folder", "Choose another name.")


def _refuse_second(folder: Path) -> CasebookError:
    return refusal(folder, "a folder with a casebook in it", "a new or empty folder", "Use open_casebook.")


def _remove_parts(temporary: Path) -> None:
    for end in ("", "-wal", "-shm", "-journal"):
        with suppress(OSError):
            temporary.with_name(temporary.name + end).unlink(missing_ok=True)


def build_database(path: Path, folder: Path) -> None:
    """The database of a new casebook, in a file of any name; ``folder`` is what messages call it."""
    engine = make_engine(path)
    try:
        migrate(engine, name=folder)
        with writing(engine, name=folder) as connection:
            connection.exec_driver_sql(f"PRAGMA application_id = {APPLICATION_ID}")
            mark_as_new(connection)
    finally:
        engine.dispose()  # the last connection to close folds the write-ahead log into the file


def mark_as_new(connection: sa.Connection) -> None:
    """Give a casebook its id."""
    for key, value in (("casebook_id", uuid.uuid4().hex), ("created_at", later_than(None))):
        connection.execute(sa.insert(tables.meta).values(key=key, value=value))


def open_casebook(place: str | Path) -> Casebook:
    """Open a casebook; an older schema is raised to the present one, after a copy.

    The copy of a folder's database goes into ``backups/``, that of a server's tables into a schema of its own.
    Where the folder takes no writes (a full or write-protected disk, an archive), the casebook is opened for
    reading only: `Casebook.read_only` says why.

    Parameters
    ----------
    place : a folder, or ``postgresql://user@host:port/database`` for one that a school shares; the password
        stands in the URL, in PGPASSWORD or in ``~/.pgpass`` and is never shown

    Returns
    -------
    Casebook, open; `Casebook.read_only` says why where nothing can be entered

    Raises
    ------
    CasebookError
        no folder or server, no casebook in it, one from a newer pianolab (left untouched), or a damaged one
    MissingExtra
        a URL, and the driver isn't installed
    """
    if is_url(place):
        return _open_on_server(str(place))
    folder = Path(place)
    database = folder / DATABASE_NAME
    check_there(folder)
    # On a local disk opening itself shows whether the folder takes writes; on a network drive only the first edit would.
    if (on_network(folder) or not _may_write(database)) and (why := why_not_writable(folder)):
        return open_for_reading(folder, why=why)
    engine = make_engine(database)
    try:
        version = check_version(database)
        if version != VERSIONS[-1]:
            back_up(database, label=f"schema{version}")
            migrate(engine, name=folder)
        casebook = Casebook(FolderStore(folder, engine))
    except CasebookError:
        engine.dispose()
        why = why_not_writable(folder)
        if not why:
            raise
        return open_for_reading(folder, why=why)
    sweep(folder)
    return casebook


def _open_on_server(text: str) -> Casebook:
    url = parse_url(text)
    name, engine = name_of(url), make_server_engine(url)
    try:
        with reading(engine, name=name) as connection:
            version = known_version(name, server_version(connection, name=name))
        if version != VERSIONS[-1]:
            raise_on_server(engine, name=name)
        return Casebook(ServerStore(engine, name=name))
    except BaseException:
        engine.dispose()
        raise


RELATIONS = (
    "SELECT count(*) FROM pg_class WHERE relnamespace = current_schema()::regnamespace "
    "AND relkind IN ('r', 'p', 'v', 'm', 'f')"
)


def create_on_server(text: str, fill: Callable[[sa.Connection], None]) -> Casebook:
    """A new casebook in an empty database; tables and first content come in one transaction, or not at all."""
    url = parse_url(text)
    name, engine = name_of(url), make_server_engine(url)
    try:
        with writing(engine, name=name) as connection:
            if connection.exec_driver_sql("SELECT to_regclass('alembic_version')").scalar_one() is not None:
                server_version(connection, name=name)
                got = "a database with a casebook in it"
                raise refusal(name, got, "an empty database", "Use open_casebook.")
            if connection.exec_driver_sql(RELATIONS).scalar_one():
                got = "a database that isn't empty"
                raise refusal(name, got, "an empty one", "createdb makes one.")
            raise_schema(connection, name=name)
            fill(connection)
    finally:
        engine.dispose()
    return open_casebook(text)


def version_at(text: str) -> str:
    """Schema version of the casebook at a URL, which is left as it is."""
    url = parse_url(text)
    name, engine = name_of(url), make_server_engine(url)
    try:
        with reading(engine, name=name) as connection:
            return known_version(name, server_version(connection, name=name))
    finally:
        engine.dispose()


def holds_casebook(place: str | Path) -> bool:
    """Whether there is a casebook at a place, of whatever version."""
    if not is_url(place):
        return (Path(place) / DATABASE_NAME).exists()
    url = parse_url(str(place))
    name, engine = name_of(url), make_server_engine(url)
    try:
        with reading(engine, name=name) as connection:
            marks = "SELECT to_regclass('alembic_version') IS NOT NULL AND to_regclass('meta') IS NOT NULL"
            return bool(connection.exec_driver_sql(marks).scalar_one())
    finally:
        engine.dispose()


def _may_write(database: Path) -> bool:
    return os.access(database.parent, os.W_OK) and os.access(database, os.W_OK)


def why_not_writable(folder: Path) -> str:
    """Why nothing can be written into a casebook's folder, in words; empty where it can be."""
    database = folder / DATABASE_NAME
    if not _may_write(database):
        return "a write-protected casebook"
    trial = folder / f".{DATABASE_NAME}.{uuid4().hex}.part"
    try:
        with trial.open("xb") as file:
            file.write(bytes(TRIAL_BYTES))
            file.flush()
            os.fsync(file.fileno())
    except OSError as error:
        return (
            "a casebook on a full disk" if error.errno in FULL else f"a disk that refuses ({error.strerror})"
        )
    finally:
        with suppress(OSError):
            trial.unlink(missing_ok=True)
    return ""


def open_for_reading(folder: Path, *, why: str) -> Casebook:
    """A casebook as it stands, for reading only; ``why`` is told to whoever wants to write.

    Raises
    ------
    CasebookError
        no casebook, a damaged one, or one whose copy finds no room in the temporary folder either
    """
    database = folder / DATABASE_NAME
    with suppress(CasebookError):
        if check_version(database) == VERSIONS[-1]:
            return Casebook(FolderStore(folder, make_reading_engine(database, why=why)))
    try:
        room = Path(tempfile.mkdtemp(prefix="pianolab-"))
    except OSError as error:
        raise _no_room(folder, error) from error
    try:
        casebook = _open_copied(database, room, folder=folder, why=why)
    except OSError as error:
        shutil.rmtree(room, ignore_errors=True)
        raise _no_room(folder, error) from error
    except BaseException:
        shutil.rmtree(room, ignore_errors=True)
        raise
    weakref.finalize(casebook._store, shutil.rmtree, room, ignore_errors=True)
    return casebook


def _open_copied(database: Path, room: Path, *, folder: Path, why: str) -> Casebook:
    copy = room / DATABASE_NAME
    for end in ("", "-wal", "-journal"):  # as files: SQLite itself might need to write before it reads
        if (part := database.with_name(database.name + end)).exists():
            shutil.copyfile(part, copy.with_name(copy.name + end))
    if check_version(copy) != VERSIONS[-1]:
        raise_database(copy, name=folder)
    return Casebook(FolderStore(folder, make_reading_engine(copy, why=why)))


def open_copy(place: Path, room: Path) -> Casebook:
    """A casebook to read from while others write to it, or that must be left as it is: a copy, made in ``room``."""
    copy = room / DATABASE_NAME
    with readable(place):
        copy_database(place / DATABASE_NAME, copy)
    if check_version(copy) != VERSIONS[-1]:
        raise_database(copy, name=place)
    return Casebook(FolderStore(place, make_reading_engine(copy, why="a copy")))


def _no_room(folder: Path, error: OSError) -> CasebookError:
    got = f"no room for a copy to read from ({error.strerror})"
    return refusal(
        folder, got, "room in the temporary folder", "Free some space, or set TMPDIR to another disk."
    )
