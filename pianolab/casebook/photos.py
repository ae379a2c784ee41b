"""Photos for the media folder: re-encoded, so that position and device data stay behind."""

from __future__ import annotations

import io
import struct
import warnings
import zlib
from collections.abc import Callable
from hashlib import sha256
from pathlib import Path
from typing import Any, TypeVar

from PIL import Image, ImageOps, UnidentifiedImageError

from pianolab.casebook.media import Stored, keep_bytes
from pianolab.errors import BadInput

T = TypeVar("T")
MOST_BYTES = 60 * 1024**2
MOST_PIXELS = 80_000_000
LONGEST_SIDE = 4096
"""Larger pictures are scaled down to this many pixels."""

DAMAGE = (OSError, SyntaxError, ValueError, TypeError, LookupError, ArithmeticError, struct.error, zlib.error)
"""What decoders raise for pictures that were cut off or changed."""

FORMATS = ("JPEG", "PNG", "WEBP", "TIFF", "BMP", "GIF")
NEED = "a photo (JPEG, PNG, WebP, TIFF, BMP or GIF)"


def keep_photo(folder: Path, source: str | Path, *, keep_details: bool = False) -> Stored:
    """Keep a photo as JPEG, or as PNG where it came as PNG or has transparency.

    ``keep_details`` keeps what the camera wrote into the file (place, device, time); usually it is dropped.

    Raises
    ------
    BadInput
        no file, no picture, a damaged one, or one too large
    """
    path = Path(source)
    data = _read(path)
    encoded, suffix = _opened(
        data,
        name=path.name,
        longest_px=LONGEST_SIDE,
        look=lambda image: _save(image, keep_details=keep_details),
    )
    return keep_bytes(folder, encoded, suffix=suffix, original_sha256=sha256(data).hexdigest())


def check_photo(path: Path, *, whole: bool = True) -> None:
    """Whether a picture from elsewhere can be shown: its form and size, and, with ``whole``, that all of it is there.

    Raises
    ------
    BadInput
        as `keep_photo`
    """
    _opened(
        _read(path),
        name=path.name,
        longest_px=LONGEST_SIDE,
        look=lambda image: image.load() if whole else None,
    )


def as_jpeg(path: Path, *, longest_px: int, quality: int) -> bytes:
    """A picture upright and scaled down, as JPEG without place and camera data.

    Raises
    ------
    BadInput
        as `keep_photo`
    """

    def look(image: Image.Image) -> bytes:
        clean = _fitted(image, longest_px, "RGB")
        clean.info = {}
        room = io.BytesIO()
        clean.save(room, "JPEG", quality=quality, optimize=True)
        return room.getvalue()

    return _opened(_read(path), name=path.name, longest_px=longest_px, look=look)


def _read(path: Path) -> bytes:
    if path.is_dir() or not path.exists():
        raise BadInput(str(path), "a folder" if path.is_dir() else "no such file", NEED)
    if not 0 < path.stat().st_size <= MOST_BYTES:
        got = f"a file of {path.stat().st_size:,} bytes"
        raise BadInput(path.name, got, f"1 to {MOST_BYTES:,} bytes", "Is it a photo?")
    return path.read_bytes()


def _opened(data: bytes, *, name: str, longest_px: int, look: Callable[[Image.Image], T]) -> T:
    """What ``look`` makes of a picture; a JPEG is decoded at a half, a quarter or an eighth where that is enough."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)  # our own limit is checked first
            with Image.open(io.BytesIO(data), formats=FORMATS) as image:
                if image.width * image.height > MOST_PIXELS:
                    got = f"a picture of {image.width} x {image.height} pixels"
                    raise BadInput(name, got, f"{MOST_PIXELS:,} pixels or fewer", "Save it smaller.")
                image.draft("RGB", (longest_px, longest_px))
                return look(image)
    except UnidentifiedImageError:
        raise BadInput(name, "content that is no picture", NEED, "Is it another file, renamed?") from None
    except Image.DecompressionBombError:
        raise BadInput(
            name, "a picture that unpacks to a huge size", f"{MOST_PIXELS:,} pixels or fewer"
        ) from None
    except BadInput:
        raise
    except DAMAGE as error:
        raise BadInput(name, f"a damaged picture ({error})", "an undamaged one", "Copy it again.") from None


def _save(image: Image.Image, *, keep_details: bool) -> tuple[bytes, str]:
    transparent = image.has_transparency_data
    as_png = transparent or image.format == "PNG"
    clean = _fitted(image, LONGEST_SIDE, "RGBA" if transparent else "RGB")
    details: dict[str, Any] = {}
    if keep_details:
        # Taken after turning the picture upright, so that it isn't turned twice.
        details["exif"] = ImageOps.exif_transpose(image).getexif().tobytes()
    clean.info = {}
    room = io.BytesIO()
    if as_png:
        clean.save(room, "PNG", **details)
    else:
        clean.save(room, "JPEG", quality=90, **details)
    return room.getvalue(), ".png" if as_png else ".jpg"


def _fitted(image: Image.Image, longest_px: int, mode: str) -> Image.Image:
    """Scaled down first and then turned and converted: one large picture in memory at a time."""
    if image.mode in ("1", "P"):  # these have no shades to take the mean of
        image = ImageOps.exif_transpose(image).convert(mode)
    image.thumbnail((longest_px, longest_px))
    return ImageOps.exif_transpose(image).convert(mode)
