"""Small pictures for forms and still twins, as text that an ``img`` shows without fetching anything."""

from __future__ import annotations

import io
from base64 import b64encode
from functools import lru_cache
from pathlib import Path

SIDE_PX, QUALITY = 144, 72


@lru_cache(maxsize=256)
def small_picture(path: Path) -> str:
    """A small JPEG of a photo as a ``data:`` address.

    Parameters
    ----------
    path : a file of a casebook's media folder; these are named by their content, so that a path never gets
        another picture and the result can be kept

    Raises
    ------
    OSError
        no such file, or no picture
    """
    from PIL import Image

    with Image.open(path) as image:
        picture = image.convert("RGB")
    picture.thumbnail((SIDE_PX, SIDE_PX))
    room = io.BytesIO()
    picture.save(room, "JPEG", quality=QUALITY)
    return "data:image/jpeg;base64," + b64encode(room.getvalue()).decode("ascii")
