"""Photos of findings, scaled down and carried inside the page."""

from __future__ import annotations

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
    from pianolab.casebook.photos import as_jpeg

    data = as_jpeg(Path(path), longest_px=LONGEST_PX, quality=QUALITY)
    return Picture(caption=caption, mime="image/jpeg", data=data, point=point)


def provenance_name(piano: str) -> str:
    """How a page's list of where things come from names the photos of a piano.

    Examples
    --------
    >>> provenance_name("Mill Lane grand")
    'Photos of Mill Lane grand'
    """
    return f"Photos of {piano}"
