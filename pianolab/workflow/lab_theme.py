"""Whether the notebook around us is light or dark, as JupyterLab has written it into its settings."""

from __future__ import annotations

import json
import os
import re
from pathlib import Path

FILE = Path("@jupyterlab") / "apputils-extension" / "themes.jupyterlab-settings"
COMMENT = re.compile(r"^\s*//.*$", re.MULTILINE)


def lab_theme() -> str:
    """``dark`` where JupyterLab's own theme is a dark one, else ``light``; read anew each time.

    The setting lies beside the server; where it can't be read, as on another machine, it counts as light.

    Examples
    --------
    >>> lab_theme() in ("light", "dark")
    True
    """
    try:
        text = (_settings_folder() / FILE).read_text(encoding="utf-8")
        chosen = json.loads(COMMENT.sub("", text))
    except (OSError, ValueError):
        return "light"
    name = chosen.get("theme", "") if isinstance(chosen, dict) else ""
    return "dark" if "dark" in str(name).lower() else "light"


def _settings_folder() -> Path:
    if own := os.environ.get("JUPYTERLAB_SETTINGS_DIR"):
        return Path(own)
    config = os.environ.get("JUPYTER_CONFIG_DIR")
    return (Path(config) if config else Path.home() / ".jupyter") / "lab" / "user-settings"
