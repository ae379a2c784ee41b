"""Where the data that come with pianolab are: in the wheel under ``_data``, in a checkout at the top."""

from __future__ import annotations

from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path

from pianolab.errors import BadInput


def shipped(name: str) -> Traversable:
    """A shipped file or folder, such as ``datasets/prices.toml`` or ``notebooks``.

    Examples
    --------
    >>> shipped("datasets").is_dir()
    True
    """
    inside = files("pianolab") / "_data" / name
    beside = Path(__file__).resolve().parent.parent / name
    for place in (inside, beside):
        if place.is_file() or place.is_dir():
            return place
    raise BadInput(name, "nothing", "a file that comes with pianolab", "Is the installation complete?")
