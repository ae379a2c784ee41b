"""A recording on its way: numbered pieces are on the disk before they are acknowledged, whatever happens then.

While somebody records, the browser sends a piece several times a second. Each is appended to one file of the
recording's own folder (``arriving/`` beside the casebook's media) and forced to the disk; only then is its number
confirmed, and only then does the browser forget it. A closed page, a dead kernel or an empty battery therefore keeps
all that was confirmed. Each piece carries its number, its place in the sound, the clock of the page and a checksum: a
piece that was cut off in the middle of writing is told from a whole one, one that comes twice counts once, one that
never came is known by its number. `pianolab.casebook.arrived` reads them back and makes a recording of them.
"""

from __future__ import annotations

import json
import os
import struct
import time
import uuid
import zlib
from dataclasses import asdict, dataclass, field
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, BinaryIO, Self

from pianolab.casebook.troubles import refusal
from pianolab.errors import BadInput, CasebookError
from pianolab.io.sound import check_form
from pianolab.model import RecordingPurpose

if TYPE_CHECKING:
    from pianolab.casebook.book import Casebook

FOLDER = "arriving"
ABOUT, PIECES = "about.json", "pieces"
HEAD = struct.Struct("<4sIQIId")
"""Mark, number, first frame, frames, checksum of the samples, clock of the page in ms."""
MARK = b"plp1"
BYTES = 3
"""Per sample: 24 bits, little end first. What a microphone gives in 16 bits is kept bit for bit."""
MOST_FRAMES = 1 << 20
LONGEST_S = 2 * 3600.0
ALIVE_S = 10.0
"""A recording to which something was added within this time is still going on somewhere."""


@dataclass(frozen=True, kw_only=True)
class About:
    """What is known of a recording when it begins.

    ``processing`` is what the browser says of itself, read back after it was asked to leave the sound alone:
    ``off``, ``on`` or ``unknown`` for each of echo cancellation, noise suppression and automatic gain. ``page`` is the
    name that the page gave it, by which pieces that it still holds find their way.
    """

    visit_id: str
    rate_hz: int
    channels: int = 1
    by: str = ""
    purpose: RecordingPurpose = "take"
    note: str = ""
    first_key: int = 1
    last_key: int = 88
    a4_hz: float = 440.0
    device: str = ""
    processing: dict[str, str] = field(default_factory=dict)
    begun: str = ""
    page: str = ""


def place_for(casebook: Casebook) -> Path:
    """Where recordings of a casebook arrive: its own folder, or this computer's where it is on a server."""
    folder = Path(casebook.name)
    if folder.is_dir():
        return folder / FOLDER
    from platformdirs import user_state_path

    return user_state_path("pianolab", appauthor=False) / casebook.id / FOLDER


class Arriving:
    """A recording to which pieces are being added; made by `begin` or `go_on`.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     with begin(Path(folder), About(visit_id="v", rate_hz=48000)) as arriving:
    ...         arriving.take(0, bytes(3 * 480), first_frame=0, clock_ms=10.0)
    ...         arriving.take(0, bytes(3 * 480), first_frame=0, clock_ms=10.0)
    ...     arriving.frames
    480
    """

    def __init__(self, folder: Path, about: About, *, numbers: set[int], frames: int) -> None:
        self.folder, self.about, self.numbers, self.frames = folder, about, numbers, frames
        self._file: BinaryIO | None = (folder / PIECES).open("ab", buffering=0)

    @property
    def id(self) -> str:
        """The name of its folder."""
        return self.folder.name

    def take(self, number: int, samples: bytes, *, first_frame: int, clock_ms: float) -> None:
        """Keep one piece; when this returns, it is on the disk.

        Parameters
        ----------
        number : int, from 0; one that is there already is left as it is
        samples : 24-bit samples, little end first, channels side by side
        first_frame : int; the place of its first frame in the sound, by the sound's own clock
        clock_ms : float, ms; the page's clock when it was complete

        Raises
        ------
        BadInput
            a piece that is none
        CasebookError
            a full disk; what was confirmed before stays
        """
        if number in self.numbers:
            return
        frames = self._frames_of(number, samples, first_frame)
        head = HEAD.pack(MARK, number, first_frame, frames, zlib.crc32(samples), clock_ms)
        self._append(head + samples)
        self.numbers.add(number)
        self.frames += frames

    def _frames_of(self, number: int, samples: bytes, first_frame: int) -> int:
        frames, rest = divmod(len(samples), BYTES * self.about.channels)
        if rest or not 0 < frames <= MOST_FRAMES or not 0 <= number < 1 << 32 or first_frame < 0:
            got = f"{len(samples)} bytes as piece {number} at frame {first_frame}"
            raise BadInput(
                "piece", got, f"frames of {BYTES * self.about.channels} bytes", "Run the cell again."
            )
        if self.frames + frames > LONGEST_S * self.about.rate_hz:
            raise BadInput(
                "recording", "more than 2 hours", "2 hours or less", "Forgotten? Stop it and keep it."
            )
        return frames

    def _append(self, data: bytes) -> None:
        if self._file is None:
            raise BadInput("recording", "a piece after its end", "a recording that is going on")
        begin = os.fstat(self._file.fileno()).st_size
        try:
            view = memoryview(data)
            while view:
                view = view[self._file.write(view) :]
            os.fsync(self._file.fileno())
        except OSError as error:
            self._cut(begin)
            raise refusal(
                self.folder.parent.parent,
                f"a piece of sound that can't be written ({error.strerror})",
                "room on the disk",
                "What was recorded before is safe.",
            ) from error

    def _cut(self, size: int) -> None:
        """Take half a piece off again, so that the next one can be read."""
        assert self._file is not None
        try:
            self._file.truncate(size)
        except OSError:
            self.close()

    def close(self) -> None:
        """End it; it stays where it is until it is filed or thrown away."""
        if self._file is not None:
            self._file.close()
            self._file = None

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


def begin(place: Path, about: About) -> Arriving:
    """A new recording in a folder of its own.

    Parameters
    ----------
    place : folder for recordings that arrive, see `place_for`
    about : About

    Raises
    ------
    BadInput
        a rate or a number of channels that can't carry a piano
    CasebookError
        a place that can't be written
    """
    check_form("recording", rate_hz=about.rate_hz, channels=about.channels)
    name = f"{time.strftime('%Y%m%dT%H%M%S')}-{uuid.uuid4().hex[:12]}"
    part, folder = place / f".{name}.part", place / name
    try:
        part.mkdir(parents=True)
        with (part / ABOUT).open("x", encoding="utf-8") as file:
            json.dump(asdict(about), file)
            file.flush()
            os.fsync(file.fileno())
        (part / PIECES).touch()
        part.replace(folder)
        _flush(place)
    except OSError as error:
        got = f"a folder that can't be written ({error.strerror})"
        raise refusal(place.parent, got, "room on the disk and permission to write") from error
    return Arriving(folder, about, numbers=set(), frames=0)


def _flush(folder: Path) -> None:
    """Force a folder's own entries to the disk, where the system knows such a thing."""
    if os.name == "posix":
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def read_about(folder: Path) -> About:
    """What was written when a recording began.

    Raises
    ------
    CasebookError
        a folder without it, or one that can't be read
    """
    try:
        found: Any = json.loads((folder / ABOUT).read_text(encoding="utf-8"))
        about = About(**found)
        check_form("recording", rate_hz=int(about.rate_hz), channels=int(about.channels))
    except (OSError, ValueError, TypeError, RecursionError) as error:
        raise refusal(folder, "no description of a recording", "about.json as it was written") from error
    return about


def is_going_on(folder: Path) -> bool:
    """Whether something was added a moment ago: then another notebook is still recording."""
    try:
        return time.time() - (folder / PIECES).stat().st_mtime < ALIVE_S
    except OSError:
        return False


def throw_away(folder: Path) -> None:
    """Delete a recording that arrived; its pieces first, so that half of it is never offered."""
    try:
        for name in (PIECES, ABOUT):
            (folder / name).unlink(missing_ok=True)
        folder.rmdir()
    except OSError as error:
        raise refusal(folder, f"a folder that stays ({error.strerror})", "permission to delete it") from error


__all__ = [
    "About",
    "Arriving",
    "CasebookError",
    "begin",
    "is_going_on",
    "place_for",
    "read_about",
    "throw_away",
]
