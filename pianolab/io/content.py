"""What a file is by its first bytes, never by its suffix; and whether its end is missing."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

from pianolab.errors import BadInput

READABLE = "a sound recording (WAV, FLAC, OGG, MP3, AIFF, m4a, AAC, 3gp, mp4, mov, webm)"
UNKNOWN_LENGTHS = (0xFFFFFFFF, 0)
"""Data sizes that programs write into a WAV header when they don't know the length beforehand."""


def open_file(source: str | Path, *, name: str) -> BinaryIO:
    """The file opened for reading, or one clear line why it can't be."""
    path = Path(source)
    if path.is_dir():
        raise BadInput(name, "a folder", READABLE, "Name the file inside it.")
    try:
        return path.open("rb")
    except FileNotFoundError:
        raise BadInput(name, "no such file", READABLE, "Misspelt, or moved since?") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise BadInput(name, f"a file that can't be opened ({reason})", READABLE) from None


def kind_of(file: BinaryIO, *, name: str) -> str:
    """Kind of the content: ``wav``, ``flac``, ``ogg``, ``mp3``, ``aiff``, ``caf``, ``au``, ``w64``, ``mov``,
    ``matroska``, ``aac`` or ``amr``.

    Raises
    ------
    BadInput
        an empty file, text, or anything that is no sound
    """
    file.seek(0)
    head = file.read(4096)
    if not head:
        raise BadInput(name, "an empty file", READABLE, "Was the copy or the recording interrupted?")
    kind = _kind_of_head(head)
    if kind is None:
        raise BadInput(name, _what_else(head), READABLE, "Is it another file with a changed name?")
    return kind


def _kind_of_head(head: bytes) -> str | None:
    starts = {b"RF64": "wav", b"RIFX": "wav", b"fLaC": "flac", b"OggS": "ogg", b"ID3": "mp3", b"caff": "caf"}
    starts |= {
        b".snd": "au",
        b"riff\x2e\x91\xcf\x11": "w64",
        b"\x1a\x45\xdf\xa3": "matroska",
        b"#!AMR": "amr",
    }
    for start, kind in starts.items():
        if head.startswith(start):
            return kind
    if head[:4] == b"RIFF" and head[8:12] == b"WAVE":
        return "wav"
    if head[:4] == b"FORM" and head[8:12] in (b"AIFF", b"AIFC"):
        return "aiff"
    if head[4:8] in (b"ftyp", b"moov", b"mdat", b"wide", b"free", b"skip"):
        return "mov"
    return _kind_of_mpeg(head)


def _kind_of_mpeg(head: bytes) -> str | None:
    if len(head) < 4 or head[0] != 0xFF or head[1] & 0xE0 != 0xE0:
        return None
    if head[1] & 0xF6 == 0xF0:
        return "aac"
    version, layer, bitrate, rate = head[1] >> 3 & 3, head[1] >> 1 & 3, head[2] >> 4, head[2] >> 2 & 3
    return "mp3" if version != 1 and layer == 1 and bitrate != 15 and rate != 3 else None


def _what_else(head: bytes) -> str:
    known = {b"%PDF": "a PDF document", b"PK": "a zip archive", b"\xff\xd8\xff": "a picture (JPEG)"}
    known |= {b"\x89PNG": "a picture (PNG)", b"GIF8": "a picture (GIF)", b"RIFF": "a RIFF file without sound"}
    for start, what in known.items():
        if head.startswith(start):
            return what
    if not head.strip(b"\0"):
        return "nothing but zero bytes"
    control = sum(byte < 9 or 13 < byte < 32 for byte in head)
    return "text" if control == 0 else "content that is no known sound format"


def check_whole(file: BinaryIO, kind: str, *, name: str) -> None:
    """`BadInput` where the file ends before the end that it announces."""
    size = file.seek(0, os.SEEK_END)
    announced = {"wav": _wav_end, "mov": _mov_end, "ogg": _ogg_end}.get(kind)
    end = announced(file) if announced else None
    file.seek(0)
    if end is not None and end > size:
        raise BadInput(
            name,
            f"a truncated file ({size:,} of {end:,} bytes)",
            "the whole recording",
            "Was the copy, the upload or the recording cut off?",
        )


def _wav_end(file: BinaryIO) -> int | None:
    file.seek(0)
    if file.read(4) != b"RIFF":
        return None
    file.seek(12)
    while len(head := file.read(8)) == 8:
        length = int.from_bytes(head[4:], "little")
        if head[:4] == b"data":
            return None if length in UNKNOWN_LENGTHS else file.tell() + length
        file.seek(length + length % 2, os.SEEK_CUR)
    return None


def _boxes(file: BinaryIO) -> Iterator[tuple[bytes, int]]:
    """Top-level boxes of an ISO media file: their type, and where each ends by its own account."""
    start = 0
    while True:
        file.seek(start)
        head = file.read(16)
        if len(head) < 8:
            return
        length = int.from_bytes(head[:4], "big")
        if length == 1 and len(head) == 16:
            length = int.from_bytes(head[8:], "big")
        if length < 8:
            return
        start += length
        yield head[4:8], start


def _mov_end(file: BinaryIO) -> int | None:
    return max((end for _, end in _boxes(file)), default=None)


def _ogg_end(file: BinaryIO) -> int | None:
    """End of the last page that starts in the file."""
    size = file.seek(0, os.SEEK_END)
    start = max(0, size - 2 * 65_536)
    file.seek(start)
    tail = file.read()
    at = tail.rfind(b"OggS\0")
    if at < 0 or len(tail) < at + 27:
        return None
    segments = tail[26 + at]
    if len(tail) < at + 27 + segments:
        return start + at + 27 + segments
    return start + at + 27 + segments + sum(tail[at + 27 : at + 27 + segments])
