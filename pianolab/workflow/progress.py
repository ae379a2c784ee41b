"""Saying how far a long job is: one line per step, in a terminal, a log or a notebook."""

from __future__ import annotations

import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TextIO

from pianolab.errors import Stopped

Progress = Callable[[str, float], None]
"""Called with what is being done and a share from 0 to 1."""


def quiet(step: str, share: float) -> None:
    """Say nothing."""


class Printer:
    """Prints each step once, on a line of its own, with the seconds since the start.

    Plain lines, so that they read the same on a terminal, in a log file and under a notebook cell; any
    function of a text and a share can stand in its place.

    Examples
    --------
    >>> tell = Printer(clock=lambda: 2.0)
    >>> tell("listening", 0.2); tell("listening", 0.6); tell("done", 1.0)
    [  0 s] listening
    [  0 s] done
    """

    def __init__(self, file: TextIO | None = None, *, clock: Callable[[], float] = time.monotonic) -> None:
        self._file, self._clock = file, clock
        self._start = clock()
        self._said: set[str] = set()
        self._lock = threading.Lock()

    def __call__(self, step: str, share: float) -> None:  # noqa: ARG002
        with self._lock:
            if step in self._said:
                return
            self._said.add(step)
            line = f"[{self._clock() - self._start:3.0f} s] {step}"
            file = self._file or sys.stdout
            try:
                print(line, file=file, flush=True)
            except UnicodeEncodeError:  # a stream without some signs still takes all the others
                code = file.encoding or "ascii"
                print(line.encode(code, "backslashreplace").decode(code), file=file, flush=True)


@contextmanager
def stoppable(left: str) -> Iterator[None]:
    """Around long work: where somebody stops it, one line says what became of it.

    Examples
    --------
    >>> @stoppable("Nothing was written.")
    ... def long_work():
    ...     return "done"
    >>> long_work()
    'done'
    """
    try:
        yield
    except KeyboardInterrupt:
        raise Stopped(left) from None


def part_of(progress: Progress, prefix: str, *, begin: float, end: float) -> Progress:
    """A progress for one part of a job: its steps carry ``prefix``, if any, its shares lie from ``begin`` to ``end``.

    Examples
    --------
    >>> part_of(print, "treble", begin=0.5, end=1.0)("listening", 0.5)
    treble: listening 0.75
    """

    def tell(step: str, share: float) -> None:
        progress(f"{prefix}: {step}" if prefix else step, begin + (end - begin) * share)

    return tell
