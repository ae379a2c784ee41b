"""A file that the page sends in pieces, into a folder of its own until it has been kept."""

from __future__ import annotations

import contextlib
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from pianolab.errors import BadInput

MOST_BYTES = 1 << 31


class Upload:
    """One file at a time; ``size`` is how much of it has come."""

    def __init__(self) -> None:
        self._room: TemporaryDirectory[str] | None = None
        self._path: Path | None = None
        self.size = 0

    def take(self, event: dict[str, Any], data: bytes) -> Path | None:
        """Take a piece; the file's path when it is whole, None before.

        Raises
        ------
        BadInput
            an empty file, one too big, a piece out of order
        """
        offset, size = int(event["offset"]), int(event["size"])
        if not 0 < size <= MOST_BYTES:
            raise BadInput("file", f"{size} bytes", f"1 to {MOST_BYTES} bytes", "An empty file, or a film?")
        if offset == 0:
            self.drop()
            self._room = TemporaryDirectory()
            self._path = Path(self._room.name) / (Path(str(event["name"])).name or "file")
        if self._path is None or offset != self.size or offset + len(data) > size:
            raise BadInput("file", "a piece out of order", "one after another", "Pick it again.")
        with self._path.open("ab") as file:
            file.write(data)
        self.size += len(data)
        return self._path if self.size == size else None

    def drop(self) -> None:
        """Forget the file; what the casebook kept of it stays."""
        room, self._room, self._path, self.size = self._room, None, None, 0
        if room is not None:
            with contextlib.suppress(OSError):
                room.cleanup()
