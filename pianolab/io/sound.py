"""A sound as recorded, and what a sound file says about itself."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pianolab.errors import BadInput
from pianolab.show import Row, Showable

Samples = NDArray[np.float32]

LOWEST_RATE_HZ, HIGHEST_RATE_HZ = 16_000, 192_000


def say_duration(seconds: float) -> str:
    """A length of time as a reader says it.

    Examples
    --------
    >>> say_duration(3.25), say_duration(250), say_duration(7800)
    ('3.25 s', '4 min 10 s', '2 h 10 min')
    """
    if seconds < 60.0:
        return f"{seconds:.3g} s"
    minutes = seconds / 60.0
    if minutes < 60.0:
        return f"{int(minutes)} min {int(seconds % 60)} s"
    return f"{int(minutes // 60)} h {int(minutes % 60)} min"


def say_channels(channels: int) -> str:
    """Channels in words.

    Examples
    --------
    >>> say_channels(1), say_channels(2), say_channels(4)
    ('mono', 'stereo', '4 channels')
    """
    return {1: "mono", 2: "stereo"}.get(channels, f"{channels} channels")


@dataclass(frozen=True, kw_only=True, repr=False)
class SoundInfo(Showable):
    """What a sound file says about itself; ``frames`` is None where only reading it all would tell.

    ``bits`` is the resolution in words (``16 bit``, ``32 bit float``, ``coded`` for lossy codecs),
    ``lossy`` whether the codec leaves something out.
    """

    name: str
    rate_hz: int
    channels: int
    frames: int | None
    bits: str
    lossy: bool
    codec: str

    @property
    def seconds(self) -> float | None:
        return None if self.frames is None else self.frames / self.rate_hz

    def headline(self) -> str:
        length = "unknown length" if self.seconds is None else say_duration(self.seconds)
        return (
            f"{self.name}: {length}, {self.rate_hz / 1000:g} kHz, {say_channels(self.channels)}, {self.codec}"
        )

    def rows(self) -> list[Row]:
        return _rows(self.seconds, self.rate_hz, self.channels, self.codec, self.bits, self.lossy)


@dataclass(frozen=True, repr=False, eq=False)
class Sound(Showable):
    """A sound as recorded: not resampled, not mixed, not normalised.

    Parameters
    ----------
    samples : float32 array, shape (frames, channels); full scale is 1
    rate_hz : int, Hz
    name : str; the file it came from
    bits : str; resolution of the file in words
    lossy : bool; whether the file's codec leaves something out
    codec : str

    Examples
    --------
    >>> Sound(np.zeros((48000, 2), np.float32), 48000, name="rest.wav")
    <Sound rest.wav: 1 s, 48 kHz, stereo, PCM>
    """

    samples: Samples
    rate_hz: int
    name: str = ""
    bits: str = "32 bit float"
    lossy: bool = False
    codec: str = "PCM"

    def __post_init__(self) -> None:
        if self.samples.ndim != 2 or self.samples.shape[1] < 1:
            raise BadInput("samples", f"shape {self.samples.shape}", "shape (frames, channels)")

    @property
    def seconds(self) -> float:
        return len(self.samples) / self.rate_hz

    @property
    def channels(self) -> int:
        return int(self.samples.shape[1])

    def headline(self) -> str:
        form = f"{self.rate_hz / 1000:g} kHz, {say_channels(self.channels)}, {self.codec}"
        return f"{self.name}: {say_duration(self.seconds)}, {form}"

    def rows(self) -> list[Row]:
        return _rows(self.seconds, self.rate_hz, self.channels, self.codec, self.bits, self.lossy)


def _rows(
    seconds: float | None, rate_hz: int, channels: int, codec: str, bits: str, lossy: bool
) -> list[Row]:
    return [
        ("length", seconds, "s", "" if seconds is not None else "only reading it all would tell"),
        ("rate", rate_hz, "Hz", ""),
        ("channels", channels, "", ""),
        ("codec", codec, "", "lossy" if lossy else "lossless"),
        ("resolution", bits, "", ""),
    ]


def check_form(name: str, *, rate_hz: int, channels: int) -> None:
    """`BadInput` where the rate can't carry the sound of a piano."""
    if rate_hz < LOWEST_RATE_HZ:
        raise BadInput(
            name,
            f"a rate of {rate_hz / 1000:g} kHz, telephone quality or less",
            "16 kHz or more",
            "Set the recorder to music or high quality and record again.",
        )
    if rate_hz > HIGHEST_RATE_HZ:
        raise BadInput(
            name, f"a rate of {rate_hz / 1000:g} kHz", "192 kHz or less", "Is it a damaged header?"
        )
    if channels < 1:
        raise BadInput(name, "a sound without channels", "one channel or more", "Is the file damaged?")
