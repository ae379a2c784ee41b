"""HTML is made by templates that escape whatever comes from outside; each package keeps its own beside its code."""

from __future__ import annotations

from functools import cache
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
