"""Merging casebooks: by stable ids, in any order, as often as one likes, with the same result.

The logs are united; the state of each record is its latest change by time. Where two sides changed one
record without knowing of each other, both versions stay in the log and the pair is listed as a conflict.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import sqlalchemy as sa

from pianolab.casebook import tables
from pianolab.casebook.book import Casebook
from pianolab.casebook.codec import KINDS, REFERENCES, from_json
from pianolab.casebook.engine import DATABASE_NAME, reading, writing
from pianolab.casebook.ledger import later_than
from pianolab.casebook.media import hash_in_name, hash_of, keep_file, media_path
from pianolab.casebook.migrate import VERSIONS, check_version, copy_database
from pianolab.casebook.opening import create_casebook, holds_casebook, open_casebook, version_at
from pianolab.casebook.purge import (
    FIELD_MARK,
    PurgePlan,
    carry_out,
    empty_marked_fields,
    media_of,
    plan_purge,
)
from pianolab.casebook.reading import Conflict
from pianolab.casebook.rebuild import check_entries, entries_by_record, rebuild_record
from pianolab.casebook.server import is_url, name_of, parse_url
from pianolab.casebook.settings import take_over
from pianolab.casebook.troubles import clear_errors, refusal
from pianolab.show import Row, Showable


@dataclass(frozen=True, kw_only=True, repr=False)
class GatherResult(Showable):
    """What `gather` did: records new and brought up to date, conflicts to settle, and what it left out."""

    into: str
    sources: int
    added: int
    updated: int
    changes: int
    media: int
    purged: int
    conflicts: tuple[Conflict, ...]
    problems: tuple[str, ...]

    def headline(self) -> str:
        return (
            f"{self.into}: {self.sources} casebooks gathered, {self.added} records added, {self.updated} "
            f"brought up to date, {len(self.conflicts)} conflicts to settle, {len(self.problems)} problems"
        )

    def rows(self) -> list[Row]:
        counts = ("added", "updated", "changes", "media", "purged")
        rows: list[Row] = [(name, getattr(self, name), "", "") for name in counts]
        for conflict in self.conflicts:
            one, other = conflict.versions
            rows.append(
                (
                    "conflict",
                    conflict.kind,
                    conflict.record_id,
                    f"{one.by}: {one.after} / {other.by}: {other.after}",
                )
            )
        return rows + [("problem", problem, "", "") for problem in self.problems]


Place = str | Path


def gather(sources: Place | Sequence[Place], *, into: Place) -> GatherResult:
    """Merge casebooks of several people into one, which is made where it doesn't exist.

    Sources are only read. What was purged anywhere stays purged. The result says which records were
    changed on two sides at once; both versions are kept, the later one counts until `Edit.settle`.

    Parameters
    ----------
    sources : casebook folders, or URLs of casebooks on a server
    into : a folder, or the URL of a database

    Raises
    ------
    CasebookError
        a source or the target is no casebook, or from a newer pianolab; the target is then as it was
    """
    places = [sources] if isinstance(sources, (str, Path)) else list(sources)
    if not places:
        raise refusal("gather", "no casebooks", "one folder or more")
    for place in places:
        _check_source(place, into)
    target = open_casebook(into) if holds_casebook(into) else create_casebook(into)
    with target:
        tally = _Tally()
        for place in places:
            _merge(place, target, tally)
        return tally.result(target, len(places))


class _Tally:
    """Running count over all sources."""

    def __init__(self) -> None:
        self.added = self.updated = self.changes = self.media = self.purged = 0
        self.problems: list[str] = []

    def result(self, target: Casebook, sources: int) -> GatherResult:
        return GatherResult(
            into=target.name, sources=sources, added=self.added, updated=self.updated, changes=self.changes,
            media=self.media, purged=self.purged, conflicts=target.conflicts(), problems=tuple(self.problems),
        )  # fmt: skip


def _check_source(place: Place, into: Place) -> None:
    if is_url(place):
        name = name_of(parse_url(str(place)))
        if is_url(into) and parse_url(str(place)) == parse_url(str(into)):
            raise refusal(name, "the same casebook as the target", "another one")
        if (version := version_at(str(place))) != VERSIONS[-1]:
            got, need = f"a casebook of schema {version}", f"schema {VERSIONS[-1]}"
            raise refusal(name, got, need, "Sources are only read; open_casebook raises it.")
        return
    path = Path(place)
    if not (path / DATABASE_NAME).is_file():
        got = "a folder without a casebook" if path.is_dir() else "no such folder"
        raise refusal(path, got, "a casebook folder", "Misspelt, or the folder above or below?")
    check_version(path / DATABASE_NAME)
    if not is_url(into) and Path(into).exists() and path.resolve() == Path(into).resolve():
        raise refusal(path, "the same casebook as the target", "another one")


@contextmanager
def _opened(place: Place) -> Iterator[tuple[Casebook, Callable[[str], Path]]]:
    """A source to read from, and where its media are; a folder is copied first and so left as it is."""
    if is_url(place):
        with open_casebook(place) as source:
            yield source, source._store.media_file
        return
    path = Path(place)
    with TemporaryDirectory() as temporary:
        copy = Path(temporary) / "source"
        copy.mkdir()
        with clear_errors(path):
            copy_database(path / DATABASE_NAME, copy / DATABASE_NAME)
        with open_casebook(copy) as source:
            yield source, lambda name: media_path(path, name)


def _merge(place: Place, target: Casebook, tally: _Tally) -> None:
    with _opened(place) as (source, find):
        name = source.name if is_url(place) else str(place)
        with reading(source._engine, name=name) as theirs:
            _copy_media(theirs, name, find, target, tally)
            with writing(target._engine, name=target.name) as ours:
                plan, fields = _obey_tombstones(theirs, ours)
                target._store.let_go(ours, plan.media)
                _unite(theirs, ours, tally, name)
                empty_marked_fields(ours)
                tally.problems += take_over(theirs, ours, name=name)
            if plan.records or fields:
                target._store.forget(plan.media)
            tally.purged += len(plan.records)


def _copy_media(
    theirs: sa.Connection, place: str, find: Callable[[str], Path], target: Casebook, tally: _Tally
) -> None:
    """Media first: a record that counts must find its file."""
    gone = set(_column(target, tables.tombstone.c.record_id))
    here = target._store.media_names()
    query = sa.select(tables.record.c.id, tables.record.c.kind, tables.record.c.body)
    for identity, kind, body in theirs.execute(query.where(tables.record.c.kind.in_(("Recording", "Photo")))):
        name = from_json(kind, body).media
        if identity in gone or name in here:
            continue
        origin = find(name)
        if not origin.is_file():
            tally.problems.append(
                f"{place}: media {name} is missing; its {kind} is kept without sound or picture"
            )
        elif hash_of(origin) != hash_in_name(name):
            tally.problems.append(f"{place}: media {name} has changed content and was not copied")
        else:
            target._store.offer(keep_file(target.folder, origin, suffix="." + name.partition(".")[2]))
            here.add(name)
            tally.media += 1


def _column(casebook: Casebook, column: sa.Column[Any]) -> list[Any]:
    with reading(casebook._engine, name=casebook.name) as connection:
        return list(connection.execute(sa.select(column)).scalars())


def _obey_tombstones(theirs: sa.Connection, ours: sa.Connection) -> tuple[PurgePlan, bool]:
    """Purge here what was purged there; also whether a field of something here was purged anew."""
    stones = theirs.execute(sa.select(tables.tombstone)).all()
    here = set(ours.execute(sa.select(tables.record.c.id)).scalars())
    plan = plan_purge(ours, [stone.record_id for stone in stones if stone.record_id in here])
    fields = False
    for stone in stones:
        known = sa.select(tables.tombstone).where(tables.tombstone.c.record_id == stone.record_id)
        if ours.execute(known).first() is None:
            ours.execute(sa.insert(tables.tombstone).values(**stone._mapping))
            fields = fields or stone.record_id.partition(FIELD_MARK)[0] in here
    carry_out(ours, plan, by=stones[0].by if stones else "")
    return plan, fields


def _unite(theirs: sa.Connection, ours: sa.Connection, tally: _Tally, place: str) -> None:
    change, record = tables.change, tables.record
    gone = set(ours.execute(sa.select(tables.tombstone.c.record_id)).scalars())
    known = _by_record(ours)
    for record_id, entries in entries_by_record(theirs).items():
        if record_id in gone:
            continue
        new = [entry for entry in entries if entry.uid not in known.get(record_id, {})]
        if not new:
            continue
        check_entries(entry._mapping for entry in entries)
        if missing := _purged_parent(entries[-1], gone):
            tally.problems.append(
                f"{place}: {entries[-1].kind} {record_id} left out, its {missing} was purged"
            )
            continue
        row = ours.execute(sa.select(record).where(record.c.id == record_id)).one_or_none()
        apart = row is not None and row.change_uid not in {entry.uid for entry in entries}
        for entry in new:
            values = {name: value for name, value in entry._mapping.items() if name != "seq"}
            ours.execute(sa.insert(change).values(**values))
        tally.changes += len(new)
        tally.added += row is None
        tally.updated += row is not None
        _settle_state(ours, record_id, row)
        if apart and row is not None:
            _note_conflict(ours, record_id, row.change_uid, entries[-1].uid)
    _copy_media_rows(theirs, ours)
    _copy_conflicts(theirs, ours, gone)


def _by_record(connection: sa.Connection) -> dict[str, set[str]]:
    found: dict[str, set[str]] = {}
    for uid, record_id in connection.execute(sa.select(tables.change.c.uid, tables.change.c.record_id)):
        found.setdefault(record_id, set()).add(uid)
    return found


def _purged_parent(entry: Any, gone: set[str]) -> str | None:
    content = json.loads(entry.after or entry.before or "{}")
    for name in REFERENCES:
        if name in KINDS[entry.kind].__dataclass_fields__ and content.get(name) in gone:
            return REFERENCES[name]
    return None


def _settle_state(ours: sa.Connection, record_id: str, row: Any) -> None:
    """The record's state is its latest change by time, on whichever side it was made."""
    change = tables.change
    query = sa.select(change).where(change.c.record_id == record_id).order_by(change.c.at, change.c.uid)
    rebuild_record(ours, list(ours.execute(query).all()), row)


def _note_conflict(ours: sa.Connection, record_id: str, our_uid: str, their_uid: str) -> None:
    change, conflict = tables.change, tables.conflict
    query = sa.select(change.c.uid, change.c.after).where(change.c.uid.in_((our_uid, their_uid)))
    pair = {row.uid: row.after for row in ours.execute(query)}
    if pair[our_uid] == pair[their_uid]:
        return
    one, other = sorted(pair)
    known = sa.select(conflict).where(
        conflict.c.record_id == record_id, conflict.c.one_uid == one, conflict.c.other_uid == other
    )
    if ours.execute(known).first() is None:
        values = {"record_id": record_id, "one_uid": one, "other_uid": other, "found_at": later_than(None)}
        ours.execute(sa.insert(conflict).values(**values))


def _copy_media_rows(theirs: sa.Connection, ours: sa.Connection) -> None:
    media = tables.media
    wanted = media_of(ours, None) - set(ours.execute(sa.select(media.c.name)).scalars())
    for row in theirs.execute(sa.select(media)):
        if row.name in wanted:
            ours.execute(sa.insert(media).values(**row._mapping))


def _copy_conflicts(theirs: sa.Connection, ours: sa.Connection, gone: set[str]) -> None:
    """Conflicts that the source knows of, and the news that one was settled there."""
    conflict = tables.conflict
    known = {tuple(row[:3]): row for row in ours.execute(sa.select(conflict))}
    for row in theirs.execute(sa.select(conflict)):
        if row.record_id in gone:
            continue
        mine = known.get(tuple(row[:3]))
        if mine is None:
            ours.execute(sa.insert(conflict).values(**row._mapping))
        elif row.settled_at is not None and mine.settled_at is None:
            keys = [conflict.c[name] == row._mapping[name] for name in ("record_id", "one_uid", "other_uid")]
            ours.execute(sa.update(conflict).where(*keys).values(settled_at=row.settled_at))
