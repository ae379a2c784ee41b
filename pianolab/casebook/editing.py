"""The one way to write: inside ``with casebook.editing(by=...)``, all of the block or none."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, TypeVar
from uuid import uuid4

import sqlalchemy as sa

from pianolab.casebook import tables
from pianolab.casebook.codec import KINDS, REFERENCES, Record, id_of, kind_of, references_of, to_json
from pianolab.casebook.engine import refusal
from pianolab.casebook.media import KeptSound, Stored, keep_sound
from pianolab.casebook.photos import keep_photo
from pianolab.casebook.reading import Change, to_change
from pianolab.errors import BadInput, CasebookError
from pianolab.io import Sound
from pianolab.model import Photo, Recording

R = TypeVar("R", bound=Record)


def moment_text(moment: datetime) -> str:
    """A moment as the tables keep it: UTC, fixed width, so that text order is time order."""
    return moment.astimezone(UTC).isoformat(timespec="microseconds")


def later_than(earlier: str | None) -> str:
    """Now, or just after ``earlier`` where the clock stands before it."""
    now = moment_text(datetime.now(UTC))
    if earlier is None or now > earlier:
        return now
    return moment_text(datetime.fromisoformat(earlier) + timedelta(microseconds=1))


class Edit:
    """What can be done inside one editing block. Made by `Casebook.editing`."""

    def __init__(self, connection: sa.Connection, *, by: str, machine: str, folder: Path) -> None:
        self._connection: sa.Connection | None = connection
        self._by, self._machine, self._folder = by, machine, folder
        self._last_at: str | None = None

    def add(self, record: R) -> R:
        """Add a new record; the records it belongs to must be there.

        Raises
        ------
        BadInput
            an id that is there already (or was purged), or a piano, visit or recording that isn't
        """
        kind, identity, body = kind_of(record), id_of(record), to_json(record)
        if self._row(identity) is not None:
            raise BadInput(f"{kind} {identity!r}", "an id that is there already", "a new id, or edit.change")
        if self._purged(identity):
            raise BadInput(f"{kind} {identity!r}", "an id that was purged", "a new id")
        self._check_references(kind, record)
        self._write(record, before=None, after=body, action="add")
        return record

    def change(self, record: R, *, was: R | None = None) -> R:
        """Give a record new content; the log keeps before and after.

        With ``was`` the change is refused where somebody else has changed the record since it was read.
        """
        kind, identity, body = kind_of(record), id_of(record), to_json(record)
        row = self._present(kind, identity)
        if was is not None and row.body != to_json(was):
            raise refusal(
                f"{kind} {identity!r}", f"{row.body} in the casebook", f"what was read before, {to_json(was)}",
                "Another has changed it since; read it again.",
            )  # fmt: skip
        if row.body != body:
            self._check_references(kind, record)
            self._write(record, before=row.body, after=body, action="change")
        return record

    def remove(self, record_id: str) -> None:
        """Take a record out of view; it stays in the log and can be brought back by undo."""
        row = self._present(None, record_id)
        record = tables.record
        column_of = [record.c[name] == record_id for name in REFERENCES]
        query = sa.select(sa.func.count()).where(sa.or_(*column_of), record.c.deleted.is_(False))
        if count := self._open.execute(query).scalar_one():
            raise BadInput(
                f"{row.kind} {record_id!r}", f"{count} records that belong to it", "none; remove them first"
            )
        self._log(row.kind, record_id, before=row.body, after=None, action="remove")

    def settle(self, record: R) -> R:
        """Settle the conflicts about a record: this content counts from now on."""
        self.change(record)
        table = tables.conflict
        self._open.execute(
            sa.update(table)
            .where(table.c.record_id == id_of(record), table.c.settled_at.is_(None))
            .values(settled_at=later_than(None))
        )
        return record

    def undo(self) -> Change:
        """Take back this examiner's last change, as a new entry of the log.

        Raises
        ------
        CasebookError
            nothing to take back, or another has changed that record since; the line shows both
        """
        last = self._last_change()
        row = self._row(last.record_id)
        now = None if row is None or row.deleted else row.body
        if now != last.after:
            raise refusal(
                f"undo by {self._by}", f"{last.kind} changed by another since, now {now}",
                f"the value entered by {self._by}, {last.after}", "Agree on one and enter it.",
            )  # fmt: skip
        if last.before is None and self._has_dependents(last.record_id):
            raise BadInput(
                "undo", f"a {last.kind} that other records belong to by now", "none", "Remove them first."
            )
        self._log(
            last.kind, last.record_id, before=last.after, after=last.before, action="undo", undoes=last.uid
        )
        return self._entry(self._last_uid)

    def add_sound(
        self,
        visit_id: str,
        sound: str | Path | Sound | KeptSound,
        *,
        first_key: int = 1,
        last_key: int = 88,
        a4_hz: float = 440.0,
        note: str = "",
    ) -> Recording:
        """Keep a sound in the media folder and add its `Recording`.

        Other writers wait while a long file is converted; `Casebook.keep_sound` does that beforehand.
        """
        self._present("Visit", visit_id)
        kept = sound if isinstance(sound, KeptSound) else keep_sound(self._folder, sound)
        self._register(kept.stored)
        recording = Recording(
            visit_id=visit_id,
            media=kept.stored.name,
            original_name=kept.original_name,
            rate_hz=kept.rate_hz,
            channels=kept.channels,
            seconds=kept.seconds,
            first_key=first_key,
            last_key=last_key,
            a4_hz=a4_hz,
            note=note,
        )
        return self.add(recording)

    def add_photo(
        self,
        visit_id: str,
        photo: str | Path,
        *,
        point: str = "",
        caption: str = "",
        keep_details: bool = False,
    ) -> Photo:
        """Keep a photo in the media folder, without place and device data, and add its `Photo`."""
        self._present("Visit", visit_id)
        stored = keep_photo(self._folder, photo, keep_details=keep_details)
        self._register(stored)
        return self.add(Photo(visit_id=visit_id, media=stored.name, point=point, caption=caption))

    @property
    def _open(self) -> sa.Connection:
        if self._connection is None:
            raise CasebookError(
                "edit: got a block that has ended, need an open one. Start a new editing block."
            )
        return self._connection

    def _end(self) -> None:
        self._connection = None

    def _row(self, record_id: str) -> Any:
        query = sa.select(tables.record).where(tables.record.c.id == record_id)
        return self._open.execute(query).one_or_none()

    def _purged(self, record_id: str) -> bool:
        query = sa.select(tables.tombstone).where(tables.tombstone.c.record_id == record_id)
        return self._open.execute(query).first() is not None

    def _present(self, kind: str | None, record_id: str) -> Any:
        row = self._row(record_id)
        if row is None or row.deleted or kind not in (None, row.kind):
            raise BadInput(
                f"{kind or 'record'} {record_id!r}", "no such record", "the id of one in this casebook"
            )
        return row

    def _has_dependents(self, record_id: str) -> bool:
        record = tables.record
        belongs = sa.or_(*(record.c[name] == record_id for name in REFERENCES))
        query = sa.select(record.c.id).where(belongs, record.c.deleted.is_(False))
        return self._open.execute(query).first() is not None

    def _check_references(self, kind: str, record: Record) -> None:
        for name, reference in references_of(record).items():
            if reference is None:
                continue
            row = self._row(reference)
            if row is None or row.deleted or row.kind != REFERENCES[name]:
                need = f"the id of a {REFERENCES[name]} in this casebook"
                raise BadInput(f"{kind} {name}", repr(reference), need, "Add that one first.")

    def _register(self, stored: Stored) -> None:
        known = sa.select(tables.media).where(tables.media.c.name == stored.name)
        if self._open.execute(known).first() is None:
            self._open.execute(
                sa.insert(tables.media).values(
                    name=stored.name,
                    size=stored.size,
                    original_sha256=stored.original_sha256,
                    added_at=later_than(None),
                )
            )

    def _write(self, record: Record, *, before: str | None, after: str, action: str) -> None:
        self._log(kind_of(record), id_of(record), before=before, after=after, action=action)

    def _log(
        self, kind: str, record_id: str, *, before: str | None, after: str | None, action: str,
        undoes: str | None = None,
    ) -> None:  # fmt: skip
        row = self._row(record_id)
        # Later than the record's last change, whatever the clock says: the order of its versions is certain.
        floors = [at for at in (self._last_at, None if row is None else row.at) if at is not None]
        at = self._last_at = later_than(max(floors, default=None))
        self._last_uid = uuid4().hex
        self._open.execute(
            sa.insert(tables.change).values(
                uid=self._last_uid,
                at=at,
                by=self._by,
                machine=self._machine,
                action=action,
                kind=kind,
                record_id=record_id,
                before=before,
                after=after,
                undoes=undoes,
                purged=False,
            )
        )
        put_record(self._open, kind, record_id, body=after, at=at, change_uid=self._last_uid, row=row)

    def _last_change(self) -> Any:
        change = tables.change
        undone = sa.select(change.c.undoes).where(change.c.undoes.is_not(None))
        query = (
            sa.select(change)
            .where(change.c.by == self._by, change.c.action != "undo", change.c.purged.is_(False))
            .where(change.c.uid.not_in(undone))
            .order_by(change.c.at.desc(), change.c.seq.desc())
        )
        row = self._open.execute(query).first()
        if row is None:
            raise refusal(f"undo by {self._by}", "no change of theirs", "a change to take back")
        return row

    def _entry(self, uid: str) -> Change:
        query = sa.select(tables.change).where(tables.change.c.uid == uid)
        return to_change(self._open.execute(query).one())


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
    table = tables.record
    text = body if body is not None else (row.body if row is not None else "{}")
    values: dict[str, Any] = {"body": text, "deleted": body is None, "at": at, "change_uid": change_uid}
    content = json.loads(text)
    values |= {name: content.get(name) for name in REFERENCES if name in _field_names(kind)}
    if row is None:
        connection.execute(sa.insert(table).values(id=record_id, kind=kind, created_at=at, **values))
    else:
        connection.execute(sa.update(table).where(table.c.id == record_id).values(**values))


def _field_names(kind: str) -> frozenset[str]:
    return frozenset(KINDS[kind].__dataclass_fields__)
