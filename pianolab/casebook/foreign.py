"""A casebook from elsewhere, read row by row: what is fit to be taken in, and what not, by name."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import sqlalchemy as sa
from sqlalchemy.exc import SQLAlchemyError

from pianolab.casebook import tables
from pianolab.casebook.book import Casebook
from pianolab.casebook.codec import check_text, from_json
from pianolab.casebook.engine import reading
from pianolab.casebook.kept_settings import KeptSettings, read_settings
from pianolab.casebook.ledger import is_moment, moment_text
from pianolab.casebook.media import check_photo, hash_in_name, hash_of, media_path
from pianolab.casebook.opening import open_casebook, open_copy
from pianolab.casebook.rebuild import LONGEST_ID, Entry, check_entries, in_order
from pianolab.casebook.server import is_url
from pianolab.errors import CasebookError, PianolabError
from pianolab.io import sound_info

AT_ONCE = 512
MOST_TRIES = 20_000
"""Questions to one table; a table in ruins is given up after so many."""

DAMAGE = (SQLAlchemyError, ValueError, TypeError, OverflowError)

CLOCKS_DIFFER = timedelta(days=1)
"""So far ahead a clock elsewhere may be without a word: time zones set wrong are the usual case."""


OWN = ("casebook_id", "created_at")
"""What a casebook says of itself."""


@dataclass(kw_only=True)
class Source:
    """What a casebook from elsewhere holds. ``entries`` are those that are new to the reader, in order of time, by
    record; ``uids`` all that each of these records has there; ``shown`` the latest entry of each sound and photo;
    ``problems`` what was left out, by name."""

    name: str
    entries: dict[str, list[Entry]] = field(default_factory=dict)
    uids: dict[str, set[str]] = field(default_factory=dict)
    shown: dict[str, Entry] = field(default_factory=dict)
    stones: list[Entry] = field(default_factory=list)
    conflicts: list[Entry] = field(default_factory=list)
    media: list[Entry] = field(default_factory=list)
    settings: KeptSettings = field(default_factory=KeptSettings)
    meta: dict[str, str] = field(default_factory=dict)
    problems: list[str] = field(default_factory=list)


@contextmanager
def opened(place: str | Path) -> Iterator[tuple[Casebook, Callable[[str], Path]]]:
    """A source to read from, and where its media are; a folder is copied first and so left as it is."""
    if is_url(place):
        with open_casebook(place) as source:
            yield source, source._store.media_file
        return
    path = Path(place)
    with TemporaryDirectory(prefix="pianolab-") as room, open_copy(path, Path(room)) as source:
        yield source, lambda name: media_path(path, name)


def read_source(engine: sa.Engine, *, known: dict[str, str], name: str) -> Source:
    """What is new in a casebook's database beside the entries that are ``known`` already (record by uid).

    Raises
    ------
    CasebookError
        its tables can't be read at all; the line names the source
    """
    found = Source(name=name)
    with reading(engine, name=name) as connection:
        _read_log(connection, found, known)
        found.stones = _fit_rows(connection, tables.tombstone, found)
        found.conflicts = _fit_rows(connection, tables.conflict, found)
        found.media = _fit_rows(connection, tables.media, found)
        found.meta = {
            row["key"]: row["value"] for row in _fit_rows(connection, tables.meta, found) if row["key"] in OWN
        }
        try:
            found.settings = read_settings(connection, name=name)
        except CasebookError as error:
            found.problems.append(str(error))
    return found


def _read_log(connection: sa.Connection, found: Source, known: dict[str, str]) -> None:
    new: dict[str, list[Entry]] = {}
    taken = dict(known)
    for row in rows_by_number(connection, tables.change, lost=found.problems, name=found.name):
        record_id, uid = row["record_id"], row["uid"]
        if row["kind"] in ("Recording", "Photo") and not row["purged"]:
            found.shown[record_id] = row
        if row["purged"] or taken.get(uid) == record_id:
            found.uids.setdefault(record_id, set()).add(uid)
            continue
        twice = uid in taken
        taken[uid] = record_id
        found.uids.setdefault(record_id, set()).add(uid)
        new.setdefault(record_id, []).append({**row, "uid": None} if twice else row)
    for record_id, entries in new.items():
        try:
            check_entries(entries)
        except PianolabError as error:
            found.problems.append(f"{found.name}: {_called(entries)} left out: {error}")
            found.shown.pop(record_id, None)
        else:
            found.entries[record_id] = in_order(entries)
    found.problems += _ahead(found)


def _called(entries: list[Entry]) -> str:
    return f"{str(entries[-1]['kind'])[:40]} {str(entries[-1]['record_id'])[:80]}"


def _ahead(found: Source) -> list[str]:
    """What wrong clocks entered counts as the latest for long; that is said."""
    soon = moment_text(datetime.now(UTC) + CLOCKS_DIFFER)
    late = [
        (entry["by"], entry["at"])
        for entries in found.entries.values()
        for entry in entries
        if entry["at"] > soon
    ]
    names = dict.fromkeys(by for by, _ in late)
    return [
        f"{found.name}: {sum(by == name for by, _ in late)} changes by {name} are dated up to "
        f"{max(at for by, at in late if by == name)[:10]}, in the future; they count as the latest. A wrong clock?"
        for name in names
    ]


def _fit_rows(connection: sa.Connection, table: sa.Table, found: Source) -> list[Entry]:
    """Rows of a small table whose cells are texts and moments as they should be."""
    fit: list[Entry] = []
    for row in rows_by_number(connection, table, lost=found.problems, name=found.name):
        try:
            for column in table.columns:
                _check_cell(column, row[column.name])
            fit.append(row)
        except PianolabError as error:
            found.problems.append(f"{found.name}: a row of {table.name} left out: {error}")
    return fit


def _check_cell(column: sa.Column[Any], value: object) -> None:
    if value is None and column.nullable:
        return
    if column.name == "size":
        if type(value) is not int or value < 0:
            raise CasebookError(f"size: got {value!r:.40}, need a number of bytes.")
    elif column.name == "value":
        if not isinstance(value, str):
            raise CasebookError(f"value: got {type(value).__name__}, need text.")
    elif column.name.endswith("at") and not is_moment(value):
        raise CasebookError(f"{column.name}: got {value!r:.40}, need a moment.")
    else:
        check_text(column.name, value, longest=LONGEST_ID)


def media_wanted(source: Source) -> Iterator[tuple[str, str, str]]:
    """Kind of record, its id and the media file it names, of sounds and photos in view."""
    for record_id, entry in source.shown.items():
        if entry["after"] is not None:
            with suppress(CasebookError):  # what can't be read is named already
                yield entry["kind"], record_id, from_json(entry["kind"], entry["after"]).media


def unfit(path: Path, name: str, kind: str) -> str:
    """Why a media file from elsewhere isn't taken, in words; empty where it is what its record says."""
    if not path.is_file():
        return f"media {name} is missing"
    if hash_of(path) != hash_in_name(name):
        return f"media {name} has changed content and was not copied"
    try:
        check_photo(path) if kind == "Photo" else sound_info(path)
    except PianolabError as error:
        return f"media {name} was not copied ({error})"
    return ""


def rows_by_number(
    connection: sa.Connection, table: sa.Table, *, lost: list[str], name: str
) -> Iterator[dict[str, Any]]:
    """Every row that can be read, in the order of entry; where some can't, a line is added to ``lost``."""
    if connection.dialect.name != "sqlite":
        key = table.c.seq if "seq" in table.c else next(iter(table.primary_key.columns))
        query = sa.select(table).order_by(key).execution_options(yield_per=AT_ONCE)
        yield from (dict(row) for row in connection.execute(query).mappings())
        return
    try:
        first, last = connection.exec_driver_sql(f'SELECT min(rowid), max(rowid) FROM "{table.name}"').one()
    except DAMAGE:
        lost.append(f"{name}: the table {table.name} can't be read (damaged)")
        return
    if first is None:
        return
    gaps = _Gaps()
    yield from _between(connection, table, int(first), int(last), gaps)
    if gaps.tries:
        lost.append(
            f"{name}: {gaps.said()} of the table {table.name} can't be read (damaged); the rest was read"
        )


class _Gaps:
    """What could not be read so far."""

    def __init__(self) -> None:
        self.tries, self.rows = 0, 0

    def said(self) -> str:
        return f"up to {self.rows} rows" if self.tries < MOST_TRIES else "a large part"


def _between(
    connection: sa.Connection, table: sa.Table, first: int, last: int, gaps: _Gaps
) -> Iterator[dict[str, Any]]:
    number: sa.ColumnClause[int] = sa.literal_column("rowid", sa.Integer)
    following = sa.select(sa.func.min(number)).select_from(table).where(number >= sa.bindparam("first"))
    low = first
    while low <= last and gaps.tries < MOST_TRIES:
        try:
            start = connection.execute(following, {"first": low}).scalar_one()
        except DAMAGE:
            start = low
        if start is None:
            return
        yield from _halved(connection, table, start, min(start + AT_ONCE - 1, last), gaps)
        low = start + AT_ONCE


def _halved(
    connection: sa.Connection, table: sa.Table, first: int, last: int, gaps: _Gaps
) -> Iterator[dict[str, Any]]:
    """Rows of a range; where it can't be read, of its halves, down to single rows."""
    number: sa.ColumnClause[int] = sa.literal_column("rowid", sa.Integer)
    query = (
        sa.select(table).where(number.between(sa.bindparam("first"), sa.bindparam("last"))).order_by(number)
    )
    waiting = [(first, last)]
    while waiting:
        low, high = waiting.pop()
        try:
            rows = connection.execute(query, {"first": low, "last": high}).mappings().all()
        except DAMAGE:
            gaps.tries += 1
            if low == high or gaps.tries >= MOST_TRIES:
                gaps.rows += high - low + 1
            else:
                middle = (low + high) // 2
                waiting += [(middle + 1, high), (low, middle)]
            continue
        yield from (dict(row) for row in rows)
