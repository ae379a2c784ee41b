"""Long work that never falls silent: what it is at is said again after some seconds without a word."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from pianolab.workflow.progress import Progress

SILENT_S = 4.0
"""After so many seconds without a word something is said; own choice, under the five that feel like a hang."""


@contextmanager
def never_silent(
    progress: Progress, *, silent_s: float = SILENT_S, clock: Callable[[], float] = time.monotonic
) -> Iterator[Progress]:
    """A progress that passes everything on, and says what is still going on where nothing was said for a while.

    Parts that run side by side tell ``name: what they do``; a text that begins with a word in -ing goes on until the
    part tells another.

    Examples
    --------
    >>> with never_silent(print) as tell:
    ...     tell("Mill Lane grand: listening", 0.5)
    Mill Lane grand: listening 0.5
    """
    talk = _Talk(progress, silent_s, clock)
    thread = threading.Thread(target=talk.watch, name="pianolab-demo-still-at-work", daemon=True)
    thread.start()
    try:
        yield talk.tell
    finally:
        talk.over.set()
        thread.join()


class _Talk:
    def __init__(self, progress: Progress, silent_s: float, clock: Callable[[], float]) -> None:
        self._progress, self._silent_s, self._clock = progress, silent_s, clock
        self._lock = threading.Lock()
        self._at: dict[str, tuple[str, float]] = {}
        self._last, self._share = clock(), 0.0
        self.over = threading.Event()

    def tell(self, step: str, share: float) -> None:
        before, colon, after = step.partition(": ")
        name, doing = (before, after) if colon else ("", step)
        with self._lock:
            if not name:
                self._at.clear()
            self._at.pop(name, None)
            if doing.split(" ")[0].endswith("ing"):
                self._at[name] = (doing, self._clock())
            self._last, self._share = self._clock(), max(self._share, share)
        self._progress(step, share)

    def watch(self) -> None:
        while not self.over.wait(min(0.5, self._silent_s / 4)):
            with self._lock:
                due = self._clock() - self._last >= self._silent_s
                said, share = self._still(), self._share
                if due:
                    self._last = self._clock()
            if due and said:
                self._progress(said, share)

    def _still(self) -> str:
        """What goes on, what it is done to, and for how long the newest of it has."""
        if not self._at:
            return ""
        doing, since = max(self._at.values(), key=lambda begun: begun[1])
        names = ", ".join(sorted(name for name, (what, _) in self._at.items() if name and what == doing))
        return f"still {doing}{f', {names}' if names else ''}: {self._clock() - since:.0f} s by now"
