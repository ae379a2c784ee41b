"""The media folder: files named by the hash of their content, written whole or not at all."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass
from hashlib import file_digest, sha256
from pathlib import Path
from shutil import copyfileobj
from tempfile import TemporaryDirectory
from typing import BinaryIO
from uuid import uuid4

import numpy as np

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
