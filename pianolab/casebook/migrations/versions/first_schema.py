"""The first schema: records, changes, tombstones, conflicts, media."""

import sqlalchemy as sa
from alembic import op

revision = "1"
down_revision = None
branch_labels = None
depends_on = None

# Bytewise order on every server; in a folder nothing but the plain type.
KEY = sa.String().with_variant(sa.String(collation="C"), "postgresql")
SIZE = sa.Integer().with_variant(sa.BigInteger(), "postgresql")


def _reference(name: str) -> "sa.Column[str]":
    key = sa.ForeignKey("record.id", deferrable=True, initially="DEFERRED")
    return sa.Column(name, KEY, key)


def upgrade() -> None:
    op.create_table(
        "meta",
        sa.Column("key", KEY, primary_key=True),
        sa.Column("value", sa.Text, nullable=False),
    )
    op.create_table(
        "record",
        sa.Column("id", KEY, primary_key=True),
        sa.Column("kind", KEY, nullable=False),
        _reference("piano_id"),
        _reference("visit_id"),
        _reference("recording_id"),
        sa.Column("body", sa.Text, nullable=False),
        sa.Column("deleted", sa.Boolean, nullable=False),
        sa.Column("created_at", KEY, nullable=False),
        sa.Column("at", KEY, nullable=False),
        sa.Column("change_uid", KEY, nullable=False),
    )
    op.create_index("ix_record_kind", "record", ["kind", "created_at"])
    for name in ("piano_id", "visit_id", "recording_id"):
        op.create_index(f"ix_record_{name}", "record", [name])
    _create_change()
    op.create_table(
        "tombstone",
        sa.Column("record_id", KEY, primary_key=True),
        sa.Column("at", KEY, nullable=False),
        sa.Column("by", KEY, nullable=False),
    )
    op.create_table(
        "conflict",
        sa.Column("record_id", KEY, primary_key=True),
        sa.Column("one_uid", KEY, primary_key=True),
        sa.Column("other_uid", KEY, primary_key=True),
        sa.Column("found_at", KEY, nullable=False),
        sa.Column("settled_at", KEY),
    )
    op.create_table(
        "media",
        sa.Column("name", KEY, primary_key=True),
        sa.Column("size", SIZE, nullable=False),
        sa.Column("original_sha256", KEY, nullable=False),
        sa.Column("added_at", KEY, nullable=False),
    )


def _create_change() -> None:
    op.create_table(
        "change",
        sa.Column("seq", sa.Integer, primary_key=True, autoincrement=True),
        sa.Column("uid", KEY, nullable=False, unique=True),
        sa.Column("at", KEY, nullable=False),
        sa.Column("by", KEY, nullable=False),
        sa.Column("machine", KEY, nullable=False),
        sa.Column("action", KEY, nullable=False),
        sa.Column("kind", KEY, nullable=False),
        sa.Column("record_id", KEY, nullable=False),
        sa.Column("before", sa.Text),
        sa.Column("after", sa.Text),
        sa.Column("undoes", KEY),
        sa.Column("purged", sa.Boolean, nullable=False),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_change_record", "change", ["record_id", "at"])
    op.create_index("ix_change_by", "change", ["by", "at"])
