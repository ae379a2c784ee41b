"""What a file is by its first bytes, never by its suffix."""

from __future__ import annotations

import os
from codecs import getincrementaldecoder
from pathlib import Path
from typing import BinaryIO

from pianolab.errors import BadInput

READABLE = "a sound recording (WAV, FLAC, OGG, MP3, AIFF, m4a, AAC, 3gp, mp4, mov, webm)"
STOPPED = "Was the recording stopped at once, or the recorder switched off before it had finished the file?"


class SteadyFile:
    """A binary file in which a jump to nowhere lands at its end: damaged files ask for such jumps.

    The decoders call it from C, where an exception would only be printed.
    """

    def __init__(self, file: BinaryIO) -> None:
        self._file = file
        self.tell = file.tell

    def read(self, size: int = -1) -> bytes:
        return self._file.read(size)

    def seek(self, offset: int, whence: int = os.SEEK_SET) -> int:
        try:
            return self._file.seek(offset, whence)
        except (OSError, ValueError, OverflowError):
            return self._file.seek(0, os.SEEK_END)


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


def kind_of(file: SteadyFile, *, name: str) -> str:
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
    control = any(byte < 9 or 13 < byte < 32 for byte in head)
    try:
        getincrementaldecoder("utf-8")().decode(head)  # a character cut by the end of the head is no error
    except UnicodeDecodeError:
        control = True
    return "content that is no known sound format" if control else "text"
