"""The first schema: records, changes, tombstones, conflicts, media."""

import sqlalchemy as sa
from alembic import op

revision = "1"
down_revision = None
branch_labels = None
depends_on = None


def _reference(name: str) -> "sa.Column[str]":
    key = sa.ForeignKey("record.id", deferrable=True, initially="DEFERRED")
    return sa.Column(name, sa.String, key)


def upgrade() -> None:
    op.create_table(
        "meta",
        sa.Column("key", sa.String, primary_key=True),
        sa.Column("value", sa.Text, nullable=False),
    )
    op.create_table(
        "record",
        sa.Column("id", sa.String, primary_key=True),
        sa.Column("kind", sa.String, nullable=False),
        _reference("piano_id"),
        _reference("visit_id"),
        _reference("recording_id"),
        sa.Column("body", sa.Text, nullable=False),
        sa.Column("deleted", sa.Boolean, nullable=False),
        sa.Column("created_at", sa.String, nullable=False),
        sa.Column("at", sa.String, nullable=False),
        sa.Column("change_uid", sa.String, nullable=False),
    )
    op.create_index("ix_record_kind", "record", ["kind", "created_at"])
    for name in ("piano_id", "visit_id", "recording_id"):
        op.create_index(f"ix_record_{name}", "record", [name])
    _create_change()
    op.create_table(
        "tombstone",
        sa.Column("record_id", sa.String, primary_key=True),
        sa.Column("at", sa.String, nullable=False),
        sa.Column("by", sa.String, nullable=False),
    )
    op.create_table(
        "conflict",
        sa.Column("record_id", sa.String, primary_key=True),
        sa.Column("one_uid", sa.String, primary_key=True),
        sa.Column("other_uid", sa.String, primary_key=True),
        sa.Column("found_at", sa.String, nullable=False),
        sa.Column("settled_at", sa.String),
    )
    op.create_table(
        "media",
        sa.Column("name", sa.String, primary_key=True),
        sa.Column("size", sa.Integer, nullable=False),
        sa.Column("original_sha256", sa.String, nullable=False),
        sa.Column("added_at", sa.String, nullable=False),
    )


def _create_change() -> None:
    op.create_table(
        "change",
        sa.Column("seq", sa.Integer, primary_key=True, autoincrement=True),
        sa.Column("uid", sa.String, nullable=False, unique=True),
        sa.Column("at", sa.String, nullable=False),
        sa.Column("by", sa.String, nullable=False),
        sa.Column("machine", sa.String, nullable=False),
        sa.Column("action", sa.String, nullable=False),
        sa.Column("kind", sa.String, nullable=False),
        sa.Column("record_id", sa.String, nullable=False),
        sa.Column("before", sa.Text),
        sa.Column("after", sa.Text),
        sa.Column("undoes", sa.String),
        sa.Column("purged", sa.Boolean, nullable=False),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_change_record", "change", ["record_id", "at"])
    op.create_index("ix_change_by", "change", ["by", "at"])
