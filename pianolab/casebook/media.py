"""The media folder: sounds and photos, named by the hash of their content, written whole or not at all.

Photos are re-encoded, so that position and device data stay behind.
"""

from __future__ import annotations

import io
import os
import struct
import warnings
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from hashlib import file_digest, sha256
from pathlib import Path
from shutil import copyfileobj
from tempfile import TemporaryDirectory
from typing import Any, BinaryIO, TypeVar
from uuid import uuid4

import numpy as np
from PIL import Image, ImageOps, UnidentifiedImageError

from pianolab.casebook.troubles import refusal
from pianolab.errors import BadInput
from pianolab.io import Sound, SoundInfo, read_blocks, read_sound, sound_info, write_sound

FOLDER = "media"
FLAC_BITS = ("8 bit", "16 bit", "20 bit", "24 bit")
"""Resolutions that FLAC keeps bit for bit."""

MOST_FLAC_CHANNELS = 8
LONGEST_CONVERTED_S = 3600.0
SUFFIXES = {
    "FLAC": ".flac",
    "Vorbis": ".ogg",
    "Opus": ".opus",
    "MP3": ".mp3",
    "AAC": ".m4a",
    "ALAC": ".m4a",
    "PCM": ".wav",
}


@dataclass(frozen=True, kw_only=True)
class Stored:
    """A file in the media folder: its name, and the hash of the file it was made from."""

    name: str
    size: int
    original_sha256: str


@dataclass(frozen=True, kw_only=True)
class KeptSound:
    """A sound in the media folder, and its form."""

    stored: Stored
    original_name: str
    rate_hz: int
    channels: int
    seconds: float


def hash_of(path: Path) -> str:
    """SHA-256 of a file's content, in hex."""
    with path.open("rb") as file:
        return file_digest(file, "sha256").hexdigest()


def hash_in_name(name: str) -> str:
    """The hash that a media file's name promises.

    Examples
    --------
    >>> hash_in_name("ab12.flac")
    'ab12'
    """
    return name.partition(".")[0]


def media_path(folder: Path, name: str) -> Path:
    """Path of a media file; names that lead out of the folder are refused."""
    digest, _, suffix = name.partition(".")
    if not digest or not digest.isalnum() or not suffix.isalnum():
        raise BadInput("media", repr(name), "the name of a file in the media folder")
    return folder / FOLDER / name


def keep_file(folder: Path, source: Path, *, suffix: str, original_sha256: str | None = None) -> Stored:
    """Copy a file into the media folder under the hash of its content."""

    def copy(file: BinaryIO) -> None:
        with source.open("rb") as origin:
            copyfileobj(origin, file, 1 << 20)

    return _keep(folder, copy, digest=hash_of(source), suffix=suffix, original_sha256=original_sha256)


def keep_bytes(folder: Path, data: bytes, *, suffix: str, original_sha256: str | None = None) -> Stored:
    """Write bytes into the media folder under the hash of their content."""

    def write(file: BinaryIO) -> None:
        file.write(data)

    return _keep(
        folder, write, digest=sha256(data).hexdigest(), suffix=suffix, original_sha256=original_sha256
    )


def _keep(
    folder: Path, write: Callable[[BinaryIO], None], *, digest: str, suffix: str, original_sha256: str | None
) -> Stored:
    """Write to a temporary name, flush to the disk, then rename: a name in the folder is a whole file."""
    target = media_path(folder, digest + suffix)
    if not target.exists():
        temporary = target.with_name(f".{uuid4().hex}.part")
        try:
            target.parent.mkdir(exist_ok=True)
            with temporary.open("xb") as file:
                write(file)
                file.flush()
                os.fsync(file.fileno())
            temporary.replace(target)
            _flush_folder(target.parent)
        except OSError as error:
            raise refusal(
                folder,
                f"a file that can't be written ({error.strerror})",
                "room on the disk and permission to write",
                "Nothing of this edit was kept; everything saved before is safe.",
            ) from error
        finally:
            temporary.unlink(missing_ok=True)
    return Stored(name=target.name, size=target.stat().st_size, original_sha256=original_sha256 or digest)


def _flush_folder(folder: Path) -> None:
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def keep_sound(folder: Path, source: str | Path | Sound) -> KeptSound:
    """Keep a sound in the media folder, after going through all of it.

    Files of up to 24 bits become FLAC, bit for bit. Lossy and float files, and those over an hour, stay as
    they are. A `Sound` from memory becomes FLAC of 16 or 24 bits (what lies under 24 bits is rounded), or a
    float WAV where it goes beyond full scale.
    """
    if isinstance(source, Sound):
        stored = _encoded(folder, source, original_sha256=None)
        return _kept(stored, source, name=source.name, frames=len(source.samples))
    path = Path(source)
    info = sound_info(path)
    frames = sum(len(block.samples) for block in read_blocks(path))
    if frames == 0:
        raise BadInput(path.name, "0 s of sound", "a recording", "Was the recording stopped at once?")
    whole_in_flac = not info.lossy and info.bits in FLAC_BITS and info.channels <= MOST_FLAC_CHANNELS
    if whole_in_flac and info.codec != "FLAC" and frames <= LONGEST_CONVERTED_S * info.rate_hz:
        stored = _encoded(folder, read_sound(path), original_sha256=hash_of(path))
    else:
        stored = keep_file(folder, path, suffix=_suffix(path, info.codec))
    return _kept(stored, info, name=path.name, frames=frames)


def _kept(stored: Stored, form: Sound | SoundInfo, *, name: str, frames: int) -> KeptSound:
    return KeptSound(
        stored=stored,
        original_name=name,
        rate_hz=form.rate_hz,
        channels=form.channels,
        seconds=frames / form.rate_hz,
    )


def _suffix(path: Path, codec: str) -> str:
    own = path.suffix.lower()
    return own if own[1:].isalnum() and own.isascii() else SUFFIXES.get(codec, ".sound")


def _encoded(folder: Path, sound: Sound, *, original_sha256: str | None) -> Stored:
    beyond = bool(len(sound.samples)) and float(np.abs(sound.samples).max()) > 1.0
    suffix, subtype = (".wav", "FLOAT") if beyond else (".flac", _flac_coding(sound))
    with TemporaryDirectory() as temporary:
        path = write_sound(
            Path(temporary) / f"sound{suffix}", sound.samples, rate_hz=sound.rate_hz, subtype=subtype
        )
        return keep_file(folder, path, suffix=suffix, original_sha256=original_sha256)


def _flac_coding(sound: Sound) -> str:
    """16 bits where they hold every sample exactly, 24 otherwise."""
    steps = sound.samples * np.float32(2.0**15)
    exact = bool(np.all(steps == np.round(steps)) and np.all(steps <= 32767))
    return "PCM_16" if exact else "PCM_24"


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
