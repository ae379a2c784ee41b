"""What the short measures share: enough of a sound, and its power over time."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pianolab.acoustics.spectra import Samples, as_channels
from pianolab.errors import BadInput
from pianolab.units import FloatArray

LEAST_S = 1.0


def enough_sound(
    samples: NDArray[np.floating], *, rate_hz: int, what: str, need: str, hint: str = ""
) -> Samples:
    """The sound as channels, shape (channels, frames); `BadInput` where it is shorter than a second."""
    channels = as_channels(samples)
    if channels.shape[1] < LEAST_S * rate_hz:
        raise BadInput(what, f"{channels.shape[1] / rate_hz:.1f} s of sound", need, hint)
    return channels


def power_in_hops(channels: Samples, hop: int) -> FloatArray:
    """Power of all channels together in hops of so many frames, shape (hops,)."""
    count = channels.shape[1] // hop
    whole = channels[:, : count * hop].astype(float)
    return np.asarray((whole**2).sum(axis=0).reshape(count, hop).mean(axis=1))
