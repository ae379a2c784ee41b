"""Connections to a casebook's database, and the one way to begin a transaction."""

from __future__ import annotations

import os
import re
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy.exc import OperationalError

from pianolab.casebook.troubles import clear_errors, readable, refusal

DATABASE_NAME = "casebook.sqlite"
APPLICATION_ID = 0x504C4342
"""Written into the database's header: tells a casebook from any other SQLite file."""

LARGEST_LOG = 16 * 1024**2
"""Bytes that the write-ahead log may keep on the disk after one large edit, such as a gathering."""

WAIT_S = 60.0
"""How long a writer waits for the others before it gives up."""

ASK_AGAIN_S = 0.001
"""How often the writer whose turn is next asks whether it has come."""

QUEUE = f"{DATABASE_NAME}-turn"
"""Empty file beside the database: whoever holds its lock is the next to write."""

NETWORK = re.compile(
    r"nfs\d?|cifs|smb\w*|ncpfs|afpfs|afs|9p|ceph|lustre|davfs|fuse\.(sshfs|davfs2?|rclone|s3fs|glusterfs)"
)
"""Kinds of disk that other computers write to as well."""

READ_ONLY = "read_only_because"
"""Option of an engine that only reads: why."""


def make_engine(path: Path) -> sa.Engine:
    """An engine on one SQLite file: write-ahead log, full sync on commit, foreign keys, patient writers.

    On a network drive there is no write-ahead log: its index is shared memory, which two computers do not have in
    common (SQLite's documentation, "Write-Ahead Logging", section 1, disadvantage 2). There the older way of a journal
    beside the database is used, slower, and as safe as the drive's own locks are.
    """
    journal, sync = ("DELETE", "EXTRA") if on_network(path.parent) else ("WAL", "FULL")
    engine = sa.create_engine(sa.URL.create("sqlite", database=str(path)), connect_args={"timeout": WAIT_S})

    @sa.event.listens_for(engine, "connect")
    def prepare(connection: Any, _: object) -> None:
        connection.isolation_level = None  # transactions begin where we say, see `begin`
        with suppress(sqlite3.OperationalError):  # others have it open, in the way that was chosen before
            connection.execute(f"PRAGMA journal_mode = {journal}")
        for pragma in (
            f"synchronous = {sync}",
            "foreign_keys = ON",
            "secure_delete = ON",
            f"journal_size_limit = {LARGEST_LOG}",
        ):
            connection.execute(f"PRAGMA {pragma}")

    @sa.event.listens_for(engine, "begin")
    def begin(connection: sa.Connection) -> None:
        if is_writing(connection) and path.name == DATABASE_NAME:
            _wait_for_turn(connection, path)
        elif is_writing(connection):
            connection.exec_driver_sql("BEGIN IMMEDIATE")
        else:
            connection.exec_driver_sql("BEGIN")

    return engine


def _wait_for_turn(connection: sa.Connection, path: Path) -> None:
    """Begin to write as soon as no other does.

    SQLite itself lets whoever asks at the right moment go first, and that is mostly the one who wrote last; another may
    starve. So there is a queue before its door: only its head asks, and who wants to write again stands at its end.
    """
    begun = time.monotonic()
    with _head_of_queue(path):
        connection.exec_driver_sql("PRAGMA busy_timeout = 0")
        try:
            while True:
                try:
                    connection.exec_driver_sql("BEGIN IMMEDIATE")
                    return
                except OperationalError as error:
                    if not is_busy(error.orig) or time.monotonic() - begun > WAIT_S:
                        raise
                    time.sleep(ASK_AGAIN_S)
        finally:
            connection.exec_driver_sql(f"PRAGMA busy_timeout = {int(WAIT_S * 1000)}")


def is_busy(error: object) -> bool:
    """Whether SQLite refused because another has the database."""
    code = getattr(error, "sqlite_errorcode", 0) & 0xFF  # the rest says why more exactly
    return code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED)


@contextmanager
def _head_of_queue(path: Path) -> Iterator[None]:
    """The first place of the queue, where the system knows such locks; without them everybody asks at the door."""
    try:
        import fcntl

        place = os.open(path.with_name(QUEUE), os.O_RDWR | os.O_CREAT, 0o666)
    except (ImportError, OSError):
        yield
        return
    try:
        with suppress(OSError):
            fcntl.flock(place, fcntl.LOCK_EX)
        yield
    finally:
        os.close(place)  # gives the lock back


def make_reading_engine(path: Path, *, why: str) -> sa.Engine:
    """An engine that leaves a SQLite file and its folder as they are; ``why`` is told to whoever wants to write."""
    engine = sa.create_engine(
        "sqlite://",
        creator=lambda: connect_read_only(path, check_same_thread=False),
        poolclass=sa.pool.QueuePool,
    )

    @sa.event.listens_for(engine, "connect")
    def prepare(connection: Any, _: object) -> None:
        connection.isolation_level = None
        connection.execute("PRAGMA query_only = ON")

    @sa.event.listens_for(engine, "begin")
    def begin(connection: sa.Connection) -> None:
        connection.exec_driver_sql("BEGIN")

    return engine.execution_options(**{READ_ONLY: why})


def connect_read_only(database: Path, *, check_same_thread: bool = True) -> sqlite3.Connection:
    """A connection that leaves the folder as it is, also where it can't be written.

    The file is opened by SQLite alone: whoever opens and closes it by hand gives up the locks that this program holds on
    it, and the next program to close takes the write-ahead log away from under the one that still writes to it (SQLite's
    "How To Corrupt An SQLite Database File", section 2.2).
    """
    if _size(database.with_name(f"{database.name}-journal")):
        # Somebody writes, or was killed while writing: then SQLite takes that change back at the first look.
        with suppress(sqlite3.Error), closing(sqlite3.connect(database)) as connection:
            connection.execute("SELECT count(*) FROM sqlite_master")
    address = database.absolute().as_uri()
    # Without a write-ahead log nobody has the file open; then not even helper files need to be made.
    unused = not _size(database.with_name(f"{database.name}-wal"))
    if unused and not on_network(database.parent):
        return sqlite3.connect(f"{address}?immutable=1", uri=True, check_same_thread=check_same_thread)
    connection = sqlite3.connect(f"{address}?mode=ro", uri=True, check_same_thread=check_same_thread)
    if unused:
        # On a network drive others write without such a log; only one that was brought there with its log switched
        # on can't be read so, and that one nobody has opened there yet.
        try:
            connection.execute("SELECT count(*) FROM sqlite_master")
        except sqlite3.OperationalError as error:
            if is_busy(error):
                return connection
            connection.close()
            return sqlite3.connect(f"{address}?immutable=1", uri=True, check_same_thread=check_same_thread)
    return connection


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError:  # none, or gone at this moment: the last of the others has closed
        return 0


def on_network(folder: Path) -> bool:
    """Whether a folder lies on a drive that other computers may write to as well; what can't be told counts as none."""
    place = os.path.realpath(folder)
    if sys.platform == "win32":
        import ctypes

        root = os.path.splitdrive(place)[0] + "\\"
        return root.startswith("\\\\") or ctypes.windll.kernel32.GetDriveTypeW(root) == 4  # DRIVE_REMOTE
    above = [
        (point, kind)
        for point, kind in _mounts()
        if os.path.join(place, "").startswith(os.path.join(point, ""))
    ]
    return bool(above) and NETWORK.fullmatch(max(above, key=lambda mount: len(mount[0]))[1]) is not None


def _mounts() -> list[tuple[str, str]]:
    """Where each disk of this computer stands, and of what kind it is."""
    try:
        text = Path("/proc/self/mounts").read_text(encoding="utf-8", errors="surrogateescape")
    except OSError:
        return _mounts_in_words()
    words = (line.split() for line in text.splitlines())
    blanks = re.compile(r"\\(\d{3})")  # a blank stands as \040
    return [(blanks.sub(lambda m: chr(int(m[1], 8)), w[1]), w[2]) for w in words if len(w) > 2]


def _mounts_in_words() -> list[tuple[str, str]]:
    """The same from the command of macOS: ``//ana@school/pianos on /Volumes/pianos (smbfs, nodev)``."""
    try:
        said = subprocess.run(["/sbin/mount"], capture_output=True, text=True, check=False, timeout=5).stdout
    except (OSError, subprocess.SubprocessError):
        return []
    return [(m[1], m[2]) for line in said.splitlines() if (m := re.search(r" on (/.*) \((\w+)", line))]


def why_read_only(engine: sa.Engine) -> str:
    """Why nothing can be written here; empty where it can."""
    return str(engine.get_execution_options().get(READ_ONLY, ""))


def is_writing(connection: sa.Connection) -> bool:
    """Whether the transaction that begins is one of `writing`."""
    return connection.get_execution_options().get("purpose") == "write"


@contextmanager
def writing(engine: sa.Engine, *, name: object) -> Iterator[sa.Connection]:
    """One transaction that writes: all of it is kept, or none; other writers wait meanwhile."""
    if why := why_read_only(engine):
        hint = "It was opened for reading only; free some space or copy the folder to where you may write, and open it again."
        raise refusal(name, f"{why}", "one that takes writes", hint)
    with clear_errors(name), engine.execution_options(purpose="write").begin() as connection:
        yield connection


@contextmanager
def reading(engine: sa.Engine, *, name: object) -> Iterator[sa.Connection]:
    """One transaction that reads one consistent state; what can't be read there is said in one line."""
    with readable(name), engine.connect() as connection:
        yield connection
