"""What the recorder does beside recording.

Long work in a thread, the level check, files sent in pieces, and the rest of recordings that were cut off.
"""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from pianolab.acoustics.live import LevelCheck
from pianolab.casebook.arrived import go_on, unpack, waiting
from pianolab.casebook.arriving import About, Arriving, begin, place_for
from pianolab.errors import BadInput, PianolabError, Stopped
from pianolab.widgets.recorder_session import FULL_SCALE

if TYPE_CHECKING:
    from pianolab.casebook import Casebook

Tell = Callable[[str, float], None]


class BackgroundJob:
    """At most one job at a time.

    Parameters
    ----------
    changed : called, from the job's own thread, with what is being done and a share; an empty text at its end
    failed : called with the one line of what went wrong or was stopped
    apart : whether jobs run in a thread; tests do without
    """

    def __init__(self, *, changed: Tell, failed: Callable[[str], None], apart: bool = True) -> None:
        self._changed, self._failed, self._apart = changed, failed, apart
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None
        self._busy = threading.Lock()

    @property
    def busy(self) -> bool:
        """Whether a job runs."""
        return self._busy.locked()

    def start(self, job: Callable[[Tell], Any]) -> bool:
        """Run a job; False where another runs still."""
        if not self._busy.acquire(blocking=False):
            return False
        self._stop.clear()
        if not self._apart:
            self._run(job)
            return True
        self._thread = threading.Thread(target=self._run, args=(job,), daemon=True)
        self._thread.start()
        return True

    def stop(self) -> None:
        """Ask the job to end; it does so at its next step."""
        self._stop.set()

    def wait(self, timeout_s: float | None = None) -> None:
        """Wait until the job has ended."""
        if self._thread is not None:
            self._thread.join(timeout_s)

    def _tell(self, what: str, share: float) -> None:
        if self._stop.is_set():
            raise Stopped("Stopped.")
        self._changed(what, share)

    def _run(self, job: Callable[[Tell], Any]) -> None:
        line = ""
        try:
            job(self._tell)
        except Stopped:
            line = "Stopped. What was kept before is safe."
        except PianolabError as error:
            line = f"Not done. {error}"
        except Exception as error:  # a defect must not leave the screen waiting
            line = f"Not done: {type(error).__name__}: {error}"
        finally:
            self._busy.release()
            self._changed("", 1.0)
            if line:
                self._failed(line)


def floats_of(samples: bytes, event: dict[str, Any]) -> NDArray[np.float32]:
    """Sound of a message, shape (frames, channels), full scale 1."""
    return unpack(samples, int(event.get("channels", 1))).astype(np.float32) / np.float32(FULL_SCALE)


def check_view(check: LevelCheck) -> dict[str, Any]:
    """The check as plain data; a level nobody knows is None."""
    levels = {"peak_db": check.peak_db, "noise_db": check.noise_db, "over_noise_db": check.over_noise_db}
    known = {name: None if value != value else value for name, value in levels.items()}
    return {"verdict": check.verdict, "usable": check.usable, **known}


class Rest:
    """Recordings of an earlier kernel or page, opened again for the pieces that come late."""

    def __init__(self, place: Path) -> None:
        self._place = place
        self._open: dict[str, Arriving] = {}

    def of(self, page: str, about: Any, read: Callable[[dict[str, Any]], About]) -> Arriving | None:
        """The recording of a page; None where nobody knows it and the page doesn't say what it is.

        Parameters
        ----------
        page : the name that the page gave the recording
        about : what the page says of it, where it has reason to think that nobody else knows
        read : makes an `About` of that
        """
        if page not in self._open:
            found = next((a for a in waiting(self._place) if a.about.page == page), None)
            if found is not None:
                self._open[page] = go_on(found.folder)
            elif isinstance(about, dict):
                self._open[page] = begin(self._place, read({**about, "page": page}))
        return self._open.get(page)

    def close(self, page: str) -> None:
        """Nothing more comes of it."""
        arriving = self._open.pop(page, None)
        if arriving is not None:
            arriving.close()


def offers(casebook: Casebook) -> list[dict[str, Any]]:
    """Recordings that arrived and were not kept, as the screen lists them."""
    return [
        {
            "id": a.id,
            "seconds": a.seconds,
            "begun": a.about.begun,
            "going_on": a.going_on,
            "where": _named(casebook, a.about),
        }
        for a in waiting(place_for(casebook))
    ]


def _named(casebook: Casebook, about: About) -> str:
    try:
        visit = casebook.visit(about.visit_id)
        return f"{casebook.piano(visit.piano_id).name}, {visit.day.isoformat()}"
    except PianolabError:
        return "a visit that is no longer there"


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
