"""Database errors as one clear line each; what the databases say is never shown where it could hold a secret."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy.exc import DBAPIError, IntegrityError, SQLAlchemyError

from pianolab.errors import CasebookError, PianolabError, shortened
from pianolab.files import CASEBOOK_DATABASE

KEPT = "Nothing of this edit was kept; everything saved before is safe."
REPAIR = "python -m pianolab check CASEBOOK --repair saves what can be read."

FILE_SIGNS = (
    ("database or disk is full", "a full disk", "room on the disk", "Free some space and try again."),
    ("disk I/O error", "a write error of the disk", "a disk that takes writes", "Is it full or unplugged?"),
    (
        "database is locked",
        "a casebook held by another program",
        "its turn to write",
        "Is another notebook in the middle of an edit?",
    ),
    (
        "readonly",
        "a write-protected casebook",
        "permission to write",
        "Copy the folder to where you may write.",
    ),
    ("unable to open", "a database that can't be opened", "permission to read and write in the folder", ""),
    ("malformed", "a damaged database", "an undamaged one", REPAIR),
    ("not a database", "a file that is no database", "a casebook", "Was it overwritten?"),
    ("no such table", "a database without a casebook's tables", "a casebook", ""),
)
"""Words of SQLite, and what they mean: got, need, hint."""

SERVER_STATES = (
    (
        "28",
        "a name or a password that the server refuses",
        "those of this database",
        "Mistyped? Ask whoever looks after the server.",
    ),
    (
        "3D000",
        "a server without this database",
        "the name of one",
        "Misspelt, or still to be made (createdb)?",
    ),
    ("3F000", "a database without this schema", "the name of one in it", "Misspelt in the URL?"),
    (
        "42501",
        "a database in which you may not do that",
        "permission to read, write and make tables in its schema",
        "Ask whoever looks after the server.",
    ),
    ("42P01", "a database without a casebook's tables", "a casebook", "create_casebook makes a new one."),
    ("53100", "a server with a full disk", "room on its disk", "Tell whoever looks after the server."),
    ("53300", "a server with too many connections", "a free one", "Close notebooks that aren't used."),
    (
        "55P03",
        "a casebook held by another program",
        "its turn to write",
        "Is another notebook in the middle of an edit?",
    ),
    ("25P03", "an edit left open too long", "an editing block that ends within minutes", "Start it again."),
    ("25006", "a database that takes no writes", "one that does", "Is it a standby copy?"),
    ("57P", "a server that was shut down or restarted", "a running one", "Try again in a minute."),
    ("08", "a connection that broke off", "a working network", "Try again in a minute."),
    ("XX", "a damaged database", "an undamaged one", "Tell whoever looks after the server."),
)
"""Beginnings of SQLSTATE codes of PostgreSQL, and what they mean: got, need, hint."""

SERVER_SIGNS = (
    ("password authentication failed", "28"),
    ("no password supplied", "28"),
    ("authentication", "28"),
    ("pg_hba.conf", "28"),
    ("role", "28"),
    ("database", "3D000"),
    ("too many", "53300"),
    ("starting up", "57P"),
    ("shutting down", "57P"),
)
"""Words in the refusal of a connection, which comes without a code."""


class ChangedSince(CasebookError):
    """A change can't be taken back or brought back: another has changed that record since."""


def refusal(
    name: object, got: str, need: str, hint: str = "", *, kind: type[CasebookError] = CasebookError
) -> CasebookError:
    """A `CasebookError` of one line: got, need, likely cause."""
    line = f"{name}: got {got}, need {need}." + (f" {hint}" if hint else "")
    return kind(" ".join(line.split()))


def check_there(folder: Path) -> None:
    """`CasebookError` where a place holds no casebook; the line says what it is instead."""
    try:
        if not (folder / CASEBOOK_DATABASE).is_file():
            raise refusal(folder, *_instead(folder))
    except OSError as error:  # a name that is too long, a folder that may not be looked into
        raise cannot_look(folder, error) from error


def cannot_look(folder: Path, error: OSError) -> CasebookError:
    got = (error.strerror or "a name that can't be looked up").lower()
    return refusal(shortened(folder), got, "a folder that can be looked into", "Another name?")


def _instead(folder: Path) -> tuple[str, str, str]:
    need = "a casebook folder"
    if folder.is_dir():
        return "a folder without a casebook", need, "Misspelt, or the folder above or below?"
    if not folder.exists():
        return "no such folder", need, "Misspelt? create_casebook makes a new one."
    if folder.name == CASEBOOK_DATABASE:
        return "the database inside a casebook", need, "Name the folder that it lies in."
    if folder.suffix.lower() == ".zip":
        return "a zip", need, "import_zip makes a casebook of an export."
    return "a file", need, "Misspelt?"


@contextmanager
def clear_errors(name: object) -> Iterator[None]:
    """Database errors as one line; what was confirmed before stays."""
    try:
        yield
    except (DBAPIError, sqlite3.Error) as error:
        raise _translated(name, error, KEPT) from error


@contextmanager
def readable(name: object) -> Iterator[None]:
    """Whatever content that no pianolab wrote does to the reader, as one line that names the casebook."""
    try:
        yield
    except (DBAPIError, sqlite3.Error) as error:
        raise _translated(name, error, "") from error
    except PianolabError:
        raise
    except (SQLAlchemyError, ValueError, TypeError, LookupError, OverflowError, RecursionError) as error:
        got = f"content that can't be read ({type(error).__name__}: {str(error)[:80]})"
        raise refusal(name, got, "an undamaged casebook", REPAIR) from error


def _translated(name: object, error: Exception, kept: str) -> CasebookError:
    cause = error.orig if isinstance(error, DBAPIError) and error.orig is not None else error
    text = str(cause)
    if not type(cause).__module__.startswith("psycopg"):
        for sign, got, need, hint in FILE_SIGNS:
            if sign.lower() in text.lower():
                return refusal(name, got, need, f"{hint} {kept}")
    elif said := _said_by_server(cause, lost=getattr(error, "connection_invalidated", False)):
        got, need, hint = said
        return refusal(name, got, need, f"{hint} {kept}")
    if isinstance(error, (IntegrityError, sqlite3.IntegrityError)):
        return refusal(name, "a record that belongs to one that isn't here", "the other record first", kept)
    if type(cause).__module__.startswith("psycopg"):
        got = f"an error of the database server (SQLSTATE {getattr(cause, 'sqlstate', None) or 'unknown'})"
        return refusal(name, got, "a working server", f"Tell whoever looks after the server. {kept}")
    return refusal(name, f"a database error ({text})", "a working database", kept)


def _said_by_server(cause: BaseException, *, lost: bool) -> tuple[str, str, str] | None:
    # Without a code it wasn't the server that spoke: the driver found nobody at the other end.
    broken = lost or type(cause).__name__ in ("OperationalError", "InterfaceError")
    state = getattr(cause, "sqlstate", None) or ("08" if broken else "")
    return next((said for begin, *said in SERVER_STATES if state.startswith(begin)), None)  # type: ignore[return-value]


def connection_refused(name: object, error: Exception) -> CasebookError:
    """Why no connection came about, from what the server or the network said."""
    cause = getattr(error, "orig", None) or error
    text = str(cause).lower()
    if "fatal" in text:
        words = text.partition("fatal")[2]
        state = getattr(cause, "sqlstate", None) or next((s for w, s in SERVER_SIGNS if w in words), "")
        for begin, got, need, hint in SERVER_STATES:
            if state.startswith(begin):
                return refusal(name, got, need, hint)
    if "no password supplied" in text:
        return refusal(
            name, "no password", "the one of this database", "In the URL, PGPASSWORD or ~/.pgpass."
        )
    return refusal(
        name,
        "no answer from a database server",
        "a PostgreSQL server at that address",
        "Is it running, are host and port right, and does the network let you through?",
    )
