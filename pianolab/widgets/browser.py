"""The browser's half of the widgets: files of the static folder, joined into one text for each widget."""

from __future__ import annotations

from pathlib import Path

STATIC = Path(__file__).parent / "static"


def browser_code(*names: str) -> str:
    """Files of the static folder joined into one text: a widget's module can't import its neighbours."""
    return "\n".join((STATIC / name).read_text(encoding="utf-8") for name in names)
