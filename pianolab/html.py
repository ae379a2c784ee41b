"""HTML is made by templates that escape whatever comes from outside; each package keeps its own beside its code.

The few short pieces that many screens share stand here.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache
from html import escape
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from jinja2 import Environment

FOLDER = "templates"


@cache
def templates(package: str) -> Environment:
    """The templates of a package's folder ``templates``; a name that a template misses is an error.

    Examples
    --------
    >>> templates("pianolab.report").autoescape
    True
    """
    from jinja2 import Environment, PackageLoader, StrictUndefined

    return Environment(
        loader=PackageLoader(package, FOLDER),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def paragraphs(texts: Iterable[str]) -> str:
    """A paragraph for each text, escaped.

    Examples
    --------
    >>> paragraphs(["a < b", "c"])
    '<p>a &lt; b</p><p>c</p>'
    """
    return "".join(f"<p>{escape(text)}</p>" for text in texts)


def items(texts: Iterable[str]) -> str:
    """A list item for each text, escaped.

    Examples
    --------
    >>> items(["a < b", "c"])
    '<li>a &lt; b</li><li>c</li>'
    """
    return "".join(f"<li>{escape(text)}</li>" for text in texts)


def not_saved(why: object) -> str:
    """What a form says in place of its last line where it could not save; the reason escaped.

    Examples
    --------
    >>> not_saved("year: got 19, need 1700 or later.")
    '<b>Not saved.</b> year: got 19, need 1700 or later.'
    """
    return f"<b>Not saved.</b> {escape(str(why))}"
