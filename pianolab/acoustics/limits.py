"""The limits of the listening, read once from ``limits.toml``."""

from __future__ import annotations

import tomllib
from functools import cache
from importlib.resources import files
from typing import Any


@cache
def limits() -> dict[str, dict[str, Any]]:
    """All limits by group; every group names its source.

    Examples
    --------
    >>> limits()["decay"]["fall_db"]
    20.0
    """
    return tomllib.loads((files("pianolab.acoustics") / "limits.toml").read_text(encoding="utf-8"))
