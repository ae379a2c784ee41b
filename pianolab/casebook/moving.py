"""A whole casebook, as it is, from a folder into an empty database of a server."""

from __future__ import annotations

import sqlalchemy as sa

from pianolab.casebook import tables
from pianolab.casebook.book import Casebook
from pianolab.casebook.engine import reading
from pianolab.casebook.opening import create_on_server
from pianolab.casebook.store import put_pieces

WHOLE = (tables.meta, tables.record, tables.change, tables.tombstone, tables.conflict, tables.media)
ROWS_AT_ONCE = 1000
NEXT_NUMBER = "SELECT setval(pg_get_serial_sequence('change', 'seq'), max(seq)) FROM change"


def move_to_server(casebook: Casebook, url: str) -> Casebook:
    """Copy everything, log and media included, in one transaction; the casebook keeps its id."""

    def fill(connection: sa.Connection) -> None:
        with reading(casebook._engine, name=casebook.name) as source:
            for table in WHOLE:
                rows = source.execution_options(yield_per=ROWS_AT_ONCE).execute(sa.select(table))
                for part in rows.mappings().partitions(ROWS_AT_ONCE):
                    connection.execute(sa.insert(table), [dict(row) for row in part])
            media = source.execute(sa.select(tables.media.c.name)).scalars().all()
        connection.exec_driver_sql(NEXT_NUMBER)
        for name in media:
            put_pieces(connection, name, casebook.media_path(name))

    return create_on_server(url, fill)
