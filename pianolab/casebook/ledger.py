"""The log of changes: every entry brings the present state along, nothing else writes records."""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable
from datetime import UTC, datetime, timedelta
from functools import cache
from typing import Any
from uuid import uuid4

import sqlalchemy as sa

from pianolab.casebook import tables
from pianolab.casebook.codec import KINDS, REFERENCES

# Built once: putting a statement together takes longer than running it.
_RECORD = sa.select(tables.record).where(tables.record.c.id == sa.bindparam("wanted"))
PURGED = "purged"
_LOOK = sa.union_all(
    sa.select(tables.record.c.id, tables.record.c.kind, tables.record.c.deleted).where(
        tables.record.c.id.in_(sa.bindparam("wanted", expanding=True))
    ),
    sa.select(tables.tombstone.c.record_id, sa.literal(PURGED), sa.true()).where(
        tables.tombstone.c.record_id.in_(sa.bindparam("wanted", expanding=True))
    ),
)
_ENTRY = sa.select(tables.change).where(tables.change.c.uid == sa.bindparam("wanted"))
_INSERT_CHANGE = sa.insert(tables.change)
_INSERT_RECORD = sa.insert(tables.record)
_BELONGING = sa.select(sa.func.count()).where(
    sa.or_(*(tables.record.c[name] == sa.bindparam("wanted") for name in REFERENCES)),
    tables.record.c.deleted.is_(False),
)

TAKING_BACK = ("undo", "redo")
_UNDO, _REDO = tables.change.alias("undo"), tables.change.alias("redo")
_REDONE = sa.exists().where(_REDO.c.undoes == _UNDO.c.uid, _REDO.c.action == "redo")


def moment_text(moment: datetime) -> str:
    """A moment as the tables keep it: UTC, fixed width, so that text order is time order."""
    return moment.astimezone(UTC).isoformat(timespec="microseconds")


def later_than(earlier: str | None) -> str:
    """Now, or just after ``earlier`` where the clock stands before it."""
    now = moment_text(datetime.now(UTC))
    if earlier is None or now > earlier:
        return now
    try:
        return moment_text(datetime.fromisoformat(earlier) + timedelta(microseconds=1))
    except (ValueError, OverflowError):
        return now  # no moment at all: a damaged entry, which `check_entries` and `repair` leave out


def is_moment(text: object) -> bool:
    """Whether a text is a moment as `moment_text` writes it.

    Examples
    --------
    >>> is_moment("2026-05-01T09:00:00.000000+00:00"), is_moment("tomorrow"), is_moment("2026-05-01")
    (True, False, False)
    """
    try:
        return isinstance(text, str) and moment_text(datetime.fromisoformat(text)) == text
    except (ValueError, OverflowError):
        return False


class Ledger:
    """The log and the records of one open transaction, written in one name."""

    def __init__(self, connection: sa.Connection, *, by: str, machine: str) -> None:
        self.connection = connection
        self.by, self._machine = by, machine
        self._last_at = ""

    def row(self, record_id: str) -> Any:
        """The record's row, also of a removed one; None where there is none."""
        return self.connection.execute(_RECORD, {"wanted": record_id}).one_or_none()

    def look(self, ids: Iterable[str]) -> dict[str, tuple[str, bool]]:
        """Kind of each record that is there, and whether it is in view; ``purged`` for what was purged.

        One question for all: on a server every question is a way there and back.
        """
        rows = self.connection.execute(_LOOK, {"wanted": list(dict.fromkeys(ids))})
        return {identity: (kind, not deleted) for identity, kind, deleted in rows}

    def count_belonging(self, record_id: str) -> int:
        """How many records that are in view belong to this one."""
        return int(self.connection.execute(_BELONGING, {"wanted": record_id}).scalar_one())

    def entry(self, uid: str) -> Any:
        """One row of the log."""
        return self.connection.execute(_ENTRY, {"wanted": uid}).one()

    def last_writer(self, record_id: str, names: Collection[str]) -> str:
        """Who was the last to change one of these fields of a record."""
        change = tables.change
        query = sa.select(change.c.by, change.c.before, change.c.after).where(change.c.record_id == record_id)
        rows = self.connection.execute(query.order_by(change.c.at.desc(), change.c.seq.desc())).all()
        for by, *sides in rows:
            before, after = (json.loads(side) if side else {} for side in sides)
            if any(before.get(name) != after.get(name) for name in names):
                return str(by)
        return str(rows[0].by)

    def append(
        self,
        kind: str,
        record_id: str,
        *,
        row: Any,
        after: str | None,
        action: str,
        undoes: str | None = None,
    ) -> str:
        """Enter a change of a record whose present row is ``row``; returns the entry's uid."""
        before = None if row is None or row.deleted else row.body
        # Later than the record's last change, whatever the clock says: the order of its versions is certain.
        at = self._last_at = later_than(max(self._last_at, "" if row is None else row.at) or None)
        uid = uuid4().hex
        entry = {
            "uid": uid,
            "at": at,
            "by": self.by,
            "machine": self._machine,
            "action": action,
            "kind": kind,
            "record_id": record_id,
            "before": before,
            "after": after,
            "undoes": undoes,
            "purged": False,
        }
        self.connection.execute(_INSERT_CHANGE, entry)
        put_record(self.connection, kind, record_id, body=after, at=at, change_uid=uid, row=row)
        return uid

    def last_change(self, *, visit_id: str | None = None, kinds: Collection[str] = ()) -> Any:
        """The writer's last change that isn't taken back at present, of one visit and of some kinds if given, or None."""
        change, record = tables.change, tables.record
        taken_back = sa.exists().where(_UNDO.c.undoes == change.c.uid, _UNDO.c.action == "undo", ~_REDONE)
        conditions = [change.c.action.not_in(TAKING_BACK), ~taken_back]
        if visit_id is not None:
            here = sa.exists().where(record.c.id == change.c.record_id, record.c.visit_id == visit_id)
            conditions.append(here)
        if kinds:
            conditions.append(change.c.kind.in_(kinds))
        return self._last(*conditions)

    def last_undo(self) -> Any:
        """The writer's last undo that still stands and after which they entered nothing new, or None."""
        change, newer = tables.change, tables.change.alias("newer")
        since = sa.exists().where(
            newer.c.by == self.by,
            newer.c.purged.is_(False),
            newer.c.action.not_in(TAKING_BACK),
            newer.c.seq > change.c.seq,
            sa.or_(newer.c.machine == self._machine, newer.c.at > change.c.at),
        )
        redone = sa.exists().where(_REDO.c.undoes == change.c.uid, _REDO.c.action == "redo")
        return self._last(change.c.action == "undo", ~since, ~redone)

    def _last(self, *conditions: sa.ColumnElement[bool]) -> Any:
        """The writer's last entry of a kind in the order of entry, whatever the clocks said.

        Entries from this machine are in the order of their numbers. Those from others came by a server, in that
        order too, or were gathered later than they were made: one of them is the last only where both its number
        and its time say so.
        """
        change = tables.change
        query = sa.select(change).where(change.c.by == self.by, change.c.purged.is_(False), *conditions)
        here, there = change.c.machine == self._machine, change.c.machine != self._machine
        own = self.connection.execute(query.where(here).order_by(change.c.seq.desc()).limit(1)).first()
        other = self.connection.execute(
            query.where(there).order_by(change.c.at.desc(), change.c.seq.desc()).limit(1)
        ).first()
        if own is None or other is None:
            return own or other
        return other if other.seq > own.seq and other.at > own.at else own


def put_record(
    connection: sa.Connection,
    kind: str,
    record_id: str,
    *,
    body: str | None,
    at: str,
    change_uid: str,
    row: Any,
) -> None:
    """Bring the ``record`` table to the state of a record's latest change; no body means removed."""
    text = body if body is not None else row.body
    content = json.loads(text)
    values: dict[str, Any] = {"body": text, "deleted": body is None, "at": at, "change_uid": change_uid}
    values |= {name: content.get(name) if name in _field_names(kind) else None for name in REFERENCES}
    if row is None:
        values |= {"id": record_id, "kind": kind, "created_at": at}
        connection.execute(_INSERT_RECORD, values)
    else:
        connection.execute(sa.update(tables.record).where(tables.record.c.id == record_id).values(**values))


@cache
def _field_names(kind: str) -> frozenset[str]:
    return frozenset(KINDS[kind].__dataclass_fields__)
