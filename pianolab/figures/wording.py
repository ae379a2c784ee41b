"""Text as plotly shall show it: markup taken literally, long lines broken; lists are `pianolab.words.listed`."""

from __future__ import annotations

from html import escape

from pianolab.words import listed as listed

HOVER_CHARS = 48
"""How long a line of a hover may be, so that it fits beside the pointer on a small screen."""


def plain(text: object) -> str:
    """Text as plotly shall show it: its own markup taken literally."""
    return escape(str(text), quote=False)


def strong(text: object) -> str:
    """Text in bold as plotly shows it, its own markup taken literally.

    Examples
    --------
    >>> strong("A < B")
    '<b>A &lt; B</b>'
    """
    return f"<b>{plain(text)}</b>"


def lines(*parts: str) -> str:
    """Hover text from its lines, empty ones left out; each is taken literally, and long ones are broken.

    Examples
    --------
    >>> lines("A4", "", "1 < 2")
    'A4<br>1 &lt; 2'
    >>> lines("not heard, because these keys were not played in the recording")
    'not heard, because these keys were not played in<br>the recording'
    """
    return "<br>".join(
        plain(p) if len(p) <= HOVER_CHARS else wrapped(p, width=HOVER_CHARS) for p in parts if p
    )


def wrapped(text: str, *, width: int) -> str:
    """Text broken into lines of about ``width`` characters for an axis or a label.

    Examples
    --------
    >>> wrapped("tune and record again", width=10)
    'tune and<br>record<br>again'
    """
    out: list[str] = []
    for word in text.split():
        if out and len(out[-1]) + 1 + len(word) <= width:
            out[-1] += " " + word
        else:
            out.append(word)
    return "<br>".join(plain(line) for line in out)


def keys_are(n: int) -> str:
    """The verb for a number of keys.

    Examples
    --------
    >>> keys_are(1), keys_are(2)
    ('key is', 'keys are')
    """
    return "key is" if n == 1 else "keys are"


def signed(value: float, *, digits: int = 0) -> str:
    """A number with its sign, the minus as a printer sets it.

    Examples
    --------
    >>> signed(-3.26, digits=1), signed(4.0)
    ('−3.3', '+4')
    """
    return f"{value:+.{digits}f}".replace("-", "−")
