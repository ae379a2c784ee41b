"""The sound of what phones, cameras and browsers make (m4a, AAC, 3gp, mp4, mov, webm), through PyAV."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from itertools import chain
from typing import Any

import av
import numpy as np
from av.error import FFmpegError

from pianolab.errors import BadInput
from pianolab.io.content import READABLE, STOPPED, SteadyFile
from pianolab.io.sound import Samples, SoundInfo, check_form

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
