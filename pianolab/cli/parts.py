"""What the commands have in common: a parser of one line, and what their arguments mean."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import NoReturn, TypeAlias

from pianolab.errors import PianolabError


class OneLineParser(argparse.ArgumentParser):
    """A parser whose complaints are one line."""

    def error(self, message: str) -> NoReturn:
        raise PianolabError(f"{self.prog}: {message}. {self.prog} --help tells more.")


def casebook_place(text: str) -> str | Path:
    """A folder, or the URL of a casebook on a server as it stands."""
    return text if "://" in text else Path(text)


def words_of(text: str) -> tuple[str, ...]:
    """Words between commas.

    Examples
    --------
    >>> words_of("names, prices")
    ('names', 'prices')
    """
    return tuple(word for part in text.split(",") if (word := part.strip()))


Commands: TypeAlias = "argparse._SubParsersAction[OneLineParser]"


def add_replace(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--replace", action="store_true", help="replace outputs that exist; an input never is"
    )
