"""Arrays to files, at once or block after block, and to bytes for a page."""

from __future__ import annotations

import io
from collections.abc import Iterable
from pathlib import Path
from typing import Any, BinaryIO, NamedTuple

import numpy as np
import soundfile
from numpy.typing import ArrayLike, NDArray

from pianolab.errors import BadInput
from pianolab.files import staged
from pianolab.io.sound import Samples

BY_SUFFIX = {
    ".wav": ("WAV", "PCM_24"),
    ".flac": ("FLAC", "PCM_24"),
    ".ogg": ("OGG", "VORBIS"),
    ".opus": ("OGG", "OPUS"),
    ".mp3": ("MP3", "MPEG_LAYER_III"),
}
CODINGS = {16: "PCM_16", 24: "PCM_24"}
CLIP_FORMS = {
    "opus": ("OGG", "OPUS", "audio/ogg; codecs=opus"),
    "ogg": ("OGG", "VORBIS", "audio/ogg; codecs=vorbis"),
    "flac": ("FLAC", "PCM_16", "audio/flac"),
    "mp3": ("MP3", "MPEG_LAYER_III", "audio/mpeg"),
    "wav": ("WAV", "PCM_16", "audio/wav"),
}
RATES_HZ = {
    "OPUS": (8000, 12000, 16000, 24000, 48000),
    "MPEG_LAYER_III": (16000, 22050, 24000, 32000, 44100, 48000),
}
"""Rates that a codec is asked for here; sound of another rate is resampled for it."""
UNBOUNDED = ("FLOAT", "DOUBLE", "VORBIS", "OPUS", "MPEG_LAYER_III")
"""Codecs that keep samples beyond full scale."""
WRITE_FRAMES = 1 << 16
CONSTANT_LEVEL = 0.75
"""Of MP3 at a constant rate, in soundfile's terms: about 100 kbit/s."""


class EncodedClip(NamedTuple):
    """A clip for a page: its bytes and their media type."""

    data: bytes
    mime: str


def write_sound(
    path: str | Path,
    samples: ArrayLike,
    *,
    rate_hz: int,
    subtype: str | None = None,
    constant: bool = False,
    replace: bool = False,
) -> Path:
    """Write a sound file; its name appears only when it is complete.

    Parameters
    ----------
    path : path ending in .wav, .flac, .ogg (Vorbis), .opus or .mp3
    samples : array, shape (frames,) or (frames, channels); full scale is 1
    rate_hz : int, Hz
    subtype : str; soundfile's name of the coding, PCM_24 for WAV and FLAC if not given
    constant : bool; .mp3 and .wav only: clips of one length take the same bytes, whatever they sound like
    replace : bool; whether a file that is there may be replaced

    Returns
    -------
    Path; the file written

    Raises
    ------
    BadInput
        unknown suffix, samples beyond full scale in a format that would cut them, NaN, no folder, disk full,
        a file of that name without ``replace``

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     write_sound(Path(folder) / "rest.flac", np.zeros(48000), rate_hz=48000).name
    'rest.flac'
    """
    path = Path(path)
    if path.suffix.lower() not in BY_SUFFIX:
        raise BadInput(str(path), f"suffix {path.suffix!r}", "one of " + ", ".join(BY_SUFFIX))
    container, usual = BY_SUFFIX[path.suffix.lower()]
    sound = _checked(samples, subtype or usual, name=path.name)
    with staged(path, replace=replace) as (part,):
        assert part is not None
        try:
            with part.open("wb") as file:
                _encode(file, sound, rate_hz, container, subtype or usual, name=path.name, constant=constant)
        except OSError as error:
            got = error.strerror or "a write error"
            raise BadInput(str(path), got, "room on the disk and permission to write") from None
    return path


def clip_bytes(
    samples: ArrayLike, *, rate_hz: int, format: str = "ogg", constant: bool = False
) -> EncodedClip:
    """Encode a short clip in memory, for sound inside a page.

    Opus knows only 8, 12, 16, 24 and 48 kHz, MP3 is written at 16, 22.05, 24, 32, 44.1 and 48 kHz; another rate is
    resampled to the next of these.

    Parameters
    ----------
    samples : array, shape (frames,) or (frames, channels)
    rate_hz : int, Hz
    format : ``ogg`` (Vorbis), ``opus``, ``flac`` (16 bit), ``mp3`` or ``wav`` (16 bit)
    constant : bool; ``mp3`` and ``wav`` only: clips of one length take the same bytes, whatever they sound like

    Returns
    -------
    EncodedClip; ``data`` and ``mime``

    Examples
    --------
    >>> clip_bytes(np.zeros(4410), rate_hz=44100, format="flac").mime
    'audio/flac'
    """
    if format not in CLIP_FORMS:
        raise BadInput("format", repr(format), "one of " + ", ".join(CLIP_FORMS))
    container, subtype, mime = CLIP_FORMS[format]
    sound = _checked(samples, subtype, name="clip")
    rates_hz = RATES_HZ.get(subtype, (rate_hz,))
    if rate_hz not in rates_hz:
        target_hz = next((r for r in rates_hz if r > rate_hz), rates_hz[-1])
        sound, rate_hz = _resampled(sound, rate_hz, target_hz), target_hz
    room = io.BytesIO()
    _encode(room, sound, rate_hz, container, subtype, name="clip", constant=constant)
    return EncodedClip(room.getvalue(), mime)


def _resampled(sound: Samples, rate_hz: int, target_hz: int) -> Samples:
    from math import gcd

    from scipy.signal import resample_poly

    common = gcd(rate_hz, target_hz)
    up, down = target_hz // common, rate_hz // common
    return np.asarray(resample_poly(sound, up, down, axis=0, window=("kaiser", 9.0)), np.float32)


def _checked(samples: ArrayLike, subtype: str, *, name: str) -> Samples:
    sound = np.asarray(samples, np.float32)
    sound = sound[:, None] if sound.ndim == 1 else sound
    if sound.ndim != 2 or not sound.size:
        raise BadInput(name, f"samples of shape {np.shape(samples)}", "shape (frames,) or (frames, channels)")
    if not np.isfinite(sound).all():
        raise BadInput(name, "samples that are no numbers (NaN or infinite)", "numbers throughout")
    peak = float(np.abs(sound).max())
    if peak > 1.0 and subtype not in UNBOUNDED:
        raise BadInput(
            name, f"a peak of {peak:.3g}", "samples from -1 to 1", "Scale it down, or write FLOAT."
        )
    return sound


class _Watched:
    """A file that remembers its first failed write: the encoder's C code can't pass an exception on."""

    def __init__(self, file: BinaryIO) -> None:
        self.error: OSError | None = None
        self._file = file
        self.seek, self.tell = file.seek, file.tell

    def write(self, data: bytes) -> int:
        if self.error is None:
            try:
                return self._file.write(data)
            except OSError as error:
                self.error = error
        return 0


def _encode(
    file: BinaryIO, sound: Samples, rate_hz: int, container: str, subtype: str, *, name: str, constant: bool
) -> None:
    """Encode in pieces: one very long write overruns the encoders of lossy formats."""
    watched = _Watched(file)
    if constant and container not in ("MP3", "WAV"):
        raise BadInput(
            name, f"{container} of constant size", "MP3 or WAV", "Others take as much as the sound needs."
        )
    form: dict[str, Any] = {
        "samplerate": rate_hz,
        "channels": sound.shape[1],
        "format": container,
        "subtype": subtype,
    }
    if constant and container == "MP3":
        form |= {"bitrate_mode": "CONSTANT", "compression_level": CONSTANT_LEVEL}
    try:
        with soundfile.SoundFile(watched, "w", **form) as out:
            for start in range(0, len(sound), WRITE_FRAMES):
                out.write(sound[start : start + WRITE_FRAMES])
    except (soundfile.LibsndfileError, RuntimeError, TypeError, ValueError, AssertionError) as error:
        if watched.error is None:
            got = f"{rate_hz} Hz, {sound.shape[1]} channel(s), {container} {subtype}"
            raise BadInput(name, got, "a form this format can hold", str(error)) from None
    if watched.error is not None:
        raise watched.error


def write_blocks(
    path: str | Path, blocks: Iterable[NDArray[np.int32]], *, rate_hz: int, channels: int, bits: int = 24
) -> Path:
    """Write a FLAC or WAV file from blocks of whole-number samples, bit for bit; memory stays the same however long it is.

    Parameters
    ----------
    path : path ending in .flac or .wav
    blocks : arrays of int32, shape (frames, channels), of ``bits`` bits: 24 bits run from -2^23 to 2^23 - 1
    rate_hz : int, Hz
    channels : int
    bits : 16 or 24

    Returns
    -------
    Path; the file written

    Raises
    ------
    BadInput
        another suffix or resolution, a block of another form, no frame at all, a place that can't be written

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     block = np.zeros((480, 1), dtype=np.int32)
    ...     write_blocks(Path(folder) / "rest.flac", [block, block], rate_hz=48000, channels=1).name
    'rest.flac'
    """
    path = Path(path)
    form = {".flac": "FLAC", ".wav": "WAV"}.get(path.suffix.lower())
    if form is None or bits not in CODINGS:
        raise BadInput(path.name, f"{path.suffix!r} with {bits} bits", ".flac or .wav with 16 or 24 bits")
    frames = 0
    with staged(path) as (part,):
        try:
            with soundfile.SoundFile(part, "w", rate_hz, channels, CODINGS[bits], format=form) as file:
                for block in blocks:
                    frames += len(block)
                    if block.ndim != 2 or block.shape[1] != channels:
                        raise BadInput(path.name, f"a block of shape {block.shape}", f"(frames, {channels})")
                    file.write(np.left_shift(block.astype(np.int32, copy=False), 32 - bits))
        except (soundfile.LibsndfileError, OSError) as error:
            raise BadInput(
                str(path), "a sound that can't be written", "room on the disk", str(error)
            ) from None
        if not frames:
            raise BadInput(path.name, "0 s of sound", "a recording", "Was it stopped at once?")
    return path
