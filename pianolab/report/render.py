"""Puts the page together from its templates: style and scripts inside, and a policy that lets nothing be fetched."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Iterable, Mapping, Sequence
from functools import cache
from hashlib import sha256
from importlib.resources import files
from pathlib import Path
from typing import Any

from jinja2 import Environment
from markupsafe import Markup

from pianolab.errors import BadInput
from pianolab.figures.look import ink_on
from pianolab.figures.svg import Palette
from pianolab.files import write_files
from pianolab.html import FOLDER, templates


@cache
def _environment() -> Environment:
    env = templates("pianolab.report")
    env.globals["ink_on"] = ink_on
    return env


def text_of(name: str) -> str:
    """A style sheet or script beside the templates."""
    place = files("pianolab.report") / FOLDER / name
    return place.read_text(encoding="utf-8").replace("\r\n", "\n")


@cache
def _hash(script: str) -> str:
    return f"'sha256-{b64encode(sha256(script.encode('utf-8')).digest()).decode('ascii')}'"


def content_security_policy(scripts: Sequence[str]) -> str:
    """A policy that lets exactly these scripts run, and lets nothing be fetched.

    Examples
    --------
    >>> content_security_policy(["1"]).split("; ")[0]
    "default-src 'none'"
    """
    return "; ".join(
        [
            "default-src 'none'",
            f"script-src {' '.join(_hash(s) for s in scripts)}",
            "style-src 'unsafe-inline'",
            "img-src data:",
            "media-src data:",
            "base-uri 'none'",
            "form-action 'none'",
        ]
    )


def render(context: Mapping[str, Any], palette: Palette) -> str:
    """The page as HTML text: every script inside it is named in the policy by its hash."""
    scripts = {"clips_js": text_of("clips.js"), "folds_js": text_of("folds.js")}
    return (
        _environment()
        .get_template("page.html.j2")
        .render(
            **context,
            css=Markup(text_of("page.css") + drawn_colours(palette) + text_of("print.css")),
            **{name: Markup(text) for name, text in scripts.items()},
            policy=content_security_policy(list(scripts.values())),
        )
    )


def drawn_colours(palette: Palette) -> str:
    """The style rules of the colours that differ between light and dark; paper is always light."""
    light, dark = palette.rules("light"), palette.rules("dark")
    return f":root{{{light}}}\n@media screen and (prefers-color-scheme: dark) {{:root{{{dark}}}}}\n"


def write_page(path: Path | str, html: str, *, replace: bool = False, inputs: Iterable[Path] = ()) -> Path:
    """Writes the page, whole or not at all; returns the path.

    Parameters
    ----------
    path, html : where to, and what
    replace : whether a file that is there may be replaced
    inputs : files that are never replaced

    Raises
    ------
    BadInput : a file of that name is there, or the folder does not exist
    """
    path = Path(path)
    if not path.parent.is_dir():
        raise BadInput(str(path), "a folder that does not exist", "a path in an existing folder")
    write_files({path: html.encode("utf-8")}, replace=replace, inputs=inputs)
    return path
