"""What killed work leaves behind: parts that never got their names. They are nobody's content and may go."""

from __future__ import annotations

import re
import shutil
import time
from pathlib import Path

from pianolab.casebook.backups import BACKUPS
from pianolab.casebook.engine import DATABASE_NAME
from pianolab.casebook.media import FOLDER

IN_WORK_S = 3600.0
"""A part younger than this may belong to work that still goes on."""

_DATABASE_PART = re.compile(rf"\.{re.escape(DATABASE_NAME)}\.[0-9a-f]{{32}}\.part(-wal|-shm|-journal)?")
_MEDIA_PART = re.compile(r"\.[0-9a-f]{32}\.part")
_BACKUP_PART = re.compile(r"\.[^/]*\.[0-9a-f]{32}\.part(-wal|-shm|-journal)?")


def leftovers(folder: Path, *, older_than_s: float = IN_WORK_S) -> list[Path]:
    """Parts of unfinished files in a casebook's folder, and unfinished casebooks of its name beside it."""
    beside = re.compile(rf"\.{re.escape(folder.name)}\.[0-9a-f]{{32}}\.part")
    found = [
        *_named(folder, _DATABASE_PART),
        *_named(folder / FOLDER, _MEDIA_PART),
        *_named(folder / BACKUPS, _BACKUP_PART),
        *_named(folder.absolute().parent, beside),
    ]
    latest = time.time() - older_than_s
    return sorted(path for path in found if _begun_at(path) <= latest)


def is_leftover(path: Path) -> bool:
    """Whether something in a folder comes from a casebook that was never finished there."""
    if path.name == FOLDER and path.is_dir():
        return all(_MEDIA_PART.fullmatch(inner.name) for inner in path.iterdir())
    return _DATABASE_PART.fullmatch(path.name) is not None


def sweep(folder: Path, *, older_than_s: float = IN_WORK_S) -> list[Path]:
    """Remove what `leftovers` finds, as far as the system lets us; says what went."""
    gone = []
    for path in leftovers(folder, older_than_s=older_than_s):
        if path.is_dir():
            shutil.rmtree(path, ignore_errors=True)
        else:
            try:
                path.unlink(missing_ok=True)
            except OSError:
                continue
        if not path.exists():
            gone.append(path)
    return gone


def _named(folder: Path, pattern: re.Pattern[str]) -> list[Path]:
    try:
        return [path for path in folder.iterdir() if pattern.fullmatch(path.name)]
    except OSError:
        return []


def _begun_at(path: Path) -> float:
    try:
        return path.stat().st_mtime
    except OSError:
        return float("inf")
