"""What a file is by its first bytes, never by its suffix, and the sound in what phones, cameras and browsers make.

Their containers (m4a, AAC, 3gp, mp4, mov, webm) are read through PyAV.
"""

from __future__ import annotations

import os
from codecs import getincrementaldecoder
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from itertools import chain
from pathlib import Path
from typing import Any, BinaryIO

import av
import numpy as np
from av.error import FFmpegError

from pianolab.errors import BadInput
from pianolab.io.sound import Samples, SoundInfo, check_form

READABLE = "a sound recording (WAV, FLAC, OGG, MP3, AIFF, m4a, AAC, 3gp, mp4, mov, webm)"


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


STOPPED = "Was the recording stopped at once, or the recorder switched off before it had finished the file?"
CODEC_NAMES = {
    "aac": "AAC",
    "opus": "Opus",
    "vorbis": "Vorbis",
    "mp3": "MP3",
    "mp3float": "MP3",
    "alac": "ALAC",
    "flac": "FLAC",
    "amrnb": "AMR",
    "amr_nb": "AMR",
    "amrwb": "AMR-WB",
    "amr_wb": "AMR-WB",
}
FULL_SCALE = {"u8": 128.0, "s16": 32768.0, "s32": 2147483648.0}
SHORT_BY_S = 0.25
"""A container may announce up to a packet or two more than it holds; beyond this the end is missing."""

LONGEST_PADDING = 2048
"""Frames by which the last packet of a codec may reach beyond the announced end; these are no sound."""

GUESSED_LENGTH = ("aac", "amr", "mp3", "flac")
"""Formats without a table of contents: what they announce is a guess from the bit rate."""


@contextmanager
def open_container(
    file: SteadyFile, container_format: str, *, name: str
) -> Iterator[tuple[SoundInfo, Iterator[Samples]]]:
    """Open the first sound track; the format is given, so that no playlist or address is ever followed."""
    file.seek(0)
    try:
        container = av.open(file, mode="r", format=container_format)
    except (FFmpegError, ValueError) as error:
        raise _unreadable(name, error) from None
    with container:
        if not container.streams.audio:
            raise BadInput(name, "a film without a sound track", READABLE, "Was the microphone switched off?")
        stream = container.streams.audio[0]
        frames = _frames(container, stream, name=name)
        first = next(frames, None)
        if first is None:
            raise BadInput(name, "0 s of sound", READABLE, STOPPED)
        info = _info(stream, first, name=name)
        if container_format in GUESSED_LENGTH:
            info = replace(info, frames=None)
        yield info, _pieces(chain([first], frames), info)


def _unreadable(name: str, error: Exception) -> BadInput:
    cause = "Was the recording or the copy cut off?" if "Invalid data" in str(error) else str(error)
    return BadInput(name, "a file without a readable table of contents", READABLE, cause)


def _frames(container: Any, stream: Any, *, name: str) -> Iterator[Any]:
    at_s = 0.0
    try:
        for frame in container.decode(stream):
            if not frame.samples:
                continue
            yield frame
            at_s += frame.samples / frame.sample_rate
    except FFmpegError:
        raise BadInput(
            name,
            f"a file that can't be decoded after {at_s:.1f} s",
            "an undamaged recording",
            "Was the copy, the upload or the recording cut off?",
        ) from None


def _info(stream: Any, first: Any, *, name: str) -> SoundInfo:
    # The first decoded frame is asked, not the header: some AAC headers name half the true rate.
    rate_hz, channels = int(first.sample_rate), int(first.layout.nb_channels)
    check_form(name, rate_hz=rate_hz, channels=channels)
    codec = stream.codec_context.name
    lossy = not (codec.startswith("pcm_") or codec in ("alac", "flac"))
    width = _width(stream.codec_context, first)
    return SoundInfo(
        name=name,
        rate_hz=rate_hz,
        channels=channels,
        frames=_announced(stream, rate_hz),
        bits="coded" if lossy else f"{width} bit" + (" float" if "_f" in codec else ""),
        lossy=lossy,
        codec="PCM" if codec.startswith("pcm_") else CODEC_NAMES.get(codec, codec),
    )


def _width(context: Any, first: Any) -> int:
    """Bits of a lossless codec; ALAC tells them in its configuration only, at byte 17."""
    extra = context.extradata or b""
    if context.name == "alac" and len(extra) > 17:
        return int(extra[17])
    return int(getattr(context, "bits_per_coded_sample", 0) or first.format.bits)


def _announced(stream: Any, rate_hz: int) -> int | None:
    if not stream.duration or stream.time_base is None:
        return None
    return round(float(stream.duration * stream.time_base) * rate_hz)


def _pieces(frames: Iterator[Any], info: SoundInfo) -> Iterator[Samples]:
    done = 0
    for frame in frames:
        if (frame.sample_rate, frame.layout.nb_channels) != (info.rate_hz, info.channels):
            raise BadInput(info.name, "a rate or channels that change midway", "one form throughout")
        piece = _to_float(frame)
        over = 0 if info.frames is None else done + len(piece) - info.frames
        if 0 < over <= LONGEST_PADDING:
            piece = piece[: max(0, len(piece) - over)]
        done += len(piece)
        if len(piece):
            yield piece
    container_s = None if info.frames is None else info.frames / info.rate_hz
    if container_s is not None and done / info.rate_hz < container_s - SHORT_BY_S:
        raise BadInput(
            info.name,
            f"a truncated file ({done / info.rate_hz:.1f} s of the {container_s:.1f} s it announces)",
            "the whole recording",
            "Was the copy, the upload or the recording cut off?",
        )


def _to_float(frame: Any) -> Samples:
    values = frame.to_ndarray()
    planar = frame.format.is_planar
    samples = values.T if planar else values.reshape(-1, frame.layout.nb_channels)
    scale = FULL_SCALE.get(frame.format.name.rstrip("p"))
    if scale is None:
        return np.ascontiguousarray(samples, np.float32)
    centre = 128.0 if frame.format.name.startswith("u8") else 0.0
    return np.ascontiguousarray((samples.astype(np.float64) - centre) / scale, np.float32)
