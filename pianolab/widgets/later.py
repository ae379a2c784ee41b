"""Work that may take a second, done beside the taps: asked often, done once, only the newest answer shown."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Callable
from typing import Generic, TypeVar

Answer = TypeVar("Answer")


class Later(Generic[Answer]):
    """Runs ``work`` in a thread some time after the last `ask`, and hands what it gives to ``apply``.

    Parameters
    ----------
    work : a function without arguments; what it raises is handed to ``fail``
    apply : a function of its answer, called in the thread that asked where that has a running event loop
    fail : a function of the exception
    pause_s : s, how long nobody must have asked before it begins

    Notes
    -----
    One thread at a time; an ask while it works makes it work once more.
    """

    def __init__(
        self,
        work: Callable[[], Answer],
        apply: Callable[[Answer], None],
        fail: Callable[[Exception], None],
        *,
        pause_s: float = 0.8,
    ) -> None:
        self._work, self._apply, self._fail, self._pause_s = work, apply, fail, pause_s
        self._lock = threading.Lock()
        self._asked = threading.Event()
        self._thread: threading.Thread | None = None
        self._loop: asyncio.AbstractEventLoop | None = None

    def ask(self) -> None:
        """Wish for a fresh answer; returns at once."""
        try:
            self._loop = asyncio.get_running_loop()
        except RuntimeError:
            self._loop = None
        with self._lock:
            self._asked.set()
            if self._thread is None:
                self._thread = threading.Thread(target=self._run, daemon=True)
                self._thread.start()

    def wait(self, timeout_s: float = 60.0) -> None:
        """Wait until nothing is left to be worked out; for tests and for scripts."""
        thread = self._thread
        if thread is not None:
            thread.join(timeout_s)

    def _run(self) -> None:
        while True:
            while self._asked.is_set():
                self._asked.clear()
                self._asked.wait(self._pause_s)
            self._once()
            with self._lock:
                if not self._asked.is_set():
                    self._thread = None
                    return

    def _once(self) -> None:
        try:
            answer = self._work()
        except Exception as error:
            self._hand(self._fail, error)
        else:
            if not self._asked.is_set():
                self._hand(self._apply, answer)

    def _hand(self, act: Callable[..., None], value: object) -> None:
        if self._loop is not None and self._loop.is_running():
            self._loop.call_soon_threadsafe(act, value)
        else:
            act(value)
