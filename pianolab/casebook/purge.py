"""Removing records for good, and leaving nothing of them but a bare id."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass, fields

import sqlalchemy as sa

from pianolab.casebook import tables
from pianolab.casebook.codec import KINDS, REFERENCES, from_json
from pianolab.casebook.ledger import later_than
from pianolab.errors import BadInput
from pianolab.show import Row, Showable

FIELD_MARK = "\N{SECTION SIGN}"
"""Stands between a record's id and a field's name in the tombstone of a purged field."""


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


def carry_out(connection: sa.Connection, plan: PurgePlan, *, by: str) -> None:
    """Remove what the plan names from the database; the bare ids stay as tombstones."""
    record, change = tables.record, tables.change
    for _, identity in plan.records:
        connection.execute(sa.delete(record).where(record.c.id == identity))
        connection.execute(
            sa.update(change)
            .where(change.c.record_id == identity)
            .values(before=None, after=None, purged=True)
        )
        connection.execute(sa.delete(tables.conflict).where(tables.conflict.c.record_id == identity))
        bury(connection, identity, by=by)
    connection.execute(sa.delete(tables.media).where(tables.media.c.name.in_(plan.media)))


def check_fields(kind: str, names: Iterable[str]) -> tuple[str, ...]:
    """The names themselves, or `BadInput` where one is no text field that may be empty."""
    may_be_empty = {field.name for field in fields(KINDS[kind]) if field.default == ""}
    for name in names:
        if name not in may_be_empty:
            need = "one of " + ", ".join(sorted(may_be_empty))
            raise BadInput(f"field of {kind}", repr(name), need, "Purge the whole record instead?")
    return tuple(names)


def empty_fields(connection: sa.Connection, record_id: str, names: Iterable[str]) -> None:
    """Empty text fields of a record, now and in every earlier version."""
    record, change = tables.record, tables.change
    for row in connection.execute(sa.select(record).where(record.c.id == record_id)).all():
        same = sa.update(record).where(record.c.id == record_id)
        connection.execute(same.values(body=_emptied(row.body, names)))
    for row in connection.execute(sa.select(change).where(change.c.record_id == record_id)).all():
        values = {"before": _emptied(row.before, names), "after": _emptied(row.after, names)}
        connection.execute(sa.update(change).where(change.c.seq == row.seq).values(**values))


def _emptied(text: str | None, names: Iterable[str]) -> str | None:
    return None if text is None else json.dumps(json.loads(text) | dict.fromkeys(names, ""))


def mark_field(record_id: str, name: str) -> str:
    """What a tombstone says of a purged field."""
    return f"{record_id}{FIELD_MARK}{name}"


def empty_marked_fields(connection: sa.Connection) -> None:
    """Empty again, after a merge, every field that was purged anywhere."""
    column = tables.tombstone.c.record_id
    for mark in connection.execute(sa.select(column).where(column.contains(FIELD_MARK))).scalars().all():
        record_id, _, name = mark.rpartition(FIELD_MARK)
        empty_fields(connection, record_id, [name])


def bury(connection: sa.Connection, mark: str, *, by: str) -> None:
    """Put up a tombstone, once."""
    tombstone = tables.tombstone
    known = sa.select(tombstone).where(tombstone.c.record_id == mark)
    if connection.execute(known).first() is None:
        connection.execute(sa.insert(tombstone).values(record_id=mark, at=later_than(None), by=by))
