"""Files to arrays: as recorded, in one piece or in blocks."""

from __future__ import annotations

from collections.abc import Generator, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

import numpy as np

from pianolab.errors import BadInput
from pianolab.io.containers import READABLE, STOPPED, open_file
from pianolab.io.decode import Decoder, open_decoder
from pianolab.io.sound import Samples, Sound, SoundInfo, say_duration

Source = str | Path | BinaryIO

MAX_BYTES = 2 * 1024**3
"""The most memory that one sound read in one piece may take."""


def read_sound(source: Source, *, max_seconds: float = 3600.0) -> Sound:
    """Read a recording as it is: not resampled, not mixed, not normalised.

    The format is told by the content, not by the name. Delay that a codec announces (AAC in m4a or mp4,
    Opus, MP3 with a gapless header) is taken off.

    Parameters
    ----------
    source : path, or a binary file open for reading
    max_seconds : float, s; longer recordings are refused, `read_blocks` goes through them

    Returns
    -------
    Sound; ``samples`` of shape (frames, channels), float32

    Raises
    ------
    BadInput
        with one line that says what was found and the likely cause

    Examples
    --------
    >>> from pianolab.io import real_notes
    >>> with real_notes()[49].open("rb") as file:
    ...     read_sound(file)
    <Sound key49_A4.ogg: 13.8 s, 48 kHz, stereo, Vorbis>
    """
    with _decoding(source) as decoder:
        info = decoder.info
        limit = min(round(max_seconds * info.rate_hz), MAX_BYTES // (4 * info.channels))
        if info.frames is not None:
            _check_length(info, info.frames, limit)
        samples = _gather(decoder, limit)
    if not len(samples):
        raise BadInput(info.name, "0 s of sound", READABLE, STOPPED)
    return _sound(samples, info)


def read_blocks(source: Source, *, block_s: float = 10.0) -> Generator[Sound, None, None]:
    """Go through a recording of any length, block after block, with bounded memory.

    Parameters
    ----------
    source : path, or a binary file open for reading
    block_s : float, s; length of a block; the last one is shorter

    Yields
    ------
    Sound; the block's ``samples`` of shape (frames, channels) and its ``rate_hz``

    Examples
    --------
    >>> from pianolab.io import real_notes
    >>> with real_notes()[88].open("rb") as file:
    ...     [round(block.seconds, 2) for block in read_blocks(file, block_s=2.0)]
    [2.0, 1.72]
    """
    with _decoding(source) as decoder:
        length = max(1, round(block_s * decoder.info.rate_hz))
        waiting: list[Samples] = []
        count = 0
        for piece in decoder.pieces:
            _check_finite(decoder.info, piece)
            waiting.append(piece)
            count += len(piece)
            while count >= length:
                joined = np.concatenate(waiting)
                yield _sound(joined[:length], decoder.info)
                waiting, count = [joined[length:]], count - length
        if count:
            yield _sound(np.concatenate(waiting), decoder.info)


def sound_info(source: Source) -> SoundInfo:
    """What a sound file says about itself, without reading all of it.

    Parameters
    ----------
    source : path of a sound file, or an open one

    Returns
    -------
    SoundInfo

    Examples
    --------
    >>> from pianolab.io import real_notes
    >>> with real_notes()[1].open("rb") as file:
    ...     sound_info(file)
    <SoundInfo key01_A0.ogg: 25.8 s, 48 kHz, stereo, Vorbis>
    """
    with _decoding(source) as decoder:
        return decoder.info


@contextmanager
def _decoding(source: Source) -> Iterator[Decoder]:
    if isinstance(source, (str, Path)):
        with (
            open_file(source, name=str(source)) as file,
            open_decoder(file, name=Path(source).name) as decoder,
        ):
            yield decoder
        return
    name = getattr(source, "name", "")
    with open_decoder(source, name=Path(name).name if isinstance(name, str) and name else "sound") as decoder:
        yield decoder


def _gather(decoder: Decoder, limit: int) -> Samples:
    info = decoder.info
    room = np.empty((info.frames or info.rate_hz, info.channels), np.float32)
    count = 0
    for piece in decoder.pieces:
        _check_finite(info, piece)
        if count + len(piece) > limit + info.rate_hz:
            _check_length(info, count + len(piece), limit)
        if count + len(piece) > len(room):
            room = np.concatenate([room[:count], np.empty((count + len(piece), info.channels), np.float32)])
        room[count : count + len(piece)] = piece
        count += len(piece)
    return room[:count]


def _check_length(info: SoundInfo, frames: int, limit: int) -> None:
    if frames <= limit:
        return
    raise BadInput(
        info.name,
        f"{say_duration(frames / info.rate_hz)} of {info.channels}-channel sound at {info.rate_hz / 1000:g} kHz",
        f"{say_duration(limit / info.rate_hz)} or less in one piece",
        "Cut out the part with the scale, or go through it with pianolab.io.read_blocks.",
    )


def _check_finite(info: SoundInfo, piece: Samples) -> None:
    if not np.isfinite(piece).all():
        raise BadInput(
            info.name,
            "samples that are no numbers (NaN or infinite)",
            "numbers throughout",
            "Was it exported by a program that failed?",
        )


def _sound(samples: Samples, info: SoundInfo) -> Sound:
    return Sound(samples, info.rate_hz, info.name, info.bits, info.lossy, info.codec)
