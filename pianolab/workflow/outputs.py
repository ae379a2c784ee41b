"""Output files that appear whole or not at all."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from uuid import uuid4

from pianolab.errors import BadInput


@contextmanager
def staged(*paths: Path | None) -> Iterator[list[Path | None]]:
    """Temporary files beside the wanted ones, renamed together at the end; gone where anything fails.

    They are made at once, so that a place that can't be written shows before the work is done.

    Raises
    ------
    BadInput
        no such folder, a folder of that name, no leave to write

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     with staged(Path(folder) / "a.txt") as (part,):
    ...         _ = part.write_text("whole")
    ...     [p.name for p in Path(folder).iterdir()]
    ['a.txt']
    """
    made: list[Path | None] = []
    try:
        for path in paths:
            made.append(None if path is None else _begin(path))
        yield list(made)
        for path, part in zip(paths, made, strict=True):
            if path is not None and part is not None:
                _keep(part, path)
    finally:
        for part in made:
            if part is not None:
                part.unlink(missing_ok=True)


def _begin(path: Path) -> Path:
    if path.is_dir():
        raise BadInput(str(path), "a folder", "a file name", "Add a file name to it.")
    if not path.parent.is_dir():
        raise BadInput(str(path), "a folder that doesn't exist", "an existing folder to write to")
    part = path.with_name(f".{path.name}.{uuid4().hex[:12]}.part")
    try:
        part.touch(exist_ok=False)
    except OSError as error:
        raise _cannot_write(path, error) from None
    return part


def _keep(part: Path, path: Path) -> None:
    try:
        with part.open("rb") as file:
            os.fsync(file.fileno())
        part.replace(path)
    except OSError as error:
        raise _cannot_write(path, error) from None


def _cannot_write(path: Path, error: OSError) -> BadInput:
    got = (error.strerror or "a write error").lower()
    return BadInput(
        str(path), got, "a place that can be written", "Another folder, or more room on the disk?"
    )
