"""The casebook's tables.

``record`` holds what is so now, ``change`` everything that was ever entered, in the order it came in. The
state of a record is the ``after`` of its latest change by time (`at`, then `uid`), so that casebooks merge
by uniting their changes, in any order, with the same result.
"""

from __future__ import annotations

from sqlalchemy import Boolean, Column, ForeignKey, Index, Integer, MetaData, String, Table, Text

metadata = MetaData()


def _reference(name: str) -> Column[str]:
    # Checked at the end of the transaction: merging brings records in any order.
    return Column(name, String, ForeignKey("record.id", deferrable=True, initially="DEFERRED"), index=True)


meta = Table("meta", metadata, Column("key", String, primary_key=True), Column("value", Text, nullable=False))

record = Table(
    "record",
    metadata,
    Column("id", String, primary_key=True),
    Column("kind", String, nullable=False),
    _reference("piano_id"),
    _reference("visit_id"),
    _reference("recording_id"),
    Column("body", Text, nullable=False),
    Column("deleted", Boolean, nullable=False),
    Column("created_at", String, nullable=False),
    Column("at", String, nullable=False),
    Column("change_uid", String, nullable=False),
    Index("ix_record_kind", "kind", "created_at"),
)

change = Table(
    "change",
    metadata,
    Column("seq", Integer, primary_key=True, autoincrement=True),
    Column("uid", String, nullable=False, unique=True),
    Column("at", String, nullable=False),
    Column("by", String, nullable=False),
    Column("machine", String, nullable=False),
    Column("action", String, nullable=False),
    Column("kind", String, nullable=False),
    Column("record_id", String, nullable=False),
    Column("before", Text),
    Column("after", Text),
    Column("undoes", String),
    Column("purged", Boolean, nullable=False),
    Index("ix_change_record", "record_id", "at"),
    Index("ix_change_by", "by", "at"),
    sqlite_autoincrement=True,
)

tombstone = Table(
    "tombstone",
    metadata,
    Column("record_id", String, primary_key=True),
    Column("at", String, nullable=False),
    Column("by", String, nullable=False),
)

conflict = Table(
    "conflict",
    metadata,
    Column("record_id", String, primary_key=True),
    Column("one_uid", String, primary_key=True),
    Column("other_uid", String, primary_key=True),
    Column("found_at", String, nullable=False),
    Column("settled_at", String),
)

media = Table(
    "media",
    metadata,
    Column("name", String, primary_key=True),
    Column("size", Integer, nullable=False),
    Column("original_sha256", String, nullable=False),
    Column("added_at", String, nullable=False),
)
