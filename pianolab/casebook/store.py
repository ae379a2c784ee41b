"""Where a casebook lies: a folder, or a database on a server. What differs between the two is here.

Sound and pictures of a folder are files. On a server they are rows of a table, in pieces of 1 MiB: whoever
reaches the casebook sees and hears them, one password guards all of it, one backup holds all of it, and no
shared drive must be set up. They are fetched into a temporary folder when asked for, which goes on closing.
"""

from __future__ import annotations

import shutil
import tempfile
import weakref
from collections.abc import Iterable, Iterator
from hashlib import sha256
from pathlib import Path
from typing import Protocol
from uuid import uuid4

import sqlalchemy as sa
from sqlalchemy.dialects.postgresql import insert as insert_or_leave

from pianolab.casebook import tables
from pianolab.casebook.backups import back_up_daily, forget_copies
from pianolab.casebook.codec import REFERENCES
from pianolab.casebook.engine import DATABASE_NAME, reading, why_read_only
from pianolab.casebook.media import FOLDER, Stored, hash_in_name, hash_of, media_path
from pianolab.casebook.migrate import drop_copies
from pianolab.casebook.server import sending
from pianolab.casebook.troubles import clear_errors, refusal

PIECE_BYTES = 1 << 20


class Store(Protocol):
    """What a casebook needs of the place where it lies."""

    engine: sa.Engine
    name: str

    @property
    def folder(self) -> Path:
        """The folder with ``media/`` on this computer."""

    def media_file(self, name: str) -> Path:
        """Path of a media file on this computer; none is there where the casebook doesn't have it."""

    def before_edit(self) -> None:
        """What is due before an edit begins."""

    def offer(self, stored: Stored) -> None:
        """Bring a file of the media folder to where others find it, before the edit that names it."""

    def take_in(self, connection: sa.Connection, stored: Stored, /) -> None:
        """Make sure, inside the edit that names it, that a media file is there."""

    def let_go(self, connection: sa.Connection, media: Iterable[str]) -> None:
        """Inside the transaction that purges: drop media that are in the database."""

    def forget(self, media: Iterable[str]) -> None:
        """After a purge: no file, no copy and no old page keeps what was purged."""

    def media_names(self) -> set[str]:
        """Names of all media that are there, used or not."""

    def media_hash(self, name: str) -> str | None:
        """SHA-256 of a media file as it is kept; None where it is missing."""

    def problems(self, connection: sa.Connection) -> list[str]:
        """What is wrong with the database itself, in words."""

    def close(self) -> None:
        """Give back connections and temporary files."""


def put_pieces(connection: sa.Connection, name: str, path: Path) -> None:
    """Put a file into the database, in pieces; one that is there already stays."""
    statement = insert_or_leave(tables.media_piece).on_conflict_do_nothing()
    with path.open("rb") as file:
        number = 0
        while content := file.read(PIECE_BYTES):
            connection.execute(statement, {"name": name, "number": number, "content": content})
            number += 1


class FolderStore:
    """A folder: ``casebook.sqlite``, ``media/``, ``backups/``."""

    def __init__(self, folder: Path, engine: sa.Engine) -> None:
        self.engine, self.folder, self.name = engine, folder, str(folder)
        self._fresh = False

    def before_edit(self) -> None:
        """Once for every opening: a copy of the day, before anything is changed."""
        if not self._fresh and not why_read_only(self.engine):
            self._fresh = True
            back_up_daily(self.folder / DATABASE_NAME)

    def media_file(self, name: str) -> Path:
        return media_path(self.folder, name)

    def offer(self, stored: Stored) -> None:
        """Files in the folder are where they belong."""

    def take_in(self, _: sa.Connection, stored: Stored) -> None:
        if not self.media_file(stored.name).is_file():
            raise refusal(stored.name, "a file purged meanwhile", "the file", "Add the sound or photo again.")

    def let_go(self, connection: sa.Connection, media: Iterable[str]) -> None:
        """Files go after the transaction, see `forget`."""

    def forget(self, media: Iterable[str]) -> None:
        for name in media:
            self.media_file(name).unlink(missing_ok=True)
        forget_copies(self.folder)
        # The write-ahead log holds old pages until it is folded into the database and emptied.
        with clear_errors(self.name):
            raw = self.engine.raw_connection()
            try:
                raw.cursor().execute("PRAGMA wal_checkpoint(TRUNCATE)")
            finally:
                raw.close()

    def media_names(self) -> set[str]:
        folder = self.folder / FOLDER
        return {path.name for path in folder.iterdir()} if folder.is_dir() else set()

    def media_hash(self, name: str) -> str | None:
        path = self.media_file(name)
        return hash_of(path) if path.is_file() else None

    def problems(self, connection: sa.Connection) -> list[str]:
        answers = connection.exec_driver_sql("PRAGMA integrity_check").scalars().all()
        loose = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
        return [f"database: {answer}" for answer in answers if answer != "ok"] + [
            f"record {row[1]}: belongs to one that isn't there" for row in loose
        ]

    def close(self) -> None:
        self.engine.dispose()


class ServerStore:
    """A database on a server; `folder` is a temporary one on this computer, gone after `close`."""

    def __init__(self, engine: sa.Engine, *, name: str) -> None:
        self.engine, self.name = engine, name
        self._folder: Path | None = None

    @property
    def folder(self) -> Path:
        """Made when a sound or picture is first asked for: whoever only writes leaves nothing on this computer."""
        if self._folder is None:
            self._folder = Path(tempfile.mkdtemp(prefix="pianolab-"))
            weakref.finalize(self, shutil.rmtree, self._folder, ignore_errors=True)
        return self._folder

    def before_edit(self) -> None:
        """A server makes its own copies."""

    def media_file(self, name: str) -> Path:
        target = media_path(self.folder, name)
        if not target.is_file():
            target.parent.mkdir(parents=True, exist_ok=True)
            part = target.with_name(f".{uuid4().hex}.part")
            try:
                if self._fetch(name, part):
                    part.replace(target)
            finally:
                part.unlink(missing_ok=True)
        return target

    def _fetch(self, name: str, part: Path) -> bool:
        digest = sha256()
        with part.open("xb") as file:
            for piece in self._pieces(name):
                digest.update(piece)
                file.write(piece)
            empty = file.tell() == 0
        if not empty and digest.hexdigest() != hash_in_name(name):
            raise refusal(name, "a media file with changed content", "the file as it was kept")
        return not empty

    def _pieces(self, name: str) -> Iterator[bytes]:
        piece = tables.media_piece
        query = sa.select(piece.c.content).where(piece.c.name == name)
        with reading(self.engine, name=self.name) as connection:
            number = 0
            while (
                content := connection.execute(query.where(piece.c.number == number)).scalar_one_or_none()
            ) is not None:
                yield bytes(content)
                number += 1

    def offer(self, stored: Stored) -> None:
        with sending(self.engine, name=self.name) as connection:
            self.take_in(connection, stored)

    def take_in(self, connection: sa.Connection, stored: Stored) -> None:
        piece = tables.media_piece
        known = sa.select(piece.c.number).where(piece.c.name == stored.name).limit(1)
        if connection.execute(known).first() is not None:
            return  # all pieces of a file come in one transaction
        path = media_path(self.folder, stored.name)
        if not path.is_file():
            raise refusal(stored.name, "a file purged meanwhile", "the file", "Add the sound or photo again.")
        put_pieces(connection, stored.name, path)

    def let_go(self, connection: sa.Connection, media: Iterable[str]) -> None:
        connection.execute(sa.delete(tables.media_piece).where(tables.media_piece.c.name.in_(list(media))))

    def forget(self, media: Iterable[str]) -> None:
        for name in media:
            media_path(self.folder, name).unlink(missing_ok=True)
        drop_copies(self.engine, name=self.name)
        with clear_errors(self.name):
            self._rewrite()

    def _rewrite(self) -> None:
        """Rewrite the tables that held purged content; where others are reading, at least free its place."""
        with self.engine.connect() as connection:
            raw = connection.connection.driver_connection
            assert raw is not None
            connection.detach()  # its settings are no others'
            raw.autocommit = True
            raw.execute("SET lock_timeout = '5s'")
            try:
                raw.execute("VACUUM (FULL) record, change")
            except connection.dialect.loaded_dbapi.OperationalError:
                raw.execute("VACUUM record, change")
            raw.execute("VACUUM media_piece")

    def media_names(self) -> set[str]:
        with reading(self.engine, name=self.name) as connection:
            return set(connection.execute(sa.select(tables.media_piece.c.name).distinct()).scalars())

    def media_hash(self, name: str) -> str | None:
        digest, found = sha256(), False
        for piece in self._pieces(name):
            digest.update(piece)
            found = True
        return digest.hexdigest() if found else None

    def problems(self, connection: sa.Connection) -> list[str]:
        """Whether every reference and every row can be followed; damaged pages make themselves heard here."""
        record, parent = tables.record, tables.record.alias()
        found = []
        for name in REFERENCES:
            query = sa.select(record.c.id).outerjoin(parent, parent.c.id == record.c[name])
            query = query.where(record.c[name].is_not(None), parent.c.id.is_(None))
            found += [
                f"record {i}: belongs to one that isn't there" for i in connection.execute(query).scalars()
            ]
        return found

    def close(self) -> None:
        self.engine.dispose()
        if self._folder is not None:
            shutil.rmtree(self._folder, ignore_errors=True)
            self._folder = None
