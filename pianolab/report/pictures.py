"""Photos of findings, scaled down and carried inside the page."""

from __future__ import annotations

import io
from base64 import b64encode
from dataclasses import dataclass
from pathlib import Path

from pianolab.errors import BadInput

LONGEST_PX, QUALITY = 1000, 78
SHOWN_BY_BROWSERS = ("image/jpeg", "image/png", "image/webp")


@dataclass(frozen=True, kw_only=True)
class Picture:
    """One photo: ``point`` is the id of the checklist point it belongs to, empty where it belongs to none."""

    caption: str
    mime: str
    data: bytes
    point: str = ""

    def __post_init__(self) -> None:
        if self.mime not in SHOWN_BY_BROWSERS:
            raise BadInput("mime", repr(self.mime), "one of " + ", ".join(SHOWN_BY_BROWSERS))
        if not self.data:
            raise BadInput(f"picture {self.caption!r}", "no bytes", "the bytes of a picture")

    @property
    def uri(self) -> str:
        return f"data:{self.mime};base64,{b64encode(self.data).decode('ascii')}"


def scaled_picture(path: Path | str, *, caption: str = "", point: str = "") -> Picture:
    """A photo from a file, upright, at most 1000 pixels long, as JPEG; place and camera data are dropped.

    Raises
    ------
    BadInput : the file is no picture that can be read
    """
    from PIL import Image, ImageOps, UnidentifiedImageError

    try:
        with Image.open(path) as raw:
            image = ImageOps.exif_transpose(raw).convert("RGB")
            image.thumbnail((LONGEST_PX, LONGEST_PX))
    except (UnidentifiedImageError, OSError) as error:
        raise BadInput(
            str(path), type(error).__name__, "a photo such as JPEG or PNG", "Cut off, or not a picture?"
        ) from error
    out = io.BytesIO()
    image.save(out, "JPEG", quality=QUALITY, optimize=True)
    return Picture(caption=caption, mime="image/jpeg", data=out.getvalue(), point=point)


def provenance_name(piano: str) -> str:
    """How a page's list of where things come from names the photos of a piano.

    Examples
    --------
    >>> provenance_name("Mill Lane grand")
    'Photos of Mill Lane grand'
    """
    return f"Photos of {piano}"
