"""Merging casebooks: by stable ids, in any order, as often as one likes, with the same result.

The logs are united; the state of each record is its latest change by time. Where two sides changed one
record without knowing of each other, both versions stay in the log and the pair is listed as a conflict.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from pianolab.casebook import tables
from pianolab.casebook.book import Casebook
from pianolab.casebook.engine import DATABASE_NAME, reading, writing
from pianolab.casebook.foreign import Source, media_wanted, opened, read_source, unfit
from pianolab.casebook.kept_settings import take_over
from pianolab.casebook.media import keep_file
from pianolab.casebook.migrate import VERSIONS, check_version
from pianolab.casebook.opening import create_casebook, holds_casebook, open_casebook, version_at
from pianolab.casebook.purge import empty_marked_fields
from pianolab.casebook.reading import Conflict
from pianolab.casebook.server import is_url, name_of, parse_url
from pianolab.casebook.troubles import check_there, refusal
from pianolab.casebook.uniting import keep_off_others, keep_to_own, obey_tombstones, unite
from pianolab.errors import PianolabError
from pianolab.model import Record
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
            f"{self.into}: {self.sources} casebook{'s' * (self.sources != 1)} gathered, {self.added} records added, {self.updated} "
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


def gather(
    sources: Place | Sequence[Place], *, into: Place, owns: Callable[[Record], bool] | None = None
) -> GatherResult:
    """Merge casebooks of several people into one, which is made where it doesn't exist.

    Sources are only read. What was purged anywhere stays purged. The result says which records were
    changed on two sides at once; both versions are kept, the later one counts until `Edit.settle`.

    Parameters
    ----------
    sources : casebook folders, or URLs of casebooks on a server
    into : a folder, or the URL of a database
    owns : of sources that are not trusted with everybody's records: whether a record is theirs. Of any other they
        neither enter, change nor purge anything, nor keep away what is not here yet; and they bring no settings. None
        trusts all of them

    Returns
    -------
    GatherResult: what came in, which records were changed on two sides, what was left out and why

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
            _merge(place, target, tally, owns)
        return tally.result(target, len(places))


class _Tally:
    """Running count over all sources."""

    def __init__(self) -> None:
        self.added = self.updated = self.changes = self.media = self.purged = 0
        self.problems: list[str] = []

    def result(self, target: Casebook, sources: int) -> GatherResult:
        return GatherResult(
            into=target.name,
            sources=sources,
            added=self.added,
            updated=self.updated,
            changes=self.changes,
            media=self.media,
            purged=self.purged,
            conflicts=target.conflicts(),
            problems=tuple(self.problems),
        )


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
    check_there(path)
    check_version(path / DATABASE_NAME)
    if not is_url(into) and Path(into).exists() and path.resolve() == Path(into).resolve():
        raise refusal(path, "the same casebook as the target", "another one")


def _merge(place: Place, target: Casebook, tally: _Tally, owns: Callable[[Record], bool] | None) -> None:
    with opened(place) as (casebook, find):
        name = casebook.name if is_url(place) else str(place)
        source = read_source(casebook._engine, known=_known(target), name=name)
        if owns is not None:
            keep_to_own(source, owns)
        _copy_media(source, find, target, tally)
        with writing(target._engine, name=target.name) as ours:
            if owns is not None:
                keep_off_others(source, ours, owns)
            plan, fields = obey_tombstones(source, ours)
            target._store.let_go(ours, plan.media)
            counts = unite(source, ours)
            empty_marked_fields(ours)
            source.problems += take_over(source.settings, ours, name=name)
        tally.changes, tally.added, tally.updated = (
            sum(pair) for pair in zip((tally.changes, tally.added, tally.updated), counts, strict=True)
        )
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
