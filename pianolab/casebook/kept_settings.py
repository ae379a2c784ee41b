"""What a casebook remembers of how it is to be judged: the buyer, the seed, the user's own files as they were read.

They stand in one row of ``meta``, apart from the records: a choice of whoever opens the casebook and no finding, so
that it is neither logged nor merged, and every schema has room for it.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, Protocol, Self

import sqlalchemy as sa

from pianolab.casebook import tables
from pianolab.casebook.engine import reading, writing
from pianolab.casebook.troubles import refusal
from pianolab.files import read_text
from pianolab.show import Fields

ROW = "settings"


class OpenCasebook(Protocol):
    """What is asked of a casebook here: its name and its database."""

    _engine: sa.Engine

    @property
    def name(self) -> str: ...


@dataclass(frozen=True)
class OwnFile(Fields):
    """A file of the user's as it was read: its name without folders, and its text."""

    name: str
    text: str

    @classmethod
    def read(cls, path: str | Path) -> Self:
        """The file at a path.

        Raises
        ------
        BadInput
            a file that is missing, no UTF-8 text, or far too long
        """
        return cls(Path(path).name, read_text(path))


@dataclass(frozen=True, kw_only=True)
class KeptSettings(Fields):
    """What is remembered; None where nothing is."""

    profile: str | None = None
    seed: int | None = None
    checklist: OwnFile | None = None
    prices: OwnFile | None = None
    plans: OwnFile | None = None


def kept_settings(casebook: OpenCasebook) -> KeptSettings:
    """What a casebook remembers; nothing in a new one, or in one of the first schema.

    Parameters
    ----------
    casebook : an open casebook

    Returns
    -------
    KeptSettings

    Raises
    ------
    CasebookError
        settings that were damaged or written by a newer pianolab
    """
    with reading(casebook._engine, name=casebook.name) as connection:
        return read_settings(connection, name=casebook.name)


def keep_settings(casebook: OpenCasebook, kept: KeptSettings) -> None:
    """Remember these in place of what was remembered; a casebook that remembers them already is left alone.

    Parameters
    ----------
    casebook : an open casebook that takes writes
    kept : what to remember; `KeptSettings()` forgets all
    """
    if kept_settings(casebook) == kept:
        return
    with writing(casebook._engine, name=casebook.name) as connection:
        write_settings(connection, kept)


def read_settings(connection: sa.Connection, *, name: object) -> KeptSettings:
    """As `kept_settings`, inside a transaction that is open already."""
    query = sa.select(tables.meta.c.value).where(tables.meta.c.key == ROW)
    text = connection.execute(query).scalar_one_or_none()
    return KeptSettings() if text is None else settings_from_json(text, name=name)


def write_settings(connection: sa.Connection, kept: KeptSettings) -> None:
    """Replace the row, inside a transaction that is open already."""
    connection.execute(sa.delete(tables.meta).where(tables.meta.c.key == ROW))
    if kept != KeptSettings():
        connection.execute(sa.insert(tables.meta).values(key=ROW, value=settings_to_json(kept)))


def settings_to_json(kept: KeptSettings) -> str:
    """As text; what is not remembered is left out.

    Examples
    --------
    >>> settings_to_json(KeptSettings(profile="first piano", prices=OwnFile("own.toml", "")))
    '{"profile": "first piano", "prices": {"name": "own.toml", "text": ""}}'
    """
    return json.dumps({name: value for name, value in asdict(kept).items() if value is not None})


def settings_from_json(text: str, *, name: object) -> KeptSettings:
    """From the text that `settings_to_json` made; whatever else it may be is refused in one line."""
    try:
        data = json.loads(text)
        return KeptSettings(
            profile=_checked(data.get("profile"), str),
            seed=_checked(data.get("seed"), int),
            checklist=_own_file(data.get("checklist")),
            prices=_own_file(data.get("prices")),
            plans=_own_file(data.get("plans")),
        )
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError):
        raise refusal(
            name, "settings that can't be read", "those that an export remembers", "Give them anew."
        ) from None


def _checked(value: Any, kind: type) -> Any:
    if value is not None and type(value) is not kind:
        raise TypeError(kind)
    return value


def _own_file(data: Any) -> OwnFile | None:
    return None if data is None else OwnFile(_checked(data["name"], str), _checked(data["text"], str))


def take_over(source: KeptSettings, ours: sa.Connection, *, name: str) -> tuple[str, ...]:
    """Where casebooks are gathered: own points and prices of a source are needed here too, if here are none.

    Returns
    -------
    Lines about files that were left out, because there is another here
    """
    here = read_settings(ours, name=name)
    left, taken = [], {"checklist": here.checklist, "prices": here.prices}
    for part, mine in taken.items():
        given: OwnFile | None = getattr(source, part)
        if mine is None:
            taken[part] = given
        elif given is not None and given.text != mine.text:
            left.append(f"{name}: its {part} {given.name} left out, {mine.name} is remembered here already")
    merged = KeptSettings(profile=here.profile, seed=here.seed, plans=here.plans, **taken)
    if merged != here:
        write_settings(ours, merged)
    return tuple(left)
