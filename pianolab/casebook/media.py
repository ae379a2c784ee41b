"""The media folder: files named by the hash of their content, written whole or not at all."""

from __future__ import annotations

import os
from dataclasses import dataclass
from hashlib import file_digest, sha256
from pathlib import Path
from tempfile import TemporaryDirectory
from uuid import uuid4

import numpy as np

from pianolab.casebook.engine import refusal
from pianolab.errors import BadInput
from pianolab.io import Sound, read_sound, sound_info, write_sound

FOLDER = "media"
FLAC_BITS = {"8 bit": "PCM_16", "16 bit": "PCM_16", "20 bit": "PCM_24", "24 bit": "PCM_24"}
"""Resolutions that FLAC keeps bit for bit, and how it is told to."""

LONGEST_CONVERTED_S = 3600.0
SUFFIXES = {
    "FLAC": ".flac", "Vorbis": ".ogg", "Opus": ".opus", "MP3": ".mp3", "AAC": ".m4a", "ALAC": ".m4a", "PCM": ".wav",
}  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Stored:
    """A file in the media folder: its name, and the hash of the file it was made from."""

    name: str
    size: int
    original_sha256: str


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
    return keep_bytes(folder, source.read_bytes(), suffix=suffix, original_sha256=original_sha256)


def keep_bytes(folder: Path, data: bytes, *, suffix: str, original_sha256: str | None = None) -> Stored:
    """Write bytes into the media folder: to a temporary name, flushed to the disk, then renamed."""
    digest = sha256(data).hexdigest()
    target = media_path(folder, digest + suffix)
    if not target.exists():
        temporary = target.with_name(f".{uuid4().hex}.part")
        try:
            target.parent.mkdir(exist_ok=True)
            with temporary.open("xb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            temporary.replace(target)
            _flush_folder(target.parent)
        except OSError as error:
            raise refusal(
                folder, f"a file that can't be written ({error.strerror})", "room on the disk and leave to write",
                "Nothing of this edit was kept; everything saved before is safe.",
            ) from error  # fmt: skip
        finally:
            temporary.unlink(missing_ok=True)
    return Stored(name=target.name, size=len(data), original_sha256=original_sha256 or digest)


def _flush_folder(folder: Path) -> None:
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def keep_sound(folder: Path, source: str | Path | Sound) -> tuple[Stored, dict[str, object]]:
    """Keep a sound, and say its form (``rate_hz``, ``channels``, ``seconds``, ``original_name``).

    Sound of up to 24 bits becomes FLAC, bit for bit. Lossy, float or longer files stay as they are. A
    `Sound` from memory is kept as 24-bit FLAC, or as float WAV where it goes beyond full scale.
    """
    if isinstance(source, Sound):
        return _encoded(folder, source, original_sha256=None), _form(source, source.name)
    path = Path(source)
    info = sound_info(path)
    if info.frames is not None and info.frames / info.rate_hz > LONGEST_CONVERTED_S:
        form = {"rate_hz": info.rate_hz, "channels": info.channels, "original_name": path.name}
        return _as_it_is(folder, path, info.codec), form | {"seconds": info.frames / info.rate_hz}
    sound = read_sound(path, max_seconds=LONGEST_CONVERTED_S)
    if info.lossy or info.codec == "FLAC" or info.bits not in FLAC_BITS:
        return _as_it_is(folder, path, info.codec), _form(sound, path.name)
    return _encoded(folder, sound, original_sha256=hash_of(path)), _form(sound, path.name)


def _form(sound: Sound, name: str) -> dict[str, object]:
    return {
        "rate_hz": sound.rate_hz, "channels": sound.channels, "seconds": sound.seconds, "original_name": name,
    }  # fmt: skip


def _as_it_is(folder: Path, path: Path, codec: str) -> Stored:
    own = path.suffix.lower()
    suffix = own if own[1:].isalnum() and own.isascii() else SUFFIXES.get(codec, ".sound")
    return keep_file(folder, path, suffix=suffix)


def _encoded(folder: Path, sound: Sound, *, original_sha256: str | None) -> Stored:
    beyond = bool(len(sound.samples)) and float(np.abs(sound.samples).max()) > 1.0
    suffix, subtype = (".wav", "FLOAT") if beyond else (".flac", FLAC_BITS.get(sound.bits, "PCM_24"))
    with TemporaryDirectory() as temporary:
        path = Path(temporary) / f"sound{suffix}"
        write_sound(path, sound.samples, rate_hz=sound.rate_hz, subtype=subtype)
        return keep_file(folder, path, suffix=suffix, original_sha256=original_sha256)
