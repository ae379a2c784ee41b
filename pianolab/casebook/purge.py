"""Removing records for good, and leaving nothing of them but a bare id."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import sqlalchemy as sa

from pianolab.casebook import tables
from pianolab.casebook.codec import REFERENCES, from_json
from pianolab.casebook.ledger import later_than
from pianolab.casebook.media import media_path
from pianolab.casebook.migrate import BACKUPS
from pianolab.errors import BadInput
from pianolab.show import Row, Showable


@dataclass(frozen=True, kw_only=True, repr=False)
class PurgePlan(Showable):
    """Records (kind, id) and media files that a purge removes."""

    header = ("kind", "id or file")

    records: tuple[tuple[str, str], ...]
    media: tuple[str, ...]

    def headline(self) -> str:
        return f"removes {len(self.records)} records and {len(self.media)} media files, and all backup copies"

    def rows(self) -> list[Row]:
        return [*self.records, *(("media", name) for name in self.media)]


def plan_purge(connection: sa.Connection, record_ids: Iterable[str]) -> PurgePlan:
    """The records asked for, all that belong to them (also removed ones), and their media."""
    record = tables.record
    wanted: dict[str, str] = {}
    waiting = [record_ids] if isinstance(record_ids, str) else list(record_ids)
    for identity in waiting:
        kind = connection.execute(
            sa.select(record.c.kind).where(record.c.id == identity)
        ).scalar_one_or_none()
        if kind is None:
            raise BadInput(f"record {identity!r}", "no such record", "the id of one in this casebook")
        wanted[identity] = kind
    while waiting:
        identity = waiting.pop()
        belongs = sa.or_(*(record.c[name] == identity for name in REFERENCES))
        for other, kind in connection.execute(sa.select(record.c.id, record.c.kind).where(belongs)):
            if other not in wanted:
                wanted[other] = kind
                waiting.append(other)
    media = media_of(connection, set(wanted)) - media_of(connection, None, without=set(wanted))
    return PurgePlan(records=tuple((k, i) for i, k in wanted.items()), media=tuple(sorted(media)))


def media_of(connection: sa.Connection, ids: set[str] | None, *, without: set[str] | None = None) -> set[str]:
    """Names of the media files that records name now, or named in any earlier version."""
    record, change = tables.record, tables.change
    kinds = ("Recording", "Photo")
    now = sa.select(record.c.id, record.c.kind, record.c.body).where(record.c.kind.in_(kinds))
    then = sa.select(change.c.record_id, change.c.kind, change.c.after)
    then = then.where(change.c.kind.in_(kinds), change.c.after.is_not(None))
    return {
        from_json(kind, body).media
        for identity, kind, body in connection.execute(now.union(then))
        if (ids is None or identity in ids) and identity not in (without or ())
    }


def carry_out(connection: sa.Connection, plan: PurgePlan, *, by: str, at: str | None = None) -> None:
    """Remove what the plan names from the database; the bare ids stay as tombstones."""
    record, change, tombstone = tables.record, tables.change, tables.tombstone
    for _, identity in plan.records:
        connection.execute(sa.delete(record).where(record.c.id == identity))
        connection.execute(
            sa.update(change)
            .where(change.c.record_id == identity)
            .values(before=None, after=None, purged=True)
        )
        connection.execute(sa.delete(tables.conflict).where(tables.conflict.c.record_id == identity))
        known = sa.select(tombstone).where(tombstone.c.record_id == identity)
        if connection.execute(known).first() is None:
            connection.execute(
                sa.insert(tombstone).values(record_id=identity, at=at or later_than(None), by=by)
            )
    connection.execute(sa.delete(tables.media).where(tables.media.c.name.in_(plan.media)))


def clear_away(folder: Path, plan: PurgePlan) -> None:
    """Delete the media files and the backup copies, after the database has let go of them."""
    for name in plan.media:
        media_path(folder, name).unlink(missing_ok=True)
    for backup in (folder / BACKUPS).glob("*.sqlite"):
        backup.unlink()
