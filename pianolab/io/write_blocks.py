"""A sound file written block after block, whole or not at all: memory stays the same however long the sound is."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import NDArray

from pianolab.errors import BadInput
from pianolab.files import staged

CODINGS = {16: "PCM_16", 24: "PCM_24"}


def write_blocks(
    path: str | Path, blocks: Iterable[NDArray[np.int32]], *, rate_hz: int, channels: int, bits: int = 24
) -> Path:
    """Write a FLAC or WAV file from blocks of whole-number samples, bit for bit.

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
