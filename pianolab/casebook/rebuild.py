"""The present state from the log: of each record the latest change by time counts."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import sqlalchemy as sa

from pianolab.casebook import tables
from pianolab.casebook.codec import KINDS, from_json
from pianolab.casebook.ledger import put_record
from pianolab.errors import CasebookError


def rebuild_record(connection: sa.Connection, entries: list[Any], row: Any) -> None:
    """Bring one record to the state that its entries (in order of time) lead to.

    ``row`` is its present row, or None where there is none yet.
    """
    first, last = entries[0], entries[-1]
    if row is None and last.after is None:
        # A removed record keeps its last content, out of view.
        put_record(
            connection, last.kind, last.record_id, body=last.before, at=last.at, change_uid=last.uid, row=None
        )
        row = connection.execute(sa.select(tables.record).where(tables.record.c.id == last.record_id)).one()
    put_record(
        connection, last.kind, last.record_id, body=last.after, at=last.at, change_uid=last.uid, row=row
    )
    created = sa.update(tables.record).where(tables.record.c.id == last.record_id)
    connection.execute(created.values(created_at=first.at))


def entries_by_record(connection: sa.Connection) -> dict[str, list[Any]]:
    """The log by record, records in order of entry, each record's changes in order of time."""
    change = tables.change
    found: dict[str, list[Any]] = {}
    query = sa.select(change).where(change.c.purged.is_(False)).order_by(change.c.at, change.c.uid)
    for row in connection.execute(query):
        found.setdefault(row.record_id, []).append(row)
    return found


def check_entries(entries: Iterable[Mapping[str, Any]]) -> None:
    """`CasebookError` where an entry from elsewhere holds something that is no record of this pianolab."""
    for entry in entries:
        if entry["kind"] not in KINDS:
            raise CasebookError(
                f"change of kind {str(entry['kind'])[:40]!r}: unknown to this version of pianolab."
            )
        for name in ("before", "after"):
            if entry[name] is not None:
                from_json(entry["kind"], entry[name])


def rebuild_records(connection: sa.Connection) -> None:
    """Fill the empty ``record`` table from the log."""
    for entries in entries_by_record(connection).values():
        rebuild_record(connection, entries, None)
