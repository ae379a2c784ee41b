"""What the recording itself forbids: clipping, noise, short holds, a low rate or a codec's low-pass."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pianolab.acoustics.spectra import Samples


def clipped_share(channels: Samples, *, begin: int, stop: int) -> float:
    """Share of samples that sit in flat runs at the recording's own ceiling.

    Examples
    --------
    >>> wave = np.clip(3.0 * np.sin(np.arange(4000) * 0.05), -1, 1).astype(np.float32)[None, :]
    >>> clipped_share(wave, begin=0, stop=4000) > 0.3
    True
    >>> clipped_share(0.3 * wave / 3.0, begin=0, stop=10)
    0.0
    """
    part = np.abs(channels[:, begin:stop])
    if part.size == 0:
        return 0.0
    ceiling = float(np.max(np.abs(channels[:, begin:stop])))
    if ceiling < 0.25:
        return 0.0
    top = part >= 0.9995 * ceiling
    runs = top[:, 2:] & top[:, 1:-1] & top[:, :-2]
    return float(runs.mean()) if runs.size else 0.0


def sentences(
    *, rate_hz: int, lossy: bool, noise_db: float, clipped: NDArray[np.int64], hold_s: float, t60_s: float
) -> tuple[str, ...]:
    """What a listener should know about the recording, in words."""
    out = []
    if len(clipped):
        out.append(
            f"{len(clipped)} keys are clipped: level, brightness and the first moments of these are not judged"
        )
    if noise_db > -35.0:
        out.append(
            f"background noise is only {-noise_db:.0f} dB under the notes: decay and buzz are partly hidden"
        )
    if hold_s < 1.0:
        out.append(f"keys were held only about {hold_s:.1f} s: hold each for 2 s or more to judge sustain")
    if rate_hz < 32000:
        out.append(f"the recording's rate of {rate_hz} Hz leaves out what sounds above {rate_hz // 2000} kHz")
    if lossy:
        out.append("the sound was stored with loss: brightness and buzz at the top are less sure")
    if t60_s > 0.9:
        out.append(f"the room rings for {t60_s:.1f} s: it flatters the piano and hides dampers")
    return tuple(out)
