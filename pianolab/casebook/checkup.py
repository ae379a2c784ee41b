"""Is a casebook sound, and what can be done where it isn't."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from pianolab.casebook.backups import copies, trouble_in
from pianolab.casebook.engine import DATABASE_NAME
from pianolab.casebook.leftovers import leftovers
from pianolab.casebook.opening import open_casebook, open_for_reading
from pianolab.casebook.server import is_url
from pianolab.casebook.troubles import check_there
from pianolab.errors import CasebookError
from pianolab.show import Row, Showable


@dataclass(frozen=True, kw_only=True, repr=False)
class CheckUp(Showable):
    """Result of `check_casebook`: what is wrong, in words, and which copies there are to go back to.

    ``leftovers`` are unfinished files of killed programs, ``unused_media`` sounds and pictures that no record names;
    neither does harm. ``copies`` are the names of sound copies, the newest first.
    """

    header = ("what", "which")

    place: str
    problems: tuple[str, ...]
    unused_media: tuple[str, ...] = ()
    leftovers: tuple[str, ...] = ()
    copies: tuple[str, ...] = ()

    @property
    def ok(self) -> bool:
        """Whether nothing is wrong."""
        return not self.problems

    @property
    def state(self) -> str:
        """``sound``, or how many problems there are."""
        return "sound" if self.ok else f"{len(self.problems)} problem{'s' * (len(self.problems) != 1)}"

    def headline(self) -> str:
        return f"{self.place}: {self.state}"

    def rows(self) -> list[Row]:
        parts = {
            "problem": self.problems,
            "unused": self.unused_media,
            "leftover": self.leftovers,
            "copy": self.copies,
        }
        return [(name, line) for name, lines in parts.items() for line in lines]


def check_casebook(place: str | Path) -> CheckUp:
    """Look through a casebook: database, every change and record, every sound and picture, and its copies.

    Parameters
    ----------
    place : a folder, or the URL of one on a server; it is left as it is

    Raises
    ------
    CasebookError
        no casebook there at all

    Examples
    --------
    >>> import tempfile
    >>> from pianolab.casebook import create_casebook
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     create_casebook(folder).close()
    ...     check_casebook(folder).ok
    True
    """
    if is_url(place):
        with open_casebook(place) as casebook:
            found = casebook.verify()
            return CheckUp(place=casebook.name, problems=found.problems, unused_media=found.unused_media)
    folder = Path(place)
    check_folder(folder)
    problems, unused = _looked_through(folder)
    return CheckUp(
        place=str(folder),
        problems=problems,
        unused_media=unused,
        leftovers=tuple(
            str(p.relative_to(folder) if p.is_relative_to(folder) else p) for p in leftovers(folder)
        ),
        copies=tuple(p.name for p in copies(folder) if not trouble_in(p)),
    )


def check_folder(folder: Path) -> None:
    """`CasebookError` where a folder holds no casebook, not even a damaged one or its copies."""
    try:
        check_there(folder)
    except CasebookError:
        if not folder.is_dir() or not copies(folder):
            raise


def _looked_through(folder: Path) -> tuple[tuple[str, ...], tuple[str, ...]]:
    if not (folder / DATABASE_NAME).is_file():
        return (f"{DATABASE_NAME} is missing",), ()
    try:
        with open_for_reading(folder, why="looked through") as casebook:
            found = casebook.verify()
        return found.problems, found.unused_media
    except CasebookError as error:
        damage = trouble_in(folder / DATABASE_NAME)
        return (str(error), *([f"database: {damage}"] if damage else [])), ()
