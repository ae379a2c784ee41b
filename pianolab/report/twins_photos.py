"""Small pictures for forms and still twins, as text that an ``img`` shows without fetching anything."""

from __future__ import annotations

from base64 import b64encode
from functools import lru_cache
from pathlib import Path

from pianolab.errors import BadInput

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
    from pianolab.casebook.photos import as_jpeg

    try:
        data = as_jpeg(path, longest_px=SIDE_PX, quality=QUALITY)
    except BadInput as error:
        raise OSError(str(error)) from error
    return "data:image/jpeg;base64," + b64encode(data).decode("ascii")
