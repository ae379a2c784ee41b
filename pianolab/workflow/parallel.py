"""The same work on several items side by side, and still ended at once by Ctrl-C."""

from __future__ import annotations

import os
import queue
import threading
from collections.abc import Callable, Sequence
from typing import TypeVar

from threadpoolctl import threadpool_limits

T = TypeVar("T")
R = TypeVar("R")
MOST_WORKERS = 4


def cores() -> int:
    """How many processor cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def in_parallel(work: Callable[[T], R], items: Sequence[T], *, workers: int | None = None) -> list[R]:
    """``work`` done on every item, in threads; results in the items' order.

    The first error is raised as soon as it happens and no further item is begun. The threads are daemons:
    an interrupted program needn't wait for them.

    Examples
    --------
    >>> in_parallel(abs, [-3, 2, -1])
    [3, 2, 1]
    """
    count = min(workers or cores(), MOST_WORKERS, len(items))
    waiting: queue.SimpleQueue[tuple[int, T]] = queue.SimpleQueue()
    done: queue.SimpleQueue[tuple[int, R | None, BaseException | None]] = queue.SimpleQueue()
    stopped = threading.Event()
    for numbered in enumerate(items):
        waiting.put(numbered)

    def run() -> None:
        while not stopped.is_set():
            try:
                i, item = waiting.get_nowait()
            except queue.Empty:
                return
            try:
                done.put((i, work(item), None))
            except BaseException as error:
                stopped.set()
                done.put((i, None, error))

    # The items share the cores: threads of the linear algebra on top of them would only wait for each other.
    with threadpool_limits(limits=1):
        for _ in range(count):
            threading.Thread(target=run, daemon=True).start()
        try:
            return _collect(done, len(items))
        finally:
            stopped.set()


def _collect(done: queue.SimpleQueue[tuple[int, R | None, BaseException | None]], count: int) -> list[R]:
    results: dict[int, R] = {}
    for _ in range(count):
        i, result, error = done.get()
        if error is not None:
            raise error
        results[i] = result  # type: ignore[assignment]
    return [results[i] for i in range(count)]
