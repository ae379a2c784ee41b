"""The casebook: a folder with a SQLite database and media, or a database on a server. Nothing entered is lost."""

from __future__ import annotations

import threading
import uuid
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from pathlib import Path
from types import TracebackType
from typing import Self

import sqlalchemy as sa

from pianolab.casebook import tables
from pianolab.casebook.codec import check_text, from_json, recall
from pianolab.casebook.editing import Edit
from pianolab.casebook.engine import reading, why_read_only, writing
from pianolab.casebook.entering import kept_checklist
from pianolab.casebook.ledger import moment_text
from pianolab.casebook.media import KeptSound, check_photo, hash_in_name, keep_sound
from pianolab.casebook.purge import (
    PurgePlan,
    bury,
    carry_out,
    check_fields,
    empty_fields,
    mark_field,
    plan_purge,
)
from pianolab.casebook.reading import AsOf, Change, Conflict, Records, select_bodies, to_change
from pianolab.casebook.rebuild import log_problems
from pianolab.casebook.store import Store
from pianolab.casebook.troubles import refusal
from pianolab.checklist import Checklist
from pianolab.errors import BadInput, CasebookError, PianolabError
from pianolab.io import Sound
from pianolab.show import Fields, html_table

LONGEST_NAME = 200


@dataclass(frozen=True, kw_only=True)
class Verification(Fields):
    """Result of `Casebook.verify`: what is wrong, in words; ``ok`` where nothing is."""

    problems: tuple[str, ...]
    unused_media: tuple[str, ...]

    @property
    def ok(self) -> bool:
        return not self.problems


def check_open(given: object, *, name: str) -> None:
    """`BadInput` where something else is given in place of an open casebook, such as its folder."""
    if not isinstance(given, Casebook):
        got = repr(str(given)) if isinstance(given, (str, Path)) else f"a {type(given).__name__}"
        raise BadInput(name, got, "an open casebook", "open_casebook opens a folder.")


class Casebook(Records):
    """An open casebook. Read with its methods, write inside ``with casebook.editing(by=...)``.

    Examples
    --------
    >>> import tempfile
    >>> from pianolab.casebook import create_casebook
    >>> from pianolab.model import Piano
    >>> with tempfile.TemporaryDirectory() as folder, create_casebook(Path(folder) / "mine") as casebook:
    ...     with casebook.editing(by="Ana") as edit:
    ...         piano = edit.add(Piano(name="by the window"))
    ...     [p.name for p in casebook.pianos()]
    ['by the window']
    """

    def __init__(self, store: Store) -> None:
        self._store = store
        self._engine = store.engine
        self._editing = threading.local()
        with reading(self._engine, name=self.name) as connection:
            query = sa.select(tables.meta.c.value).where(tables.meta.c.key == "casebook_id")
            self.id: str = connection.execute(query).scalar_one()

    def __repr__(self) -> str:
        return f"<Casebook {self.name}{f', read only: {self.read_only}' if self.read_only else ''}>"

    def _repr_html_(self) -> str:
        visits = self.visits()
        rows = [
            (
                p.name,
                p.kind,
                p.year,
                ", ".join(v.day.isoformat() for v in visits if v.piano_id == p.id) or "none yet",
            )
            for p in self.pianos()
        ]
        return html_table(
            f"Casebook {self.name}", ("piano", "kind", "year", "visits"), rows, empty="no piano yet"
        )

    @property
    def name(self) -> str:
        """Where it lies, in words: the folder, or the server's address without password."""
        return self._store.name

    @property
    def read_only(self) -> str:
        """Why nothing can be entered, such as a full disk; empty where all is as usual."""
        return why_read_only(self._engine)

    @property
    def folder(self) -> Path:
        """Its folder; of a casebook on a server a temporary one, which goes on closing."""
        return self._store.folder

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close all connections; the casebook can be opened again."""
        self._store.close()

    @contextmanager
    def editing(self, *, by: str, checklist: Checklist | None = None) -> Iterator[Edit]:
        """A block in which records are added and changed: all of it is kept, or none.

        Parameters
        ----------
        by : who writes; stands in the log
        checklist : the points that may be entered; None takes those of `checklist`

        Raises
        ------
        CasebookError
            a block is open already in this thread, the disk is full, another program holds the casebook
        """
        check_text("by", by, longest=LONGEST_NAME)
        if getattr(self._editing, "open", False):
            raise CasebookError("editing: got a block inside a block, need one at a time. Use the outer one.")
        self._editing.open = True
        try:
            self._store.before_edit()
            with writing(self._engine, name=self.name) as connection:
                edit = Edit(
                    connection, by=by, machine=self._machine(), store=self._store, checklist=checklist
                )
                try:
                    yield edit
                finally:
                    edit._end()
        finally:
            self._editing.open = False

    def checklist(self) -> Checklist:
        """The points this casebook is entered by: the user's own that it keeps on top of the usual ones."""
        with reading(self._engine, name=self.name) as connection:
            return kept_checklist(connection, name=self.name)

    def undo(self, *, by: str, visit_id: str | None = None) -> Change:
        """Take back the examiner's last change, or their last of one visit, as a new entry of the log; see `Edit.undo`.

        Parameters
        ----------
        by : the examiner; stands in the log
        visit_id : only their last change of this visit; None for the last of all
        """
        with self.editing(by=by) as edit:
            return edit.undo(visit_id=visit_id)

    def redo(self, *, by: str) -> Change:
        """Bring back what the examiner took back last; see `Edit.redo`."""
        with self.editing(by=by) as edit:
            return edit.redo()

    def _machine(self) -> str:
        # Tells machines apart without naming them, and differently in every casebook.
        return sha256(f"{uuid.getnode()}/{self.id}".encode()).hexdigest()[:12]

    def _bodies(self, kind: str, **where: str | None) -> Iterable[str]:
        with reading(self._engine, name=self.name) as connection:
            return connection.execute(select_bodies(kind, where)).scalars().all()

    def keep_sound(self, sound: str | Path | Sound) -> KeptSound:
        """Keep a sound in the media folder before an edit, for `Edit.add_sound`; others can write meanwhile."""
        kept = keep_sound(self.folder, sound)
        self._store.offer(kept.stored)
        return kept

    def media_path(self, media: str) -> Path:
        """Path of a sound or picture, by the name in a `Recording` or `Photo`; fetched first from a server."""
        path = self._store.media_file(media)
        if not path.is_file():
            raise refusal(media, "no such file in the media folder", "the file", "Was it deleted by hand?")
        return path

    def log(self, record_id: str | None = None) -> tuple[Change, ...]:
        """Every change ever entered, in order; of one record where its id is given.

        Parameters
        ----------
        record_id : the id of a record; None for the whole log
        """
        change = tables.change
        query = sa.select(change).order_by(change.c.at, change.c.seq)
        if record_id is not None:
            query = query.where(change.c.record_id == record_id)
        with reading(self._engine, name=self.name) as connection:
            return tuple(to_change(row) for row in connection.execute(query))

    def as_of(self, moment: datetime) -> AsOf:
        """The casebook as it was at a moment (local time where it carries no zone); read only.

        Parameters
        ----------
        moment : a day and a time
        """
        change = tables.change
        query = sa.select(change.c.kind, change.c.record_id, change.c.after)
        query = query.where(change.c.at <= moment_text(moment)).order_by(change.c.at, change.c.uid)
        latest: dict[str, tuple[str, str | None]] = {}
        with reading(self._engine, name=self.name) as connection:
            for kind, record_id, after in connection.execute(query):
                latest[record_id] = (kind, after)
        bodies: dict[str, list[str]] = {}
        for kind, after in latest.values():
            if after is not None:
                bodies.setdefault(kind, []).append(after)
        visits = [from_json("Visit", body) for body in bodies.get("Visit", [])]
        return AsOf(bodies, lambda piano_id: {visit.id for visit in visits if visit.piano_id == piano_id})

    def conflicts(self) -> tuple[Conflict, ...]:
        """Records that were changed apart and then gathered; both versions, until settled."""
        conflict, change, record = tables.conflict, tables.change, tables.record
        query = sa.select(conflict).where(conflict.c.settled_at.is_(None)).order_by(conflict.c.found_at)
        found = []
        with reading(self._engine, name=self.name) as connection:
            for row in connection.execute(query).all():
                uids = sa.select(change).where(change.c.uid.in_((row.one_uid, row.other_uid)))
                one, other = (
                    to_change(c) for c in connection.execute(uids.order_by(change.c.at, change.c.uid))
                )
                now = connection.execute(sa.select(record).where(record.c.id == row.record_id)).one()
                current = None if now.deleted else from_json(now.kind, now.body)
                found.append(
                    Conflict(record_id=row.record_id, kind=now.kind, current=current, versions=(one, other))
                )
        return tuple(found)

    def verify(self) -> Verification:
        """Check the database's integrity, that every change and record can be read, and every media file's hash."""
        record, change = tables.record, tables.change
        with reading(self._engine, name=self.name) as connection:
            problems = self._store.problems(connection)
            records = connection.execute(sa.select(record.c.id, record.c.kind, record.c.body)).all()
            apart = sa.select(record.c.id).outerjoin(change, change.c.uid == record.c.change_uid)
            apart = apart.where(
                sa.or_(change.c.uid.is_(None), sa.and_(~record.c.deleted, change.c.after != record.c.body))
            )
            for identity in connection.execute(apart).scalars():
                problems.append(f"record {identity}: not what its last change says")
            problems += log_problems(connection)
        used: dict[str, str] = {}
        for identity, kind, body in records:
            try:
                found, troubles = recall(kind, body)
                problems += [f"record {identity}: {line}" for line in troubles]
                if name := getattr(found, "media", ""):
                    used[name] = kind
            except CasebookError as error:
                problems.append(str(error))
        problems += [line for name in sorted(used) if (line := self._media_problem(name, used[name]))]
        unused = self._store.media_names() - used.keys()
        return Verification(problems=tuple(problems), unused_media=tuple(sorted(unused)))

    def purge_plan(self, record_ids: Iterable[str]) -> PurgePlan:
        """What `purge` would remove: the records, all that belong to them, and media nobody else uses."""
        with reading(self._engine, name=self.name) as connection:
            return plan_purge(connection, record_ids)

    def purge(self, record_ids: Iterable[str], *, by: str) -> PurgePlan:
        """Remove records for good, with all that belongs to them: for privacy, not for tidying.

        Their content goes from the records, the log and the backup copies, and media files used by nothing
        else are deleted. A tombstone with the bare id stays, so that `gather` doesn't bring them back.

        Parameters
        ----------
        record_ids : the ids of records
        by : who asks for it; stands in the log
        """
        check_text("by", by, longest=LONGEST_NAME)
        with writing(self._engine, name=self.name) as connection:
            plan = plan_purge(connection, record_ids)
            carry_out(connection, plan, by=by)
            self._store.let_go(connection, plan.media)
        self._store.forget(plan.media)
        return plan

    def purge_fields(self, record_id: str, names: Iterable[str], *, by: str) -> None:
        """Empty text fields of a record for good, such as a seller's address; the record itself stays.

        They go from the record, from the whole log and with the backup copies, and `gather` doesn't bring
        them back.

        Parameters
        ----------
        record_id : the id of a record
        names : names of its text fields
        by : who asks for it; stands in the log
        """
        check_text("by", by, longest=LONGEST_NAME)
        with writing(self._engine, name=self.name) as connection:
            ((kind, _), *_) = plan_purge(connection, [record_id]).records
            chosen = check_fields(kind, [names] if isinstance(names, str) else list(names))
            empty_fields(connection, record_id, chosen)
            for name in chosen:
                bury(connection, mark_field(record_id, name), by=by)
        self._store.forget(())

    def _media_problem(self, name: str, kind: str) -> str | None:
        try:
            found = self._store.media_hash(name)
            if found is None:
                return f"media {name}: missing"
            if found != hash_in_name(name):
                return f"media {name}: content changed"
            if kind == "Photo":
                check_photo(self._store.media_file(name), whole=False)
        except PianolabError as error:
            return f"media {name[:80]}: {error}"
        return None
