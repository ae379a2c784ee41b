"""What the commands have in common: a parser of one line, and what their arguments mean."""

from __future__ import annotations

import argparse
import os
from pathlib import Path
from typing import Any, NoReturn, TypeAlias

from pianolab.errors import BadInput, PianolabError


class OneLineParser(argparse.ArgumentParser):
    """A parser whose complaints are one line, and which takes no option by half its name."""

    def __init__(self, **given: Any) -> None:
        super().__init__(**given, allow_abbrev=False)

    def error(self, message: str) -> NoReturn:
        raise PianolabError(f"{self.prog}: {message}. {self.prog} --help tells more.")


def casebook_place(text: str) -> str | Path:
    """A folder, or the URL of a casebook on a server as it stands."""
    return text if "://" in text else Path(text)


def output(text: str) -> Path:
    """Where a file is to be written: a name, not only a folder."""
    if not text.strip() or text.endswith(("/", os.sep)):
        raise argparse.ArgumentTypeError(f"got {text!r}, need a file name")
    return Path(text)


def key(text: str) -> int:
    """A key by its number or its name.

    Examples
    --------
    >>> key("49"), key("A4")
    (49, 49)
    """
    try:
        return int(text)
    except ValueError:
        pass
    # Not before: it loads numpy, and most commands say something at once.
    from pianolab.keyboard import key_of

    try:
        return key_of(text)
    except BadInput:
        need = "a key's number or name, such as 1 or A0 (A4 is 49)"
        raise argparse.ArgumentTypeError(f"got {text!r}, need {need}") from None


def number(text: str) -> float:
    """A number without its unit."""
    try:
        return float(text.replace(",", "."))
    except ValueError:
        raise argparse.ArgumentTypeError(f"got {text!r}, need a number without a unit") from None


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
