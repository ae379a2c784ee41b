"""Two logs made one: what is new in a source is entered, each record stands as its latest change by time says."""

from __future__ import annotations

import json
from collections.abc import Callable

import sqlalchemy as sa

from pianolab.casebook import tables
from pianolab.casebook.codec import KINDS, REFERENCES, from_json
from pianolab.casebook.foreign import Source
from pianolab.casebook.kept_settings import KeptSettings
from pianolab.casebook.ledger import later_than
from pianolab.casebook.purge import FIELD_MARK, PurgePlan, carry_out, media_of, plan_purge
from pianolab.casebook.rebuild import Entry, in_order, parts_of, present_row, put_rows
from pianolab.model import Record


def keep_to_own(source: Source, owns: Callable[[Record], bool]) -> None:
    """Leave out a source's entries about records that are not its own, and its settings: whole records, so that none is
    half of one hand and half of another."""
    strange = [
        identity for identity, entries in source.entries.items() if not all(_is_own(e, owns) for e in entries)
    ]
    for identity in strange:
        del source.entries[identity]
        source.shown.pop(identity, None)
    source.conflicts = [row for row in source.conflicts if row["record_id"] not in strange]
    source.settings = KeptSettings()
    if strange:
        source.problems.append(
            f"{source.name}: {len(strange)} records that are not its own were not taken in"
        )


def _is_own(entry: Entry, owns: Callable[[Record], bool]) -> bool:
    record = from_json(entry["kind"], entry["after"] or entry["before"])
    return record.id == entry["record_id"] and owns(record)


def keep_off_others(source: Source, ours: sa.Connection, owns: Callable[[Record], bool]) -> None:
    """Leave out a source's tombstones but those of its own records which stand here."""
    record = tables.record
    names = {stone["record_id"].partition(FIELD_MARK)[0] for stone in source.stones}
    known = set(ours.execute(sa.select(tables.tombstone.c.record_id)).scalars())
    own = {
        row.id
        for row in ours.execute(sa.select(record.c.id, record.c.kind, record.c.body))
        if row.id in names and owns(from_json(row.kind, row.body))
    }
    strange = [
        stone
        for stone in source.stones
        if stone["record_id"] not in known and stone["record_id"].partition(FIELD_MARK)[0] not in own
    ]
    source.stones = [stone for stone in source.stones if stone not in strange]
    if strange:
        source.problems.append(
            f"{source.name}: {len(strange)} removals of records that are not its own were not followed"
        )


def obey_tombstones(source: Source, ours: sa.Connection) -> tuple[PurgePlan, bool]:
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


def unite(source: Source, ours: sa.Connection, *, note_conflicts: bool = True) -> tuple[int, int, int]:
    """Enter what is new in a source, and bring its records up to date.

    Returns
    -------
    Changes entered, records added, records brought up to date
    """
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
    for identity, entries in known.items() if note_conflicts else ():
        if here[identity].change_uid not in source.uids[identity]:
            _note_conflict(ours, identity, here[identity].change_uid, entries[-1]["uid"])
    _copy_media_rows(source, ours)
    _copy_conflicts(source, ours, gone)
    return len(new), len(fit) - len(known), len(known)


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
        entries[row.record_id].append(dict(row._mapping))
    for identity, found in entries.items():
        now = present_row(in_order(found))
        ours.execute(sa.update(record).where(record.c.id == identity).values(**now))


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
