"""The one way to write: inside ``with casebook.editing(by=...)``, all of the block or none."""

from __future__ import annotations

from collections.abc import Collection
from pathlib import Path
from typing import Any, TypeVar

import sqlalchemy as sa

from pianolab.casebook import tables
from pianolab.casebook.based_on import Clash, merged
from pianolab.casebook.codec import (
    REFERENCES,
    UNFIT,
    UNREADABLE,
    Record,
    class_name,
    differing,
    from_json,
    id_of,
    kind_of,
    references_of,
    to_json,
)
from pianolab.casebook.entering import Entry, kept_checklist
from pianolab.casebook.ledger import PURGED, Ledger, later_than
from pianolab.casebook.media import KeptSound, Stored, keep_photo, keep_sound
from pianolab.casebook.reading import Change, to_change
from pianolab.casebook.store import Store
from pianolab.casebook.troubles import ChangedSince, refusal
from pianolab.checklist import Checklist
from pianolab.errors import BadInput, CasebookError
from pianolab.io import Sound
from pianolab.model import Capture, Photo, Piano, Recording, RecordingPurpose

R = TypeVar("R", bound=Record)


class Edit:
    """What can be done inside one editing block. Made by `Casebook.editing`.

    Each record is looked at once more where it is entered: a piano's name must be free, a finding's point known to
    the checklist and its value possible there, a sound or photo in the media folder.
    """

    def __init__(
        self,
        connection: sa.Connection,
        *,
        by: str,
        machine: str,
        store: Store,
        checklist: Checklist | None = None,
    ) -> None:
        self._ledger: Ledger | None = Ledger(connection, by=by, machine=machine)
        self._store = store
        self._given_checklist = checklist

    def add(self, record: R) -> R:
        """Add a new record; the records it belongs to must be there.

        Raises
        ------
        BadInput
            an id that is there already (or was purged), a piano, visit or recording that isn't, or what `Entry`
            refuses
        """
        kind, identity, body = kind_of(record), id_of(record), to_json(record)
        references = {name: i for name, i in references_of(record).items() if i is not None}
        found = self._open.look([identity, *references.values()])
        if identity in found and found[identity][0] != PURGED:
            raise BadInput(
                f"{class_name(kind)} {identity!r}", "an id that is there already", "a new id, or edit.change"
            )
        if identity in found:
            raise BadInput(f"{class_name(kind)} {identity!r}", "an id that was purged", "a new id")
        _check_references(kind, references, found)
        self._check_entry(record, before=None)
        self._open.append(kind, identity, row=None, after=body, action="add")
        return record

    def change(self, record: R, *, was: R | None = None) -> R:
        """Give a record new content; the log keeps before and after.

        Parameters
        ----------
        record : the new content
        was : the record as it was read before. Where another has changed it since, fields that one side left
            alone take the other's value. Without it the new content stands, whatever is there by now.

        Returns
        -------
        The record as it is kept, with what another has changed meanwhile

        Raises
        ------
        Clash
            both have changed one field; it holds both values, and nothing is changed
        BadInput
            no such record, or what `Entry` refuses
        """
        kind, identity = kind_of(record), id_of(record)
        row = self._open.row(identity)
        if was is not None and row is not None and row.deleted and row.kind == kind:
            raise Clash(record, was=was, theirs=None, fields=(), by=self._open.entry(row.change_uid).by)
        row = self._present(kind, identity)
        now = from_json(kind, row.body)
        if was is not None and was != now:
            record = self._merged(record, was=was, now=now)
        if record != now:
            self._check_references(kind, record, row=row)
            self._check_entry(record, before=now)
            self._open.append(kind, identity, row=row, after=to_json(record), action="change")
        return record

    def _merged(self, record: R, *, was: R, now: R) -> R:
        try:
            return merged(record, was=was, theirs=now, by="another")
        except Clash as clash:
            names = {name.partition(".")[0] for field in clash.fields for name in field.names}
            raise clash.entered_by(self._open.last_writer(id_of(record), names)) from None

    def remove(self, record_id: str, *, was: Record | None = None) -> None:
        """Take a record out of view; it stays in the log and can be brought back by undo.

        Parameters
        ----------
        record_id : its id
        was : the record as it was read before. Where another has changed it since, it stays. Without it the record
            goes, whatever it says by now.

        Raises
        ------
        ChangedSince
            changed by another since it was read
        BadInput
            no such record, or one that others belong to
        """
        row = self._present(None, record_id)
        called = f"{class_name(row.kind)} {record_id!r}"
        if count := self._open.count_belonging(record_id):
            raise BadInput(called, f"{count} records that belong to it", "none; remove them first")
        if was is not None and from_json(row.kind, row.body) != was:
            got = f"changes by {self._open.entry(row.change_uid).by} since it was read"
            need = "a record as it was read; it stays"
            raise refusal(called, got, need, "Look at it once more.", kind=ChangedSince)
        self._open.append(row.kind, record_id, row=row, after=None, action="remove")

    def settle(self, record: R) -> R:
        """Settle the conflicts about a record: this content counts from now on."""
        self.change(record)
        table = tables.conflict
        self._open.connection.execute(
            sa.update(table)
            .where(table.c.record_id == id_of(record), table.c.settled_at.is_(None))
            .values(settled_at=later_than(None))
        )
        return record

    def undo(self, *, visit_id: str | None = None, kinds: Collection[str] = ()) -> Change:
        """Take back this examiner's last change, as a new entry of the log; again, the one before it, and so on.

        Changes of others are never touched. `redo` brings back what was taken back last.

        Parameters
        ----------
        visit_id : only what belongs to this visit, whatever was entered elsewhere since
        kinds : only records of these kinds, such as ``Finding``

        Raises
        ------
        CasebookError
            nothing to take back, or another has changed that record since; the line shows both
        """
        last = self._open.last_change(visit_id=visit_id, kinds=kinds)
        if last is None:
            where = "" if visit_id is None else " of this visit"
            raise refusal(f"undo by {self._open.by}", "no change of theirs", f"a change{where} to take back")
        return self._reverse(last, "undo")

    def redo(self) -> Change:
        """Bring back what this examiner took back last, as long as they entered nothing new since.

        Raises
        ------
        CasebookError
            nothing to bring back, or another has changed that record since; the line shows both
        """
        last = self._open.last_undo()
        if last is None:
            need = "one with nothing entered after it"
            raise refusal(f"redo by {self._open.by}", "no undo of theirs", need)
        return self._reverse(last, "redo")

    def _reverse(self, entry: Any, action: str) -> Change:
        """Set a record back to what it was before an entry, where it is still as the entry left it."""
        ledger = self._open
        row = ledger.row(entry.record_id)
        now = None if row is None or row.deleted else row.body
        if now != entry.after:
            there, entered = differing(now, entry.after)
            raise refusal(
                f"{action} by {ledger.by}",
                f"{class_name(entry.kind)} changed by another since, now {there}",
                f"the value entered by {ledger.by}, {entered}",
                "Agree on one and enter it.",
                kind=ChangedSince,
            )
        if entry.before is not None:
            restored = from_json(entry.kind, entry.before)
            self._check_references(entry.kind, restored)
            if isinstance(restored, Piano):  # its name may have been given to another meanwhile
                self._check_entry(restored, before=None if now is None else from_json(entry.kind, now))
        elif ledger.count_belonging(entry.record_id):
            got = f"a {class_name(entry.kind)} that other records belong to by now"
            raise BadInput(action, got, "none", "Remove them first.")
        uid = ledger.append(
            entry.kind, entry.record_id, row=row, after=entry.before, action=action, undoes=entry.uid
        )
        return to_change(ledger.entry(uid))

    def add_sound(
        self,
        visit_id: str,
        sound: str | Path | Sound | KeptSound,
        *,
        first_key: int = 1,
        last_key: int = 88,
        a4_hz: float = 440.0,
        purpose: RecordingPurpose = "take",
        note: str = "",
        capture: Capture | None = None,
    ) -> Recording:
        """Keep a sound in the media folder and add its `Recording`.

        Other writers wait while a long file is converted; `Casebook.keep_sound` does that beforehand.
        """
        self._present("Visit", visit_id)
        kept = sound if isinstance(sound, KeptSound) else keep_sound(self._store.folder, sound)
        self._register(kept.stored)
        recording = Recording(
            visit_id=visit_id,
            media=kept.stored.name,
            original_name=UNFIT.sub(UNREADABLE, kept.original_name),
            rate_hz=kept.rate_hz,
            channels=kept.channels,
            seconds=kept.seconds,
            first_key=first_key,
            last_key=last_key,
            a4_hz=a4_hz,
            purpose=purpose,
            note=note,
            capture=capture,
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
        stored = keep_photo(self._store.folder, photo, keep_details=keep_details)
        self._register(stored)
        return self.add(Photo(visit_id=visit_id, media=stored.name, point=point, caption=caption))

    @property
    def _open(self) -> Ledger:
        if self._ledger is None:
            raise CasebookError(
                "edit: got a block that has ended, need an open one. Start a new editing block."
            )
        return self._ledger

    def _end(self) -> None:
        self._ledger = None

    def _present(self, kind: str | None, record_id: str) -> Any:
        row = self._open.row(record_id)
        if row is None or row.deleted or kind not in (None, row.kind):
            raise BadInput(
                f"{class_name(kind) if kind else 'record'} {record_id!r}",
                "no such record",
                "the id of one in this casebook",
            )
        return row

    def _check_references(self, kind: str, record: Record, *, row: Any = None) -> None:
        """Whether the records that one belongs to are there; those that its row names already are."""
        references = {
            name: identity
            for name, identity in references_of(record).items()
            if identity is not None and (row is None or identity != row._mapping[name])
        }
        if references:
            _check_references(kind, references, self._open.look(references.values()))

    def _check_entry(self, record: Record, *, before: Record | None) -> None:
        Entry(self._open.connection, record, before=before, checklist=self._checklist).check()

    def _checklist(self) -> Checklist:
        if self._given_checklist is None:
            self._given_checklist = kept_checklist(self._open.connection, name=self._store.name)
        return self._given_checklist

    def _register(self, stored: Stored) -> None:
        connection = self._open.connection
        self._store.take_in(connection, stored)
        known = sa.select(tables.media).where(tables.media.c.name == stored.name)
        if connection.execute(known).first() is None:
            connection.execute(
                sa.insert(tables.media).values(
                    name=stored.name,
                    size=stored.size,
                    original_sha256=stored.original_sha256,
                    added_at=later_than(None),
                )
            )


def _check_references(kind: str, references: dict[str, str], found: dict[str, tuple[str, bool]]) -> None:
    for name, identity in references.items():
        if found.get(identity) != (REFERENCES[name], True):
            need = f"the id of a {REFERENCES[name]} in this casebook"
            raise BadInput(f"{kind} {name}", repr(identity), need, "Add that one first.")
