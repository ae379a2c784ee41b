"""Sounds of a piano that aren't tones: blow of the key and hammer, thump of the release, a rattle."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import signal

Floats = NDArray[np.float64]


def knock(
    modes_hz: Floats,
    rng: np.random.Generator,
    rate_hz: int,
    *,
    low_hz: float,
    high_hz: float,
    level_db: float,
) -> Floats:
    """A short wooden noise: board modes between two frequencies, each dying within some tens of ms.

    ``level_db`` is the power of its first 30 ms, in dB re 1.
    """
    f = modes_hz[(modes_hz > low_hz) & (modes_hz < high_hz)]
    f = rng.choice(f, min(25, f.size), replace=False)
    t = np.arange(int(0.25 * rate_hz)) / rate_hz
    rate = 18.0 + 0.12 * f * rng.uniform(0.5, 1.2, f.size)
    weight = rng.standard_normal(f.size) / np.sqrt(1 + (f / 500.0) ** 2)
    tone = np.exp(-np.outer(rate, t)) * np.sin(
        2 * np.pi * np.outer(f, t) + rng.uniform(0, 2 * np.pi, f.size)[:, None]
    )
    sound = (weight @ tone) * np.minimum(1.0, t / 0.0015)
    first = np.mean(sound[: int(0.03 * rate_hz)] ** 2)
    return sound * 10 ** (level_db / 20) / np.sqrt(first)


def buzzing(tone: Floats, level_db: float, rng: np.random.Generator, rate_hz: int) -> Floats:
    """Bursts of noise whenever the tone swings far enough, ``level_db`` against the tone's first half second."""
    envelope = np.abs(signal.hilbert(tone))
    width = int(0.02 * rate_hz)
    smooth = np.convolve(envelope, np.ones(width) / width, "same")
    swing = np.maximum(tone / (smooth + 1e-12) - 0.9, 0.0) * np.maximum(smooth - 0.05 * smooth.max(), 0.0)
    band = signal.butter(2, [1200, 7000], "bandpass", fs=rate_hz, output="sos")
    sound = signal.sosfilt(band, rng.standard_normal(tone.size) * swing)
    half = slice(0, rate_hz // 2)
    return sound * 10 ** (level_db / 20) * np.sqrt(np.mean(tone[half] ** 2) / np.mean(sound[half] ** 2))
