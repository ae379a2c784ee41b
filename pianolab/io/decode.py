"""Sound files to float32 blocks: through soundfile where it can, through PyAV for what phones make."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import BinaryIO, NamedTuple

import numpy as np
import soundfile

from pianolab.errors import BadInput
from pianolab.io.containers import open_container
from pianolab.io.content import READABLE, SteadyFile, kind_of
from pianolab.io.ends import check_whole
from pianolab.io.sound import Samples, SoundInfo, check_form

CONTAINER_FORMATS = {"mov": "mov", "matroska": "matroska", "aac": "aac", "amr": "amr", "mp3": "mp3"}
SECOND_CHANCE = {"wav": "wav", "caf": "caf", "aiff": "aiff", "ogg": "ogg"}
"""Kinds that may hold a codec soundfile doesn't know: PyAV gets a try."""

EXACT_CODECS = {
    "PCM_S8": "8 bit", "PCM_U8": "8 bit", "PCM_16": "16 bit", "PCM_24": "24 bit", "PCM_32": "32 bit",
    "FLOAT": "32 bit float", "DOUBLE": "64 bit float", "ALAC_16": "16 bit", "ALAC_20": "20 bit",
    "ALAC_24": "24 bit", "ALAC_32": "32 bit",
}  # fmt: skip
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
