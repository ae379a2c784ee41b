"""Merging casebooks: by stable ids, in any order, as often as one likes, with the same result.

The logs are united; the state of each record is its latest change by time. Where two sides changed one
record without knowing of each other, both versions stay in the log and the pair is listed as a conflict.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from pianolab.casebook import tables
from pianolab.casebook.book import Casebook
from pianolab.casebook.codec import KINDS, REFERENCES
from pianolab.casebook.engine import DATABASE_NAME, reading, writing
from pianolab.casebook.ledger import later_than
from pianolab.casebook.media import keep_file
from pianolab.casebook.migrate import VERSIONS, check_version
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
from pianolab.casebook.rebuild import Entry, in_order, parts_of, present_row, put_rows
from pianolab.casebook.server import is_url, name_of, parse_url
from pianolab.casebook.settings import take_over
from pianolab.casebook.sources import Source, media_wanted, opened, read_source, unfit
from pianolab.casebook.troubles import refusal
from pianolab.errors import PianolabError
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
        target._store.before_edit()
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


def _merge(place: Place, target: Casebook, tally: _Tally) -> None:
    with opened(place) as (casebook, find):
        name = casebook.name if is_url(place) else str(place)
        source = read_source(casebook, known=_known(target), name=name)
        _copy_media(source, find, target, tally)
        with writing(target._engine, name=target.name) as ours:
            plan, fields = _obey_tombstones(source, ours)
            target._store.let_go(ours, plan.media)
            _unite(source, ours, tally)
            empty_marked_fields(ours)
            source.problems += take_over(source.settings, ours, name=name)
        if plan.records or fields:
            target._store.forget(plan.media)
        tally.purged += len(plan.records)
        tally.problems += source.problems


def _known(target: Casebook) -> dict[str, str]:
    with reading(target._engine, name=target.name) as connection:
        rows = connection.execute(sa.select(tables.change.c.uid, tables.change.c.record_id))
        return {row.uid: row.record_id for row in rows}


def _copy_media(source: Source, find: Callable[[str], Path], target: Casebook, tally: _Tally) -> None:
    """Media first: a record that counts must find its file."""
    gone = set(_column(target, tables.tombstone.c.record_id))
    here = target._store.media_names()
    for kind, identity, name in media_wanted(source):
        if identity in gone or name in here:
            continue
        here.add(name)
        try:
            origin = find(name)
            problem = unfit(origin, name, kind)
        except PianolabError as error:
            problem = f"media {name[:80]!r} can't be had ({error})"
        if problem:
            source.problems.append(
                f"{source.name}: {problem}; {kind} {identity} is kept without sound or picture"
            )
        else:
            target._store.offer(keep_file(target.folder, origin, suffix="." + name.partition(".")[2]))
            tally.media += 1


def _column(casebook: Casebook, column: sa.Column[Any]) -> list[Any]:
    with reading(casebook._engine, name=casebook.name) as connection:
        return list(connection.execute(sa.select(column)).scalars())


def _obey_tombstones(source: Source, ours: sa.Connection) -> tuple[PurgePlan, bool]:
    """Purge here what was purged there; also whether a field of something here was purged anew."""
    stones = source.stones
    here = set(ours.execute(sa.select(tables.record.c.id)).scalars())
    known = set(ours.execute(sa.select(tables.tombstone.c.record_id)).scalars())
    plan = plan_purge(ours, [stone["record_id"] for stone in stones if stone["record_id"] in here])
    fields = False
    for stone in stones:
        if stone["record_id"] not in known:
            ours.execute(sa.insert(tables.tombstone).values(**stone))
            fields = fields or stone["record_id"].partition(FIELD_MARK)[0] in here
    carry_out(ours, plan, by=stones[0]["by"] if stones else "")
    return plan, fields


def _unite(source: Source, ours: sa.Connection, tally: _Tally) -> None:
    gone = set(ours.execute(sa.select(tables.tombstone.c.record_id)).scalars())
    here = {row.id: row for row in ours.execute(sa.select(*_STANDING))}
    fit = _with_parents(source, {identity: row.kind for identity, row in here.items()}, gone)
    new = [entry for entries in fit.values() for entry in entries]
    plain = (
        {name: value for name, value in entry.items() if name != "seq"} for entry in sorted(new, key=_number)
    )
    put_rows(ours, plain, table=tables.change)
    put_rows(ours, (present_row(entries) for identity, entries in fit.items() if identity not in here))
    known = {identity: entries for identity, entries in fit.items() if identity in here}
    for part in parts_of(known):
        _bring_up_to_date(ours, part)
    tally.changes += len(new)
    tally.added += len(fit) - len(known)
    tally.updated += len(known)
    for identity, entries in known.items():
        if here[identity].change_uid not in source.uids[identity]:
            _note_conflict(ours, identity, here[identity].change_uid, entries[-1]["uid"])
    _copy_media_rows(source, ours)
    _copy_conflicts(source, ours, gone)


_STANDING = (tables.record.c.id, tables.record.c.kind, tables.record.c.change_uid)


def _number(entry: Entry) -> int:
    return int(entry["seq"])


def _with_parents(source: Source, here: dict[str, str], gone: set[str]) -> dict[str, list[Entry]]:
    """The new entries whose records belong to something that is here or comes along; the others by name."""
    fit = {identity: entries for identity, entries in source.entries.items() if identity not in gone}
    parents = {identity: _parents(entries[-1]) for identity, entries in fit.items()}
    kinds = here | {identity: entries[-1]["kind"] for identity, entries in fit.items()}
    while True:
        lost = {}
        for identity, entries in fit.items():
            if here.get(identity, entries[-1]["kind"]) != entries[-1]["kind"]:
                lost[identity] = f"here it is a {here[identity]}"
            for parent, kind in parents[identity]:
                if kinds.get(parent) != kind:
                    lost[identity] = f"its {kind} " + ("was purged" if parent in gone else "isn't there")
        if not lost:
            return fit
        for identity, why in lost.items():
            kind = fit.pop(identity)[-1]["kind"]
            source.problems.append(f"{source.name}: {kind} {identity} left out, {why}")
            if identity not in here:
                del kinds[identity]


def _parents(entry: Entry) -> list[tuple[str, str]]:
    content = json.loads(entry["after"] or entry["before"])
    names = [name for name in REFERENCES if name in KINDS[entry["kind"]].__dataclass_fields__]
    return [(content[name], REFERENCES[name]) for name in names if content.get(name) is not None]


def _bring_up_to_date(ours: sa.Connection, identities: list[str]) -> None:
    """The state of each record is its latest change by time, on whichever side it was made."""
    change, record = tables.change, tables.record
    entries: dict[str, list[Entry]] = {identity: [] for identity in identities}
    for row in ours.execute(sa.select(change).where(change.c.record_id.in_(identities))):
        entries[row.record_id].append(row._mapping)
    for identity, found in entries.items():
        row = present_row(in_order(found))
        ours.execute(sa.update(record).where(record.c.id == identity).values(**row))


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


def _copy_media_rows(source: Source, ours: sa.Connection) -> None:
    media = tables.media
    wanted = media_of(ours, None) - set(ours.execute(sa.select(media.c.name)).scalars())
    put_rows(ours, (dict(row) for row in source.media if row["name"] in wanted), table=media)


def _copy_conflicts(source: Source, ours: sa.Connection, gone: set[str]) -> None:
    """Conflicts that the source knows of, and the news that one was settled there."""
    conflict = tables.conflict
    known = {tuple(row[:3]): row for row in ours.execute(sa.select(conflict))}
    uids = set(ours.execute(sa.select(tables.change.c.uid)).scalars()) if source.conflicts else set()
    for row in source.conflicts:
        keys = tuple(row[name] for name in ("record_id", "one_uid", "other_uid"))
        if row["record_id"] in gone or not uids.issuperset(keys[1:]):
            continue
        mine = known.get(keys)
        if mine is None:
            ours.execute(sa.insert(conflict).values(**row))
        elif row["settled_at"] is not None and mine.settled_at is None:
            same = [conflict.c[name] == row[name] for name in ("record_id", "one_uid", "other_uid")]
            ours.execute(sa.update(conflict).where(*same).values(settled_at=row["settled_at"]))
