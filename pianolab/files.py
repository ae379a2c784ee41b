"""Files written for the user: whole or not at all, never over a file that is there unless asked, never over an input.

Texts of their own that users hand over are read here too.
"""

from __future__ import annotations

import os
import tomllib
import unicodedata
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from uuid import uuid4

from pianolab.errors import BadInput, shortened

CASEBOOK_DATABASE, CASEBOOK_FOLDERS = "casebook.sqlite", ("media", "backups")
"""What a casebook's folder holds of its own; `pianolab.casebook` keeps them."""


LARGEST_TEXT = 1 << 20
"""Characters of a file of the user's that is read as text; the usual checklist as a whole has a tenth of it."""

DOCUMENTS = (".pdf", ".docx", ".odt", ".xlsx", ".xls", ".ods", ".png", ".jpg", ".jpeg")
"""Kinds of file that pianolab doesn't write: a page or table under such a name could not be opened."""


class AlreadyThere(BadInput):
    """An output that exists and was not to be replaced; nothing was written.

    Examples
    --------
    >>> print(AlreadyThere(Path("scale.csv")))
    scale.csv: got a file that is there already, need a new name, or --replace (in Python replace=True) to replace it.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        super().__init__(
            str(path),
            "a file that is there already",
            "a new name, or --replace (in Python replace=True) to replace it",
        )


def read_text(path: str | Path) -> str:
    """The text of a file of the user's that should be TOML.

    Raises
    ------
    BadInput : a file that is missing, can't be read, isn't UTF-8 or is far too long
    """
    need = "a TOML file in UTF-8"
    try:
        text = Path(path).read_text(encoding="utf-8-sig")
    except IsADirectoryError:
        raise BadInput(str(path), "a folder", need, "Name the file inside it.") from None
    except UnicodeDecodeError:
        raise BadInput(str(path), "bytes that are no text", need, "Another kind of file?") from None
    except (OSError, ValueError) as error:
        got = (getattr(error, "strerror", None) or "a name that can't be one").lower()
        raise BadInput(shortened(path), got, need, "Misspelt?") from None
    if len(text) > LARGEST_TEXT:
        raise BadInput(str(path), f"{len(text):,} characters", f"{LARGEST_TEXT:,} or fewer", "Another file?")
    return text


def toml_of(text: str, *, name: str) -> dict[str, Any]:
    """The tables of a text of the user's that should be TOML.

    Raises
    ------
    BadInput : it isn't, or its brackets lie thousands deep, or a number in it has thousands of digits

    Examples
    --------
    >>> toml_of("a = 1", name="own.toml")
    {'a': 1}
    """
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError, OverflowError) as error:
        hint = (
            "A table of a spreadsheet? TOML has lines such as usual = 95." if _is_table(text) else f"{error}."
        )
        raise BadInput(name, "text that can't be read", "a TOML file", hint) from None


def _is_table(text: str) -> bool:
    """Whether a text begins as the lines do that a spreadsheet writes."""
    line = next((line for line in text.splitlines() if line.strip()), "")
    return "=" not in line and "[" not in line and any(mark in line for mark in ";,\t")


@contextmanager
def staged(
    *paths: Path | None, inputs: Iterable[Path] = (), replace: bool = False
) -> Iterator[list[Path | None]]:
    """Temporary files beside the wanted ones, which get their names together at the end; gone where anything fails.

    They are made at once, so that a place that can't be written shows before the work is done. Whether a name is
    free is asked at the beginning and again when the name is given, where the system itself refuses one that was
    taken meanwhile (a hard link; on disks without links the name is first taken by an empty file).

    Parameters
    ----------
    paths : where to write; None is passed through
    inputs : files that are read; none of them is ever written, whatever name it goes by
    replace : whether files that are there may be replaced

    Raises
    ------
    AlreadyThere
        a file of that name, and not ``replace``
    BadInput
        no such folder, a folder of that name, no permission to write, an input, the same output twice, a casebook's file

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     with staged(Path(folder) / "a.txt") as (part,):
    ...         _ = part.write_text("whole")
    ...     [p.name for p in Path(folder).iterdir()]
    ['a.txt']
    """
    inputs = tuple(inputs)
    check_outputs(*paths, inputs=inputs, replace=replace)
    made: list[Path | None] = []
    try:
        for path in paths:
            made.append(None if path is None else _begin(path))
        yield list(made)
        check_outputs(*paths, inputs=inputs, replace=replace)
        _name_all([(part, path) for part, path in zip(made, paths, strict=True) if part and path], replace)
    finally:
        for part in made:
            if part is not None:
                part.unlink(missing_ok=True)


def write_files(
    contents: Mapping[Path, bytes],
    *,
    folder: Path | None = None,
    inputs: Iterable[Path] = (),
    replace: bool = False,
) -> None:
    """Write files, all of them or none, as `staged` does.

    Parameters
    ----------
    contents : bytes by path
    folder : made where it is missing, and taken away again where nothing comes of it
    inputs, replace : as in `staged`

    Raises
    ------
    BadInput
        as `staged`; a folder that can't be made
    """
    new = _make(folder) if folder is not None else []
    try:
        with staged(*contents, inputs=inputs, replace=replace) as parts:
            for path, part in zip(contents, parts, strict=True):
                assert part is not None
                try:
                    part.write_bytes(contents[path])
                except OSError as error:
                    raise _cannot_write(path, error) from None
    except BaseException:
        for made in new:
            _remove_empty(made)
        raise


def check_outputs(*paths: Path | None, inputs: Iterable[Path] = (), replace: bool = False) -> None:
    """Whether files may be written to these places, before any work is done for them.

    Raises
    ------
    BadInput
        as `staged`, but that the folder may still be missing
    """
    wanted = [p for p in paths if p is not None]
    known = [(p, _identity(p)) for p in inputs] if any(os.path.lexists(p) for p in wanted) else []
    for n, path in enumerate(wanted):
        _check_name(path)
        if path.is_dir():
            raise BadInput(str(path), "a folder", "a file name", "Add a file name to it.")
        if any(_one_file(path, other) for other in wanted[:n]):
            raise BadInput(str(path), "the same file for two outputs", "a name of its own for each")
        own = _identity(path)
        if own is not None and any(own == identity for _, identity in known):
            raise BadInput(
                str(path), "an input as the output", "another name", "It stays as it is, --replace or not."
            )
        if is_casebooks_own(path):
            raise BadInput(
                str(path), "a file of a casebook", "another name", "Only the casebook itself writes there."
            )
        if path.exists() and not path.is_file():
            raise BadInput(str(path), "something that is no file", "a file name")
        if not replace and os.path.lexists(path):
            raise AlreadyThere(path)


def _check_name(path: Path) -> None:
    if path.suffix.lower() in DOCUMENTS:
        hint = "A browser prints a page into a PDF; a spreadsheet opens CSV."
        raise BadInput(str(path), f"the name of a {path.suffix[1:].upper()} file", "another ending", hint)
    try:
        path.lstat()
    except FileNotFoundError:
        return
    except (OSError, ValueError) as error:
        got = (getattr(error, "strerror", None) or "a name with signs that no file name may have").lower()
        raise BadInput(shortened(path), got, "a name that this disk takes", "A shorter one?") from None


def check_place(path: Path) -> None:
    """Whether a file can be made in that folder, by making one.

    Raises
    ------
    BadInput
        no such folder, or no permission to write there
    """
    _begin(path).unlink()


def own_files(casebook_folder: Path) -> Iterator[Path]:
    """The files that a casebook keeps in its folder: its database, sound, pictures and copies."""
    yield casebook_folder / CASEBOOK_DATABASE
    for name in CASEBOOK_FOLDERS:
        yield from (casebook_folder / name).rglob("*")


def is_casebooks_own(path: Path) -> bool:
    """Whether a path leads to a casebook's own file, or into a folder where it keeps such files."""
    folder = Path(os.path.realpath(path.parent))
    if path.name.casefold().startswith(CASEBOOK_DATABASE) and (folder / CASEBOOK_DATABASE).exists():
        return True
    return any(
        above.name.casefold() in CASEBOOK_FOLDERS and (above.parent / CASEBOOK_DATABASE).exists()
        for above in (folder, *folder.parents)
    )


def _identity(path: Path) -> tuple[int, int] | None:
    """What the system knows a file by: one for all names, links and ways of writing them."""
    try:
        about = path.stat()
    except OSError:
        return None
    return about.st_dev, about.st_ino


def _one_file(one: Path, other: Path) -> bool:
    """Whether two outputs are or would become one file, on any disk: many don't tell capitals or accents apart."""
    if (known := _identity(one)) is not None and known == _identity(other):
        return True
    folders = [Path(os.path.realpath(p.parent)) for p in (one, other)]
    same_folder = folders[0] == folders[1] or (
        (place := _identity(folders[0])) is not None and place == _identity(folders[1])
    )
    return same_folder and _plain(one.name) == _plain(other.name)


def _plain(name: str) -> str:
    return unicodedata.normalize("NFC", name).casefold()


def _begin(path: Path) -> Path:
    if not path.parent.is_dir():
        raise BadInput(str(path), "a folder that doesn't exist", "an existing folder to write to")
    part = path.with_name(f".{path.name[:40]}.{uuid4().hex[:12]}.part")
    try:
        part.touch(exist_ok=False)
    except OSError as error:
        raise _cannot_write(path, error) from None
    return part


def _name_all(made: list[tuple[Path, Path]], replace: bool) -> None:
    """Give the names; where one was taken meanwhile, the names given already are taken back."""
    given: list[Path] = []
    try:
        for part, path in made:
            try:
                with part.open("r+b") as file:
                    os.fsync(file.fileno())
                if replace:
                    part.replace(path)
                else:
                    give_new_name(part, path)
                    given.append(path)
            except FileExistsError:
                raise AlreadyThere(path) from None
            except OSError as error:
                raise _cannot_write(path, error) from None
    except BaseException:
        for path in given:
            path.unlink(missing_ok=True)
        raise


def give_new_name(part: Path, path: Path) -> None:
    """Rename a file to a name that is free at this very moment; `FileExistsError` where it isn't."""
    try:
        os.link(part, path)
    except FileExistsError:
        raise
    except (OSError, AttributeError, NotImplementedError):
        # No hard links on this disk: take the name with an empty file, which fails where it is taken.
        path.touch(exist_ok=False)
        try:
            part.replace(path)
        except BaseException:
            path.unlink(missing_ok=True)
            raise


def _make(folder: Path) -> list[Path]:
    """Make a folder and those above it; what was made, the lowest first."""
    missing = [p for p in (folder, *folder.parents) if not p.exists()]
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        got = "a file" if isinstance(error, FileExistsError) else (error.strerror or "a write error").lower()
        raise BadInput(str(folder), got, "a folder that can be made", "Another one?") from None
    return missing


def _remove_empty(folder: Path) -> None:
    try:
        folder.rmdir()
    except OSError:
        return  # somebody else put something in it, or took it away


def _cannot_write(path: Path, error: OSError) -> BadInput:
    got = (error.strerror or "a write error").lower()
    return BadInput(
        str(path), got, "a place that can be written", "Another folder, or more room on the disk?"
    )
