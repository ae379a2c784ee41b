"""The survey as rows in memory and as a table.

A row is a dictionary by column. While rows are worked with, ``gaps`` and ``not_judged`` are dictionaries and ``faults``
is a tuple; in the table, which users read and store, they are text.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from pianolab.acoustics.columns import Column, declared, undeclared
from pianolab.acoustics.named_reasons import join_names, join_reasons, split_names, split_reasons

if TYPE_CHECKING:
    import pandas as pd

Row = dict[str, Any]


def table_of(rows: Iterable[Row], *, merged: bool = False) -> pd.DataFrame:
    """Rows as the survey table: columns in their order, numbers as floats, reasons and faults as text."""
    import pandas as pd

    written = [
        {
            **row,
            "gaps": join_reasons(row["gaps"]),
            "not_judged": join_reasons(row["not_judged"]),
            "faults": join_names(row["faults"]),
        }
        for row in rows
    ]
    known = {c.name: c for c in declared(merged=merged)}
    names = dict.fromkeys([*known, *(name for row in written for name in row)])
    return typed(pd.DataFrame(written, columns=list(names)))


def typed(table: pd.DataFrame) -> pd.DataFrame:
    """The same with texts empty and numbers NaN where unknown; a column that isn't declared goes by what it holds."""
    text = {c.name for c in declared(merged=True) if c.is_text}
    number = {c.name for c in declared(merged=True) if not c.is_text}
    for name in table.columns:
        if name in text or (name not in number and table[name].map(lambda v: isinstance(v, str)).any()):
            table[name] = table[name].fillna("").astype(str)
        else:
            table[name] = table[name].astype(int if name == "key" else float)
    return table


def rows_of(table: pd.DataFrame) -> list[Row]:
    """The rows of a survey table with its reasons as dictionaries and its faults as tuples, in the table's order."""
    return [
        {
            **row,
            "gaps": split_reasons(row.get("gaps")),
            "not_judged": split_reasons(row.get("not_judged")),
            "faults": split_names(row.get("faults")),
        }
        for row in _cells_of(table)
    ]


def csv_rows(table: pd.DataFrame) -> tuple[list[str], list[list[str]]]:
    """Header and cells as a CSV file has them: numbers as finely as their column says, nothing for what is unknown."""
    columns = _columns_of(table)
    return [c.name for c in columns], [[c.text(row[c.name]) for c in columns] for row in _cells_of(table)]


def rounded_rows(table: pd.DataFrame) -> tuple[list[str], list[list[str | float | None]]]:
    """The same with numbers as numbers and None for what is unknown."""
    columns = _columns_of(table)
    return [c.name for c in columns], [[c.rounded(row[c.name]) for c in columns] for row in _cells_of(table)]


def _cells_of(table: pd.DataFrame) -> list[Row]:
    return [{str(name): value for name, value in row.items()} for row in table.to_dict(orient="records")]


def _columns_of(table: pd.DataFrame) -> list[Column]:
    """The table's columns, those that are declared first; one that isn't goes by what it holds."""
    known = {c.name: c for c in declared(merged=True)}
    names = [*(n for n in known if n in table), *(str(n) for n in table.columns if n not in known)]
    return [known.get(n) or undeclared(n, is_text=table[n].dtype.kind not in "fiub") for n in names]
