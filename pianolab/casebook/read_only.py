"""Opening a casebook where nothing can be written: a full disk, a write-protected one, an archive.

The folder is left as it is. Where the database needs something to be written before it can be read (an older
schema, or the log of a program that was killed), a copy in the temporary folder is read in its place.
"""

from __future__ import annotations

import errno
import os
import shutil
import tempfile
import weakref
from contextlib import suppress
from pathlib import Path
from uuid import uuid4

from pianolab.casebook.book import Casebook
from pianolab.casebook.engine import DATABASE_NAME, make_reading_engine
from pianolab.casebook.migrate import VERSIONS, check_version, copy_database, raise_database
from pianolab.casebook.store import FolderStore
from pianolab.casebook.troubles import readable, refusal
from pianolab.errors import CasebookError

TRIAL_BYTES = 64 * 1024
"""What SQLite needs beside a database to open it for writing, about."""

FULL = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)


def why_not_writable(folder: Path) -> str:
    """Why nothing can be written into a casebook's folder, in words; empty where it can be."""
    database = folder / DATABASE_NAME
    if not os.access(folder, os.W_OK) or not os.access(database, os.W_OK):
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
    for end in ("", "-wal"):  # as files: SQLite itself might need to write before it reads
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
