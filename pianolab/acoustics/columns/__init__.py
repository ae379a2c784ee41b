"""The survey's columns, declared once. Rows, merging, impairments, CSV files, charts and `Survey.columns` read this list.

A new measure is a `Column` in a file of its own (or beside its kin here) and a line in `FURTHER`. What is forgotten in
the declaration is refused at import by the column's name.
"""

from __future__ import annotations

from collections.abc import Iterable

from pianolab.acoustics.columns import colour, conclusions, fall, identity, pitch
from pianolab.acoustics.columns.column import MERGE_WORDS, Column, ColumnChart, Listened, checked, is_empty
from pianolab.errors import BadInput

__all__ = [
    "AGREED",
    "DECLARED",
    "FURTHER",
    "MERGED_ONLY",
    "Column",
    "ColumnChart",
    "Listened",
    "bound_of",
    "column",
    "column_rows",
    "declared",
    "is_empty",
    "resting_with",
    "sd_of",
    "tied_to",
    "undeclared",
]

AGREED: tuple[Column, ...] = (
    identity.KEY,
    identity.NOTE,
    identity.STATUS,
    identity.ONSET,
    identity.HOLD,
    identity.SNR,
    pitch.F1,
    pitch.CENTS,
    pitch.CURVE,
    pitch.OFF_CURVE,
    pitch.INHARMONICITY,
    pitch.UNISON,
    pitch.BEAT,
    pitch.BEAT_PARTIAL,
    fall.DECAY,
    fall.DECAY_BOUND,
    fall.EARLY,
    fall.LATE,
    fall.RELEASE,
    fall.RELEASE_BOUND,
    colour.BRIGHTNESS,
    colour.BRIGHTNESS_DEV,
    colour.BUZZ,
    conclusions.TRUST,
    conclusions.VERDICT,
    conclusions.NOT_JUDGED,
    conclusions.GAPS,
    conclusions.FAULTS,
)
"""The columns that every reader of a survey may count on, in this order."""

FURTHER: tuple[Column, ...] = (
    identity.STRIKES,
    identity.LEVEL,
    pitch.CENTS_SD,
    pitch.UNISON_SD,
    pitch.INHARMONICITY_SD,
    colour.BRIGHTNESS_SD,
    fall.STRING_FALL,
    fall.DECAY_SD,
)
"""What stands after them; new measures go to the end."""

MERGED_ONLY: tuple[Column, ...] = (identity.TAKES, identity.TAKE_NOTES)
"""Columns that only a survey of several takes has."""

DECLARED = checked((*AGREED, *FURTHER, *MERGED_ONLY))


def declared(*, merged: bool = False) -> tuple[Column, ...]:
    """The columns of a survey in their order; with those of several takes where ``merged``."""
    return tuple(c for c in DECLARED if merged or c not in MERGED_ONLY)


def column(name: str) -> Column:
    """The declaration of a column.

    Raises
    ------
    BadInput : no such column

    Examples
    --------
    >>> column("decay_20_s").unit
    's'
    """
    for c in DECLARED:
        if c.name == name:
            return c
    raise BadInput("column", repr(name), f"one of {', '.join(c.name for c in DECLARED)}", "Misspelt?")


def undeclared(name: str, *, is_text: bool) -> Column:
    """A stand-in for a column that is in a table but not declared: that of a survey which another version kept."""
    words = "not known to this version"
    if is_text:
        return Column(name=name, unit="", words=words, kind="statement", merge="best take")
    return Column(name=name, unit="", words=words, kind="count", merge="best take")


def column_rows() -> tuple[tuple[str, ...], list[tuple[str, ...]]]:
    """The list of columns for readers: a header, and a row for each column."""
    header = ("column", "unit", "what it holds", "uncertainty", "empty because", "several takes give")
    rows: list[tuple[str, ...]] = [
        (
            c.name,
            c.unit,
            c.words,
            sd_of(c.name),
            f"{c.absent}, or as `gaps` says" if c.absent else "",
            MERGE_WORDS[c.merge],
        )
        for c in DECLARED
    ]
    return header, rows


def tied_to(name: str) -> tuple[Column, ...]:
    """The columns that belong to this one: its uncertainty, its bound, what is told with it.

    Examples
    --------
    >>> [c.name for c in tied_to("decay_20_s")]
    ['decay_20_bound', 'decay_20_s_sd']
    """
    return tuple(c for c in DECLARED if c.of == name)


def sd_of(name: str) -> str:
    """The column with the uncertainty of this one; "" where none is stated."""
    return next((c.name for c in tied_to(name) if c.kind == "sd"), "")


def bound_of(name: str) -> str:
    """The column that says how this one is to be taken; "" where it is always measured."""
    return next((c.name for c in tied_to(name) if c.kind == "bound"), "")


def resting_with(names: Iterable[str]) -> tuple[Column, ...]:
    """All columns that are read from the same sides of the sound as these: what spoils one spoils all of them.

    Raises
    ------
    BadInput : no such column

    Examples
    --------
    >>> [c.name for c in resting_with(["release_20_s"])]
    ['release_20_s', 'release_bound']
    """
    named = [column(name) for name in names]
    sides = {_side(c) for c in named} - {None, "nothing"}
    return tuple(c for c in DECLARED if c in named or _side(c) in sides)


def _side(c: Column) -> str | None:
    return _side(column(c.of)) if c.of else c.rests_on
