"""Which state of the code made a result: the release, and a short hash of the modules that did the work."""

from __future__ import annotations

from functools import cache
from hashlib import sha256
from importlib.resources import files

from pianolab.release import VERSION

SOURCES = (".py", ".toml")


@cache
def code_version(package: str) -> str:
    """Release and hash of a package of pianolab, such as ``0.1.0+3f2a9c01d2``.

    A hash can't be forgotten when the code changes: results made by other code are told apart by it.

    Examples
    --------
    >>> code_version("acoustics").startswith(VERSION)
    True
    """
    digest = sha256()
    entries = [e for e in files(f"pianolab.{package}").iterdir() if e.name.endswith(SOURCES)]
    for entry in sorted(entries, key=lambda e: e.name):
        digest.update(entry.name.encode() + b"\0" + entry.read_bytes() + b"\0")
    return f"{VERSION}+{digest.hexdigest()[:10]}"
