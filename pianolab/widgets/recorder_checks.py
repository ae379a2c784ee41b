"""The level check as the page sends and shows it."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from pianolab.acoustics.live import LevelCheck
from pianolab.casebook.arrived import unpack
from pianolab.widgets.recorder_session import FULL_SCALE


def floats_of(samples: bytes, event: dict[str, Any]) -> NDArray[np.float32]:
    """Sound of a message, shape (frames, channels), full scale 1."""
    return unpack(samples, int(event.get("channels", 1))).astype(np.float32) / np.float32(FULL_SCALE)


def check_view(check: LevelCheck) -> dict[str, Any]:
    """The check as plain data; a level nobody knows is None."""
    levels = {"peak_db": check.peak_db, "noise_db": check.noise_db, "over_noise_db": check.over_noise_db}
    known = {name: None if value != value else value for name, value in levels.items()}
    return {"verdict": check.verdict, "usable": check.usable, **known}
