"""Copies of a casebook's database in ``backups/``: one a day before the first change, looked through, the oldest go.

A copy holds everything that was entered, and the names of sound and pictures; these themselves are files that are
never written twice and stand in ``media/``.
"""

from __future__ import annotations

import os
import re
import shutil
import sqlite3
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path
from uuid import uuid4

from pianolab.casebook.engine import connect_read_only
from pianolab.casebook.migrate import copy_database, version_of
from pianolab.casebook.troubles import REPAIR, clear_errors, refusal
from pianolab.errors import CasebookError

BACKUPS = "backups"
DAILY, STAMP = "day", "%Y%m%dT%H%M%S%f"
EVERY = timedelta(hours=20)
"""Work at nine on one day and at eight on the next are two days."""

KEPT = 7
"""Daily copies that are kept; those made before a migration or a repair stay until a purge."""

ROOM = 3
"""A copy is made only where the disk has room for so many of it: it must not take the place of findings."""

_NAME = re.compile(r"(\d{8}T\d{12})-(\w+)\.sqlite")


def back_up(database: Path, *, label: str) -> Path:
    """A complete copy of the database in ``backups/``, looked through before it gets its name."""
    target = database.parent / BACKUPS / f"{datetime.now(UTC).strftime(STAMP)}-{label}.sqlite"
    part = target.with_name(f".{target.name}.{uuid4().hex}.part")
    with clear_errors(database.parent):
        try:
            target.parent.mkdir(exist_ok=True)
            copy_database(database, part)
            if problem := trouble_in(part):
                raise refusal(database.parent, f"a damaged database ({problem})", "an undamaged one", REPAIR)
            with part.open("r+b") as file:
                os.fsync(file.fileno())
            part.replace(target)
        except OSError as error:
            got = f"backups/ that can't be written ({error.strerror})"
            raise refusal(database.parent, got, "room and permission to write") from error
        finally:
            for end in ("", "-wal", "-shm", "-journal"):
                part.with_name(part.name + end).unlink(missing_ok=True)
    return target


def trouble_in(database: Path) -> str:
    """What is wrong with a database as such, in words; empty where nothing is."""
    try:
        with closing(connect_read_only(database)) as connection:
            answers = [str(row[0]) for row in connection.execute("PRAGMA integrity_check(3)")]
        version_of(database)
    except (sqlite3.Error, ValueError, CasebookError) as error:
        return " ".join(str(error).split())
    return "" if answers == ["ok"] else "; ".join(" ".join(a.split()) for a in answers)[:200]


def copies(folder: Path, *, label: str = "") -> list[Path]:
    """The copies of a casebook, the newest first."""
    found = [
        p
        for p in (folder / BACKUPS).glob("*.sqlite")
        if (m := _NAME.fullmatch(p.name)) and label in ("", m[2])
    ]
    return sorted(found, reverse=True)


def back_up_daily(database: Path) -> Path | None:
    """A copy, where the last one is of another day; whatever hinders it never hinders the work.

    Returns
    -------
    The new copy, or None where none was due or none could be made
    """
    newest = next(iter(copies(database.parent)), None)
    if newest is not None and datetime.now(UTC) - _made_at(newest) < EVERY:
        return None
    try:
        if _is_empty(database):
            return None
        if shutil.disk_usage(database.parent).free < ROOM * database.stat().st_size:
            return None
        made = back_up(database, label=DAILY)
        for old in copies(database.parent, label=DAILY)[KEPT:]:
            old.unlink(missing_ok=True)
    except (OSError, sqlite3.Error, CasebookError):
        return None
    return made


def _is_empty(database: Path) -> bool:
    with closing(connect_read_only(database)) as connection:
        return connection.execute("SELECT 1 FROM change LIMIT 1").fetchone() is None


def _made_at(copy: Path) -> datetime:
    return datetime.strptime(copy.name[: copy.name.index("-")], STAMP).replace(tzinfo=UTC)


def forget_copies(folder: Path) -> None:
    """Delete every copy: for a purge."""
    for path in (folder / BACKUPS).glob("*.sqlite*"):
        path.unlink()
