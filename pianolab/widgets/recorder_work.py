"""Work that takes a while, in a thread of its own: the screen goes on answering, and a button stops the work."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Any

from pianolab.errors import PianolabError, Stopped

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
