"""Sound files to float32 blocks: through soundfile where it can, through PyAV for what phones make.

Each format says somewhere how far it should reach, so a file whose end is missing is noticed.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import BinaryIO, NamedTuple

import numpy as np
import soundfile

from pianolab.errors import BadInput
from pianolab.io.containers import READABLE, SteadyFile, kind_of, open_container
from pianolab.io.sound import Samples, SoundInfo, check_form

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


CONTAINER_FORMATS = {"mov": "mov", "matroska": "matroska", "aac": "aac", "amr": "amr", "mp3": "mp3"}
SECOND_CHANCE = {"wav": "wav", "caf": "caf", "aiff": "aiff", "ogg": "ogg"}
"""Kinds that may hold a codec soundfile doesn't know: PyAV gets a try."""

EXACT_CODECS = {
    "PCM_S8": "8 bit",
    "PCM_U8": "8 bit",
    "PCM_16": "16 bit",
    "PCM_24": "24 bit",
    "PCM_32": "32 bit",
    "FLOAT": "32 bit float",
    "DOUBLE": "64 bit float",
    "ALAC_16": "16 bit",
    "ALAC_20": "20 bit",
    "ALAC_24": "24 bit",
    "ALAC_32": "32 bit",
}
LOSSY_NAMES = {"VORBIS": "Vorbis", "OPUS": "Opus", "MPEG_LAYER_III": "MP3", "ULAW": "mu-law", "ALAW": "A-law"}
UNKNOWN_FRAMES = 2**62
READ_FRAMES = 1 << 16


class Decoder(NamedTuple):
    """An open sound: what it says of itself, and its sound in pieces of any length."""

    info: SoundInfo
    pieces: Iterator[Samples]


@contextmanager
def open_decoder(source: BinaryIO, *, name: str) -> Iterator[Decoder]:
    """Open a sound for reading, by its content."""
    file = SteadyFile(source)
    kind = kind_of(file, name=name)
    check_whole(file, kind, name=name)
    if kind in CONTAINER_FORMATS:
        with open_container(file, CONTAINER_FORMATS[kind], name=name) as (info, pieces):
            yield Decoder(info, pieces)
        return
    try:
        sound = soundfile.SoundFile(file)
    except (soundfile.LibsndfileError, RuntimeError, TypeError):
        if kind not in SECOND_CHANCE:
            raise BadInput(name, f"a damaged {kind.upper()} file", READABLE, "Copy it again.") from None
        with open_container(file, SECOND_CHANCE[kind], name=name) as (info, pieces):
            yield Decoder(info, pieces)
        return
    with sound:
        info = _info(sound, name=name)
        if info.frames is not None or kind != "flac":
            yield Decoder(info, _pieces(sound, info))
            return
    # A FLAC stream of unannounced length: soundfile stumbles over its end.
    with open_container(file, "flac", name=name) as (stream, pieces):
        yield Decoder(replace(stream, bits=info.bits), pieces)


def _info(sound: soundfile.SoundFile, *, name: str) -> SoundInfo:
    check_form(name, rate_hz=sound.samplerate, channels=sound.channels)
    bits = EXACT_CODECS.get(sound.subtype)
    exact_name = "FLAC" if sound.format == "FLAC" else "ALAC" if sound.subtype.startswith("ALAC") else "PCM"
    return SoundInfo(
        name=name,
        rate_hz=sound.samplerate,
        channels=sound.channels,
        frames=None if sound.frames > UNKNOWN_FRAMES else sound.frames,
        bits=bits or "coded",
        lossy=bits is None,
        codec=exact_name if bits else LOSSY_NAMES.get(sound.subtype, sound.subtype.replace("_", " ")),
    )


def _pieces(sound: soundfile.SoundFile, info: SoundInfo) -> Iterator[Samples]:
    done = 0
    while True:
        try:
            piece = sound.read(READ_FRAMES, dtype="float32", always_2d=True)
        except (soundfile.LibsndfileError, RuntimeError):
            raise damaged(info.name, done / info.rate_hz) from None
        if not len(piece):
            break
        done += len(piece)
        yield np.asarray(piece, np.float32)
    if info.frames is not None and done < info.frames:
        raise cut_off(info.name, done / info.rate_hz, info.frames / info.rate_hz)


def damaged(name: str, at_s: float) -> BadInput:
    return BadInput(
        name, f"a file that can't be decoded after {at_s:.1f} s", "an undamaged recording", "Copy it again."
    )


def cut_off(name: str, got_s: float, announced_s: float) -> BadInput:
    return BadInput(
        name,
        f"a truncated file ({got_s:.1f} s of the {announced_s:.1f} s it announces)",
        "the whole recording",
        "Was the copy, the upload or the recording cut off?",
    )
