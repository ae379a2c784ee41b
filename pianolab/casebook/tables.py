"""The casebook's tables.

``record`` holds what is so now, ``change`` everything that was ever entered, in the order it came in. The
state of a record is the ``after`` of its latest change by time (`at`, then `uid`), so that casebooks merge
by uniting their changes, in any order, with the same result. The tables are the same in a folder and on a
server; ``media_piece`` is empty in a folder, where sound and pictures are files.
"""

from __future__ import annotations

from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
    text,
)

metadata = MetaData()

# Bytewise order wherever the database lives: moments and ids sort alike on every server.
KEY = String().with_variant(String(collation="C"), "postgresql")
SIZE = Integer().with_variant(BigInteger(), "postgresql")


def _reference(name: str) -> Column[str]:
    # Checked at the end of the transaction: merging brings records in any order.
    return Column(name, KEY, ForeignKey("record.id", deferrable=True, initially="DEFERRED"))


def _where_set(index: str, column: str) -> Index:
    """An index of the few rows that have a value: every index costs a page at every save."""
    there = text(f"{column} IS NOT NULL")
    return Index(index, column, sqlite_where=there, postgresql_where=there)


meta = Table("meta", metadata, Column("key", KEY, primary_key=True), Column("value", Text, nullable=False))

record = Table(
    "record",
    metadata,
    Column("id", KEY, primary_key=True),
    Column("kind", KEY, nullable=False),
    _reference("piano_id"),
    _reference("visit_id"),
    _reference("recording_id"),
    _reference("other_piano_id"),
    Column("body", Text, nullable=False),
    Column("deleted", Boolean, nullable=False),
    Column("created_at", KEY, nullable=False),
    Column("at", KEY, nullable=False),
    Column("change_uid", KEY, nullable=False),
    Index("ix_record_kind", "kind", "created_at"),
    *(Index(f"ix_record_{name}", name) for name in ("piano_id", "visit_id", "recording_id")),
    _where_set("ix_record_other_piano_id", "other_piano_id"),
)

change = Table(
    "change",
    metadata,
    Column("seq", Integer, primary_key=True, autoincrement=True),
    Column("uid", KEY, nullable=False, unique=True),
    Column("at", KEY, nullable=False),
    Column("by", KEY, nullable=False),
    Column("machine", KEY, nullable=False),
    Column("action", KEY, nullable=False),
    Column("kind", KEY, nullable=False),
    Column("record_id", KEY, nullable=False),
    Column("before", Text),
    Column("after", Text),
    Column("undoes", KEY),
    Column("purged", Boolean, nullable=False),
    Index("ix_change_record", "record_id", "at"),
    Index("ix_change_by", "by", "at"),
    _where_set("ix_change_undoes", "undoes"),
    sqlite_autoincrement=True,
)

tombstone = Table(
    "tombstone",
    metadata,
    Column("record_id", KEY, primary_key=True),
    Column("at", KEY, nullable=False),
    Column("by", KEY, nullable=False),
)

conflict = Table(
    "conflict",
    metadata,
    Column("record_id", KEY, primary_key=True),
    Column("one_uid", KEY, primary_key=True),
    Column("other_uid", KEY, primary_key=True),
    Column("found_at", KEY, nullable=False),
    Column("settled_at", KEY),
)

media = Table(
    "media",
    metadata,
    Column("name", KEY, primary_key=True),
    Column("size", SIZE, nullable=False),
    Column("original_sha256", KEY, nullable=False),
    Column("added_at", KEY, nullable=False),
)

media_piece = Table(
    "media_piece",
    metadata,
    Column("name", KEY, primary_key=True),
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("content", LargeBinary, nullable=False),
)
