"""The whole demonstration in one call: the invented shortlist and its comparison page in a folder of its own."""

from __future__ import annotations

import shutil
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from hashlib import sha256
from pathlib import Path

from pianolab.casebook import Casebook
from pianolab.demo.shortlist import demo_casebook
from pianolab.errors import BadInput
from pianolab.files import write_files
from pianolab.workflow.deciding import decide
from pianolab.workflow.exporting import PAGE
from pianolab.workflow.page_making import page_of
from pianolab.workflow.progress import Progress, part_of, quiet, stoppable

SILENT_S = 4.0
"""After so many seconds without a word something is said; own choice, under the five that feel like a hang."""
CASEBOOK = "casebook"
BEGIN = "four invented pianos are visited: every key is played, recorded and listened to; about a minute"
AGAIN = "the demonstration's casebook is opened again"
MARK = b"\n<!-- made by the demonstration of pianolab, unchanged: %s -->\n"
"""Last line of the demonstration's page, with the SHA-256 of all before it."""


@stoppable("The demonstration is not complete. Run it again.")
def demo(out: str | Path, *, progress: Progress | None = None) -> Path:
    """The whole job on the invented shortlist: ``OUT/casebook`` and ``OUT/comparison.html``.

    Of what is there already it opens its own casebook and replaces its own page, known by a mark that ends where
    anybody else has changed or written the page.

    Parameters
    ----------
    out : a new or empty folder, or that of an earlier demonstration
    progress : is told how far it has come; None is quiet

    Returns
    -------
    Path of the comparison page

    Raises
    ------
    BadInput
        a folder that holds anything else; nothing in it is touched
    """
    folder, tell = Path(out), progress or quiet
    new = _check_folder(folder)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        got = (error.strerror or "a write error").lower()
        raise BadInput(str(folder), got, "a folder that can be made") from None
    try:
        with never_silent(tell) as telling:
            telling(BEGIN if new else AGAIN, 0.0)
            with demo_casebook(folder / CASEBOOK, progress=part_of(telling, "", begin=0.0, end=0.8)) as book:
                _write_page(book, folder / PAGE, tell=part_of(telling, "", begin=0.8, end=1.0))
    except BaseException:
        if new:
            _take_away(folder)
        raise
    return folder / PAGE


def _write_page(casebook: Casebook, page: Path, *, tell: Progress) -> None:
    tell("judging each piano by what was found and heard", 0.0)
    decision = decide(casebook, progress=tell)
    tell("cutting short clips to listen to, and drawing the page", 0.8)
    html = page_of(decision).encode("utf-8")
    tell("writing the page", 0.9)
    if page.exists():
        _check_page(page)
    write_files({page: marked(html)}, replace=page.exists())
    tell("page written", 1.0)


def marked(html: bytes) -> bytes:
    """The page with the demonstration's mark at its end."""
    return html + MARK % sha256(html).hexdigest().encode()


def is_own(page: Path) -> bool:
    """Whether a page is as the demonstration wrote it."""
    data = page.read_bytes() if page.is_file() and not page.is_symlink() else b""
    html = data[: -len(MARK % (b"0" * 64))]
    return bool(html) and data == marked(html)


def _check_page(page: Path) -> None:
    if not is_own(page):
        raise BadInput(
            str(page),
            "a page that the demonstration didn't write, or that was changed since",
            "its own page or none",
            "It stays as it is; choose another folder with --out.",
        )


def _check_folder(folder: Path) -> bool:
    """Whether the folder is to be made; `BadInput` where it holds anything that isn't the demonstration's."""
    if not folder.exists():
        return True
    if not folder.is_dir():
        raise BadInput(str(folder), "a file", "a folder that is new, empty or a demonstration")
    inside = {p.name for p in folder.iterdir() if not _left_over(p.name)}
    strange = sorted(inside - {CASEBOOK, PAGE})
    if strange or (inside and CASEBOOK not in inside):
        raise BadInput(
            str(folder),
            f"a folder with other things in it ({(strange or [PAGE])[0]})",
            "a folder that is new, empty or a demonstration",
            "Choose another with --out.",
        )
    if PAGE in inside:
        _check_page(folder / PAGE)
    return False


def _left_over(name: str) -> bool:
    """What an interrupted run may leave behind."""
    return name.startswith(f".{CASEBOOK}.") and name.endswith(".part")


def _take_away(folder: Path) -> None:
    """What this run has made; a file that somebody else put there meanwhile keeps the folder."""
    shutil.rmtree(folder / CASEBOOK, ignore_errors=True)
    with suppress(OSError):
        folder.rmdir()


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
