"""Whether a file's end is missing: each format says somewhere how far it should reach."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator

from pianolab.errors import BadInput
from pianolab.io.content import SteadyFile

UNKNOWN_32 = 0xFFFFFFFF
"""A size that programs write when they don't know the length beforehand."""

LARGEST = 2**42
"""No piece of a file is larger; a size beyond is unknown or rubbish."""


def check_whole(file: SteadyFile, kind: str, *, name: str) -> None:
    """`BadInput` where the file ends before the end that it announces."""
    size = file.seek(0, os.SEEK_END)
    file.seek(0)
    end = ENDS[kind](file) if kind in ENDS else None
    file.seek(0)
    if end is not None and end > size:
        raise BadInput(
            name,
            f"a truncated file ({size:,} of {end:,} bytes)",
            "the whole recording",
            "Was the copy, the upload or the recording cut off?",
        )


def _chunks(file: SteadyFile, start: int) -> Iterator[tuple[bytes, int, int]]:
    """Chunks of a RIFF file: their name, where their content starts, and its length."""
    while True:
        file.seek(start)
        head = file.read(8)
        if len(head) < 8:
            return
        length = int.from_bytes(head[4:], "little")
        yield head[:4], start + 8, length
        start += 8 + length + length % 2


def _wav_end(file: SteadyFile) -> int | None:
    head = file.read(28)
    if head[:4] == b"RF64":
        return 8 + int.from_bytes(head[20:28], "little") if head[12:16] == b"ds64" else None
    if head[:4] != b"RIFF":
        return None
    for name, start, length in _chunks(file, 12):
        if name == b"data":
            return None if length in (0, UNKNOWN_32) else start + length
    return None


def _aiff_end(file: SteadyFile) -> int | None:
    length = int.from_bytes(file.read(8)[4:], "big")
    return None if length in (0, UNKNOWN_32) else 8 + length


def _w64_end(file: SteadyFile) -> int | None:
    return int.from_bytes(file.read(24)[16:], "little") or None


def _au_end(file: SteadyFile) -> int | None:
    head = file.read(12)
    start, length = int.from_bytes(head[4:8], "big"), int.from_bytes(head[8:], "big")
    return None if length in (0, UNKNOWN_32) else start + length


def _caf_end(file: SteadyFile) -> int | None:
    start = 8
    while True:
        file.seek(start)
        head = file.read(12)
        if len(head) < 12:
            return start
        length = int.from_bytes(head[4:], "big")
        if length > LARGEST:
            return None
        start += 12 + length


def _mov_end(file: SteadyFile) -> int | None:
    """End of the last top-level box of an ISO media file, by its own account."""
    start = 0
    while True:
        file.seek(start)
        head = file.read(16)
        length = int.from_bytes(head[:4], "big")
        if length == 1 and len(head) == 16:
            length = int.from_bytes(head[8:], "big")
        if len(head) < 8 or not 8 <= length <= LARGEST:
            return start
        start += length


def _matroska_end(file: SteadyFile) -> int | None:
    """End of the segment that holds everything; browsers leave its length open."""
    for wanted in (b"\x1a\x45\xdf\xa3", b"\x18\x53\x80\x67"):
        if file.read(4) != wanted:
            return None
        first = file.read(1)
        if not first or not first[0]:
            return None
        width = 9 - first[0].bit_length()
        digits = bytes([first[0] & (0xFF >> width)]) + file.read(width - 1)
        length = int.from_bytes(digits, "big")
        if length == (1 << 7 * width) - 1:
            return None
        end = file.seek(min(length, LARGEST), os.SEEK_CUR)
    return end


def _ogg_end(file: SteadyFile) -> int | None:
    """End of the last page that starts in the file."""
    size = file.seek(0, os.SEEK_END)
    start = max(0, size - 2 * 65_536)
    file.seek(start)
    tail = file.read()
    at = tail.rfind(b"OggS\0")
    if at < 0 or len(tail) < at + 27:
        return None
    lacing = at + 27 + tail[at + 26]
    return start + lacing + sum(tail[at + 27 : lacing])


def _mp3_end(file: SteadyFile) -> int | None:
    """End by the byte count in the first frame, where the encoder left one."""
    head = file.read(10)
    start = 0
    if head[:3] == b"ID3" and len(head) == 10:
        start = 10 + sum(
            (byte & 0x7F) << shift for byte, shift in zip(head[6:10], (21, 14, 7, 0), strict=True)
        )
    file.seek(start)
    frame = file.read(256)
    for mark in (b"Xing", b"Info"):
        at = frame.find(mark)
        if 0 < at < 64:
            flags = int.from_bytes(frame[at + 4 : at + 8], "big")
            where = at + 8 + (4 if flags & 1 else 0)
            return start + int.from_bytes(frame[where : where + 4], "big") if flags & 2 else None
    return None


ENDS: dict[str, Callable[[SteadyFile], int | None]] = {
    "wav": _wav_end,
    "aiff": _aiff_end,
    "w64": _w64_end,
    "au": _au_end,
    "caf": _caf_end,
    "mov": _mov_end,
    "matroska": _matroska_end,
    "ogg": _ogg_end,
    "mp3": _mp3_end,
}
