"""Which release of pianolab this is, and which state of the code; the lowest module of all, so that every other may say it."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from hashlib import sha256
from importlib.resources import files
from importlib.resources.abc import Traversable

VERSION = "0.1.0"

SOURCES = (".py", ".toml")


@cache
def code_version(package: str) -> str:
    """Release and hash of a package of pianolab with all its folders, such as ``0.1.0+3f2a9c01d2``.

    A hash can't be forgotten when the code changes: results made by other code are told apart by it.

    Examples
    --------
    >>> code_version("acoustics").startswith(VERSION)
    True
    """
    digest = sha256()
    for name, source in _sources(files(f"pianolab.{package}"), ""):
        digest.update(name.encode() + b"\0" + source.read_bytes() + b"\0")
    return f"{VERSION}+{digest.hexdigest()[:10]}"


def _sources(folder: Traversable, path: str) -> Iterator[tuple[str, Traversable]]:
    for entry in sorted(folder.iterdir(), key=lambda e: e.name):
        if entry.is_dir():
            yield from _sources(entry, f"{path}{entry.name}/")
        elif entry.name.endswith(SOURCES):
            yield path + entry.name, entry
