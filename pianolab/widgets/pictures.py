"""Photos of the walk: taken in from the screen, kept in the casebook, shown small."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from io import BytesIO
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

from pianolab.checklist import Checklist
from pianolab.errors import BadInput, PianolabError
from pianolab.model import Photo
from pianolab.report.photos_and_clips import small_picture

if TYPE_CHECKING:
    from pianolab.casebook import Casebook

LONGEST_SIDE = 2400
"""So large a picture is kept of one that has to be made anew, px; the screen sends no larger one either."""
MOST_PIXELS = 100_000_000
MOST_BYTES = 9 * 1024**2
"""More than this does not come through to the kernel in one message."""

LONGEST_NAME = 60
HEIC_BRANDS = (b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1")
"""Brands of ISO base media files (ISO/IEC 23008-12, from memory) that hold pictures as telephones keep them."""


def keep_picture(
    casebook: Casebook,
    visit_id: str,
    *,
    point: str,
    name: object,
    buffers: Sequence[object],
    by: str,
    checklist: Checklist | None = None,
) -> Photo:
    """Keep a picture that the screen sent with a point; place and device data are dropped on the way.

    Raises
    ------
    BadInput
        nothing came, too much came, or it is no picture
    """
    label = _file_name(name)
    data = bytes(buffers[0]) if buffers else b""  # type: ignore[call-overload]
    if not 0 < len(data) <= MOST_BYTES:
        raise BadInput(label, f"{len(data):,} bytes", f"a photo of 1 to {MOST_BYTES:,} bytes")
    if is_heic(data):
        label, data = f"{Path(label).stem}.jpg", as_jpeg(data, name=label)
    with TemporaryDirectory() as folder:
        path = Path(folder) / label
        path.write_bytes(data)
        with casebook.editing(by=by, checklist=checklist) as edit:
            return edit.add_photo(visit_id, path, point=point)


def as_jpeg(heic: bytes, *, name: str) -> bytes:
    """A telephone's own picture as a JPEG that everybody can read; turned upright, without place and device.

    Parameters
    ----------
    heic : the file's bytes
    name : what the picture is called where it is refused

    Raises
    ------
    BadInput
        the reader of such pictures is not installed, or this one is damaged

    Notes
    -----
    Read by pi-heif, which comes with the extra ``notebook`` and holds no encoder and no codec under the GPL.
    """
    try:
        import pi_heif
    except ImportError:
        raise BadInput(name, "a HEIC picture", "a JPEG", HOW_TO_READ) from None
    try:
        found = pi_heif.open_heif(heic, convert_hdr_to_8bit=True)
        if found.size[0] * found.size[1] > MOST_PIXELS:
            raise ValueError(f"{found.size[0]} x {found.size[1]} pixels")
        picture = found.to_pillow().convert("RGB")
    except (ValueError, EOFError, OSError, RuntimeError, SyntaxError):
        raise BadInput(
            name, "a HEIC picture that can't be read", "a whole one, or a JPEG", "Damaged?"
        ) from None
    picture.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
    kept = BytesIO()
    picture.save(kept, "JPEG", quality=88)
    return kept.getvalue()


HOW_TO_READ = "Share it as JPEG, or install what reads it: pip install pi-heif."


def is_heic(data: bytes) -> bool:
    """Whether a file is a picture in the form in which some telephones keep theirs, which few programs read.

    Examples
    --------
    >>> is_heic(bytes(4) + b"ftypheic" + bytes(8)), is_heic(b"no such thing")
    (True, False)
    """
    return data[4:8] == b"ftyp" and data[8:12] in HEIC_BRANDS


def _file_name(name: object) -> str:
    """The file's own name, as far as it can stand in a line and in a folder.

    Examples
    --------
    >>> _file_name("../../my <b>photo</b>.jpg")
    'b .jpg'
    """
    last = re.split(r"[/\\]", str(name or ""))[-1]
    return re.sub(r"[^\w .-]+", " ", last)[-LONGEST_NAME:].strip(" .") or "photo"


def small_pictures(casebook: Casebook, photos: Iterable[Photo]) -> dict[str, str]:
    """A small picture of each photo as text that an ``img`` can show, by the photo's id.

    A photo whose file is gone or damaged has no entry.
    """
    small = {}
    for photo in photos:
        try:
            small[photo.id] = small_picture(casebook.media_path(photo.media))
        except (OSError, ValueError, PianolabError):
            continue
    return small
