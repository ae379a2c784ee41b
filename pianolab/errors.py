"""One root for everything pianolab raises on purpose; each message says got, need, likely cause."""

from __future__ import annotations

from pathlib import Path

LONGEST_SHOWN = 250
"""Signs of a path that a message shows whole."""


class _OneLine:
    """What a notebook shows of such an error: its own line, not the calls that led to it (those are in ``%debug``)."""

    def _render_traceback_(self) -> list[str]:
        return [f"{type(self).__name__}: {self}"]


class PianolabError(_OneLine, Exception):
    """Root of everything pianolab raises on purpose."""


class Stopped(_OneLine, KeyboardInterrupt):
    """Long work that somebody stopped (Ctrl-C, the stop button of a notebook); says what became of it."""


class BadInput(PianolabError, ValueError):
    """Input that can't be used, in one line.

    Parameters
    ----------
    name : str; what was given (an argument, a file)
    got : object; what stood there
    need : str; what is needed instead
    hint : str; the likely cause, a whole sentence

    Examples
    --------
    >>> print(BadInput("recording.wav", "0.2 s of sound", "0.5 s or more", "Was it cut off?"))
    recording.wav: got 0.2 s of sound, need 0.5 s or more. Was it cut off?
    """

    def __init__(self, name: str, got: object, need: str, hint: str = "") -> None:
        line = f"{name}: got {got}, need {need}." + (f" {hint}" if hint else "")
        super().__init__(" ".join(line.split()))


class MissingExtra(PianolabError, ImportError):
    """A part of pianolab that needs packages that aren't installed."""


class CasebookError(PianolabError):
    """A casebook that can't be opened or written; nothing in it was changed."""


def shortened(path: str | Path, most: int = 60) -> str:
    """A path as a message shows it: of one that is far too long only the beginning.

    Examples
    --------
    >>> shortened("x" * 300, most=5)
    'xxxxx…'
    """
    text = str(path)
    return text if len(text) <= LONGEST_SHOWN else f"{text[:most]}…"
