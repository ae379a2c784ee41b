"""The second piano of a trial as a reference, the log found by what it takes back, media in pieces."""

import json

import sqlalchemy as sa
from alembic import op

revision = "2"
down_revision = "1"
branch_labels = None
depends_on = None

KEY = sa.String().with_variant(sa.String(collation="C"), "postgresql")


def upgrade() -> None:
    connection = op.get_bind()
    kind = 'VARCHAR COLLATE "C"' if connection.dialect.name == "postgresql" else "VARCHAR"
    # Written out: SQLite takes a reference only together with the new column.
    op.execute(
        f"ALTER TABLE record ADD COLUMN other_piano_id {kind} "
        "REFERENCES record (id) DEFERRABLE INITIALLY DEFERRED"
    )
    for index, table, column in (
        ("ix_record_other_piano_id", "record", "other_piano_id"),
        ("ix_change_undoes", "change", "undoes"),
    ):
        there = sa.text(f"{column} IS NOT NULL")
        op.create_index(index, table, [column], sqlite_where=there, postgresql_where=there)
    op.create_table(
        "media_piece",
        sa.Column("name", KEY, primary_key=True),
        sa.Column("number", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("content", sa.LargeBinary, nullable=False),
    )
    if connection.dialect.name == "postgresql":
        # Sound and pictures are packed already: no second attempt on the server.
        op.execute("ALTER TABLE media_piece ALTER COLUMN content SET STORAGE EXTERNAL")
    _fill_other_piano(connection)


def _fill_other_piano(connection: sa.Connection) -> None:
    """Trials entered before this column existed."""
    rows = connection.execute(sa.text("SELECT id, body FROM record WHERE kind = 'TouchTrial'")).all()
    for identity, body in rows:
        connection.execute(
            sa.text("UPDATE record SET other_piano_id = :other WHERE id = :id"),
            {"id": identity, "other": json.loads(body)["other_piano_id"]},
        )
