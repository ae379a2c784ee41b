"""Rows of a database whose pages may be damaged: all that can be read, and how much can't."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import sqlalchemy as sa
from sqlalchemy.exc import SQLAlchemyError

AT_ONCE = 512
MOST_TRIES = 20_000
"""Questions to one table; a table in ruins is given up after so many."""

DAMAGE = (SQLAlchemyError, ValueError, TypeError, OverflowError)


def rows_by_number(
    connection: sa.Connection, table: sa.Table, *, lost: list[str], name: str
) -> Iterator[dict[str, Any]]:
    """Every row that can be read, in the order of entry; where some can't, a line is added to ``lost``."""
    if connection.dialect.name != "sqlite":
        key = table.c.seq if "seq" in table.c else next(iter(table.primary_key.columns))
        query = sa.select(table).order_by(key).execution_options(yield_per=AT_ONCE)
        yield from (dict(row) for row in connection.execute(query).mappings())
        return
    try:
        first, last = connection.exec_driver_sql(f'SELECT min(rowid), max(rowid) FROM "{table.name}"').one()
    except DAMAGE:
        lost.append(f"{name}: the table {table.name} can't be read (damaged)")
        return
    if first is None:
        return
    gaps = _Gaps()
    yield from _between(connection, table, int(first), int(last), gaps)
    if gaps.tries:
        lost.append(
            f"{name}: {gaps.said()} of the table {table.name} can't be read (damaged); the rest was read"
        )


class _Gaps:
    """What could not be read so far."""

    def __init__(self) -> None:
        self.tries, self.rows = 0, 0

    def said(self) -> str:
        return f"up to {self.rows} rows" if self.tries < MOST_TRIES else "a large part"


def _between(
    connection: sa.Connection, table: sa.Table, first: int, last: int, gaps: _Gaps
) -> Iterator[dict[str, Any]]:
    number: sa.ColumnClause[int] = sa.literal_column("rowid", sa.Integer)
    following = sa.select(sa.func.min(number)).select_from(table).where(number >= sa.bindparam("first"))
    low = first
    while low <= last and gaps.tries < MOST_TRIES:
        try:
            start = connection.execute(following, {"first": low}).scalar_one()
        except DAMAGE:
            start = low
        if start is None:
            return
        yield from _halved(connection, table, start, min(start + AT_ONCE - 1, last), gaps)
        low = start + AT_ONCE


def _halved(
    connection: sa.Connection, table: sa.Table, first: int, last: int, gaps: _Gaps
) -> Iterator[dict[str, Any]]:
    """Rows of a range; where it can't be read, of its halves, down to single rows."""
    number: sa.ColumnClause[int] = sa.literal_column("rowid", sa.Integer)
    query = (
        sa.select(table).where(number.between(sa.bindparam("first"), sa.bindparam("last"))).order_by(number)
    )
    waiting = [(first, last)]
    while waiting:
        low, high = waiting.pop()
        try:
            rows = connection.execute(query, {"first": low, "last": high}).mappings().all()
        except DAMAGE:
            gaps.tries += 1
            if low == high or gaps.tries >= MOST_TRIES:
                gaps.rows += high - low + 1
            else:
                middle = (low + high) // 2
                waiting += [(middle + 1, high), (low, middle)]
            continue
        yield from (dict(row) for row in rows)
