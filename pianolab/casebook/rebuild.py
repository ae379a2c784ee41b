"""The present state from the log: of each record the latest change by time counts."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from functools import cache
from itertools import groupby
from operator import itemgetter
from typing import Any

import sqlalchemy as sa

from pianolab.casebook import tables
from pianolab.casebook.codec import KINDS, REFERENCES, check_text, from_json
from pianolab.casebook.ledger import TAKING_BACK, is_moment, moment_text
from pianolab.errors import BadInput, CasebookError, PianolabError

ACTIONS = ("add", "change", "remove", *TAKING_BACK)
FARTHEST_AHEAD = timedelta(days=100 * 366)
"""A clock may be wrong; a moment further ahead than this is no clock's."""

LONGEST_ID = 300
AT_ONCE = 500
"""Rows in one statement: fewer than any database refuses."""

Entry = Mapping[str, Any]


def present_row(entries: Sequence[Entry]) -> dict[str, Any]:
    """The row of a record in the ``record`` table that its entries, in order of time, lead to.

    A removed record keeps its last content, out of view.
    """
    first, last = entries[0], entries[-1]
    body = last["before"] if last["after"] is None else last["after"]
    content = json.loads(body)
    row = {
        "id": last["record_id"],
        "kind": last["kind"],
        "body": body,
        "deleted": last["after"] is None,
        "created_at": first["at"],
        "at": last["at"],
        "change_uid": last["uid"],
    }
    return row | {name: content.get(name) for name in REFERENCES} | dict.fromkeys(_without(last["kind"]))


@cache
def _without(kind: str) -> tuple[str, ...]:
    """References that records of a kind don't have, whatever their text says."""
    return tuple(name for name in REFERENCES if name not in KINDS[kind].__dataclass_fields__)


def in_order(entries: Iterable[Entry]) -> list[Entry]:
    """Entries of one record in order of time, the same on every side."""
    return sorted(entries, key=lambda entry: (entry["at"], entry["uid"]))


def check_entries(entries: Iterable[Entry]) -> None:
    """`BadInput` or `CasebookError` where an entry from elsewhere holds something that no pianolab enters."""
    known: set[int] = set()
    for entry in entries:
        check_entry(entry, known)


def check_entry(entry: Entry, known: set[int]) -> None:
    """As `check_entries`; ``known`` remembers which contents were looked at, most come twice."""
    _check_form(entry)
    texts = [entry[name] for name in ("before", "after") if entry[name] is not None]
    if not texts and not entry["purged"]:
        raise CasebookError(f"change {entry['uid']}: got no content, need what was or what is.")
    for text in texts:
        mark = hash((entry["record_id"], text))
        if mark not in known:
            _check_body(entry, text)
            known.add(mark)


def _check_form(entry: Entry) -> None:
    if entry["kind"] not in KINDS:
        raise CasebookError(
            f"change of kind {str(entry['kind'])[:40]!r}: unknown to this version of pianolab."
        )
    for name in ("uid", "by", "machine", "record_id"):
        check_text(name, entry[name], longest=LONGEST_ID)
    if entry["undoes"] is not None:
        check_text("undoes", entry["undoes"], longest=LONGEST_ID)
    if entry["action"] not in ACTIONS:
        raise BadInput("action", repr(entry["action"])[:40], "one of " + ", ".join(ACTIONS))
    latest = moment_text(datetime.now(UTC) + FARTHEST_AHEAD)
    if not is_moment(entry["at"]) or entry["at"] > latest:
        raise BadInput("at", repr(entry["at"])[:40], "the moment of a change", "A wrong clock?")


def _check_body(entry: Entry, text: object) -> None:
    if not isinstance(text, str):
        raise BadInput("change", f"{type(text).__name__} as content", "JSON text")
    from_json(entry["kind"], text)
    content = json.loads(text)
    found = content["id"] if "id" in content else f"profile:{content['name']}"
    if found != entry["record_id"]:
        raise BadInput("change", f"content of {str(found)[:40]!r}", f"that of {entry['record_id'][:40]!r}")


def log_problems(connection: sa.Connection) -> list[str]:
    """Changes in the log that no pianolab enters, in words."""
    known: set[int] = set()
    problems = []
    query = sa.select(tables.change).order_by(tables.change.c.seq).execution_options(yield_per=AT_ONCE)
    for row in connection.execute(query):
        try:
            check_entry(dict(row._mapping), known)
        except PianolabError as error:
            problems.append(f"change {row.seq} of {row.kind} {row.record_id}: {error}")
    return problems


def rebuild_records(connection: sa.Connection) -> None:
    """Fill the empty ``record`` table from the log, record by record."""
    change = tables.change
    query = sa.select(change).where(change.c.purged.is_(False)).order_by(change.c.record_id, change.c.at)
    rows = (dict(row._mapping) for row in connection.execute(query.execution_options(yield_per=AT_ONCE)))
    by_record = groupby(rows, key=itemgetter("record_id"))
    put_rows(connection, (present_row(in_order(entries)) for _, entries in by_record))


def put_rows(
    connection: sa.Connection, rows: Iterable[dict[str, Any]], *, table: sa.Table = tables.record
) -> None:
    """Insert many rows, some hundred in a statement."""
    for part in parts_of(rows):
        connection.execute(sa.insert(table), part)


def parts_of(items: Iterable[Any], *, size: int = AT_ONCE) -> Iterator[list[Any]]:
    """Items in lists of some hundred.

    Examples
    --------
    >>> list(parts_of("abcde", size=2))
    [['a', 'b'], ['c', 'd'], ['e']]
    """
    part: list[Any] = []
    for item in items:
        part.append(item)
        if len(part) == size:
            yield part
            part = []
    if part:
        yield part
