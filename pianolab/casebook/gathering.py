"""Merging casebooks: by stable ids, in any order, as often as one likes, with the same result.

The logs are united; the state of each record is its latest change by time. Where two sides changed one
record without knowing of each other, both versions stay in the log and the pair is listed as a conflict.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import sqlalchemy as sa

from pianolab.casebook import tables
from pianolab.casebook.book import Casebook
from pianolab.casebook.codec import KINDS, REFERENCES, from_json
from pianolab.casebook.engine import DATABASE_NAME, clear_errors, reading, refusal, writing
from pianolab.casebook.ledger import later_than
from pianolab.casebook.media import hash_in_name, hash_of, keep_file, media_path
from pianolab.casebook.migrate import check_version, copy_database
from pianolab.casebook.opening import create_casebook, open_casebook
from pianolab.casebook.purge import (
    PurgePlan,
    carry_out,
    clear_away,
    empty_marked_fields,
    media_of,
    plan_purge,
)
from pianolab.casebook.reading import Conflict
from pianolab.casebook.rebuild import check_entries, entries_by_record, rebuild_record
from pianolab.show import Row, Showable


@dataclass(frozen=True, kw_only=True, repr=False)
class GatherResult(Showable):
    """What `gather` did: records new and brought up to date, conflicts to settle, and what it left out."""

    into: Path
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


def gather(sources: Sequence[str | Path], *, into: str | Path) -> GatherResult:
    """Merge casebooks of several people into one, which is made where it doesn't exist.

    Sources are only read. What was purged anywhere stays purged. The result says which records were
    changed on two sides at once; both versions are kept, the later one counts until `Edit.settle`.

    Raises
    ------
    CasebookError
        a source or the target is no casebook, or from a newer pianolab; the target is then as it was
    """
    into = Path(into)
    paths = [Path(source) for source in ([sources] if isinstance(sources, (str, Path)) else sources)]
    if not paths:
        raise refusal("gather", "no casebooks", "one folder or more")
    for path in paths:
        _check_source(path, into)
    target = open_casebook(into) if (into / DATABASE_NAME).exists() else create_casebook(into)
    with target:
        tally = _Tally()
        for path in paths:
            _merge(path, target, tally)
        return tally.result(target, len(paths))


class _Tally:
    """Running count over all sources."""

    def __init__(self) -> None:
        self.added = self.updated = self.changes = self.media = self.purged = 0
        self.problems: list[str] = []

    def result(self, target: Casebook, sources: int) -> GatherResult:
        return GatherResult(
            into=target.folder, sources=sources, added=self.added, updated=self.updated, changes=self.changes,
            media=self.media, purged=self.purged, conflicts=target.conflicts(), problems=tuple(self.problems),
        )  # fmt: skip


def _check_source(path: Path, into: Path) -> None:
    if not (path / DATABASE_NAME).is_file():
        got = "a folder without a casebook" if path.is_dir() else "no such folder"
        raise refusal(path, got, "a casebook folder", "Misspelt, or the folder above or below?")
    check_version(path / DATABASE_NAME)
    if into.exists() and path.resolve() == into.resolve():
        raise refusal(path, "the same casebook as the target", "another one")


def _merge(path: Path, target: Casebook, tally: _Tally) -> None:
    with TemporaryDirectory() as temporary:
        copy = Path(temporary) / "source"
        copy.mkdir()
        with clear_errors(path):
            copy_database(path / DATABASE_NAME, copy / DATABASE_NAME)
        with open_casebook(copy) as source, reading(source._engine, name=path) as theirs:
            _copy_media(theirs, path, target, tally)
            with writing(target._engine, name=target.folder) as ours:
                plan = _obey_tombstones(theirs, ours)
                _unite(theirs, ours, tally, path)
                empty_marked_fields(ours)
            if plan.records:
                clear_away(target.folder, plan.media)
            tally.purged += len(plan.records)


def _copy_media(theirs: sa.Connection, path: Path, target: Casebook, tally: _Tally) -> None:
    """Media first: a record that counts must find its file."""
    gone = set(_column(target, tables.tombstone.c.record_id))
    query = sa.select(tables.record.c.id, tables.record.c.kind, tables.record.c.body)
    for identity, kind, body in theirs.execute(query.where(tables.record.c.kind.in_(("Recording", "Photo")))):
        name = from_json(kind, body).media
        if identity in gone or media_path(target.folder, name).exists():
            continue
        origin = media_path(path, name)
        if not origin.is_file():
            tally.problems.append(
                f"{path}: media {name} is missing; its {kind} is kept without sound or picture"
            )
        elif hash_of(origin) != hash_in_name(name):
            tally.problems.append(f"{path}: media {name} has changed content and was not copied")
        else:
            keep_file(target.folder, origin, suffix="." + name.partition(".")[2])
            tally.media += 1


def _column(casebook: Casebook, column: sa.Column[Any]) -> list[Any]:
    with reading(casebook._engine, name=casebook.folder) as connection:
        return list(connection.execute(sa.select(column)).scalars())


def _obey_tombstones(theirs: sa.Connection, ours: sa.Connection) -> PurgePlan:
    stones = theirs.execute(sa.select(tables.tombstone)).all()
    here = set(ours.execute(sa.select(tables.record.c.id)).scalars())
    plan = plan_purge(ours, [stone.record_id for stone in stones if stone.record_id in here])
    for stone in stones:
        known = sa.select(tables.tombstone).where(tables.tombstone.c.record_id == stone.record_id)
        if ours.execute(known).first() is None:
            ours.execute(sa.insert(tables.tombstone).values(**stone._mapping))
    carry_out(ours, plan, by=stones[0].by if stones else "")
    return plan


def _unite(theirs: sa.Connection, ours: sa.Connection, tally: _Tally, path: Path) -> None:
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
                f"{path}: {entries[-1].kind} {record_id} left out, its {missing} was purged"
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
