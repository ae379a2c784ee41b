"""Reasons by name: dictionaries while they are worked with, ``name=reason;name=reason`` where a table is written.

The three columns of statements (``faults``, ``not_judged``, ``gaps``) are text in the survey table because the table is
what users read and store; everything that works with them takes them as a tuple and two dictionaries.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

BETWEEN = ";"


def join_reasons(reasons: Mapping[str, str]) -> str:
    """A dictionary as ``name=reason;name=reason``; a semicolon inside a reason becomes a comma, so that it comes back.

    Examples
    --------
    >>> join_reasons({"decay_20_s": "let go; too soon", "cents": "noisy"})
    'decay_20_s=let go, too soon;cents=noisy'
    """
    return BETWEEN.join(f"{name}={why.replace(BETWEEN, ',')}" for name, why in reasons.items())


def split_reasons(cell: Any) -> dict[str, str]:
    """``name=reason`` pairs of a cell; a dictionary, as rows in memory hold it, goes through.

    Examples
    --------
    >>> split_reasons("decay_20_s=key let go after 1.9 s;cents=noisy")
    {'decay_20_s': 'key let go after 1.9 s', 'cents': 'noisy'}
    >>> split_reasons({"cents": "noisy"}), split_reasons(float("nan"))
    ({'cents': 'noisy'}, {})
    """
    if isinstance(cell, Mapping):
        return dict(cell)
    found = (part.partition("=") for part in split_names(cell))
    return {name.strip(): reason.strip() for name, _, reason in found}


def join_names(names: Iterable[str]) -> str:
    """Names as a ``;``-separated cell."""
    return BETWEEN.join(names)


def split_names(cell: Any) -> tuple[str, ...]:
    """Names of a ``;``-separated cell; a tuple goes through.

    Examples
    --------
    >>> split_names("unison; buzz"), split_names(("unison",)), split_names(""), split_names(None)
    (('unison', 'buzz'), ('unison',), (), ())
    """
    if isinstance(cell, (tuple, list)):
        return tuple(cell)
    if not isinstance(cell, str):
        return ()
    return tuple(part.strip() for part in cell.split(BETWEEN) if part.strip())
