"""A scale of ideal tones: one string per key, exact stiff series, exponential partials, white noise, no room.

What any method meets at best; the errors here are those of the method and the noise, not of the piano.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from benchmarks.bounds import first_partial_sd_cents, frequency_sd_hz

RATE_HZ, HOLD_S, GAP_S, LEAD_S = 44100, 2.0, 0.5, 0.7
MOST_PARTIALS = 24
DAMPED_PER_S = 25.0
TOP_HZ = 15000.0


@dataclass(frozen=True, kw_only=True)
class IdealScale:
    """Samples, and per key the true first partial and the least sd of its pitch in cents."""

    samples: NDArray[np.float32]
    rate_hz: int
    truth: pd.DataFrame


def ideal_scale(seed: int, *, snr_db: float, keys: tuple[int, int] = (1, 88)) -> IdealScale:
    """All keys one after another in white noise.

    Parameters
    ----------
    seed : draws pitch (2 cents), phases and noise
    snr_db : power of the strongest note at its blow over that of the noise in the whole band

    Examples
    --------
    >>> scale = ideal_scale(1, snr_db=40.0, keys=(49, 51))
    >>> list(scale.truth["key"]), bool((scale.truth["bound_cents"] > 0).all())
    ([49, 50, 51], True)
    """
    rng = np.random.default_rng([seed, round(snr_db)])
    count = keys[1] - keys[0] + 1
    step = HOLD_S + GAP_S
    sound = np.zeros(round((LEAD_S + count * step + 1.0) * RATE_HZ))
    noise_sd = float(np.sqrt(0.5) * 10 ** (-snr_db / 20))
    rows = []
    for place, key in enumerate(range(keys[0], keys[1] + 1)):
        onset_s = LEAD_S + place * step
        f_hz, b, amplitude, decay = _tone(key, rng)
        start = round(onset_s * RATE_HZ)
        note = _render(f_hz, amplitude, decay, rng)
        sound[start : start + note.size] += note
        sd_hz = frequency_sd_hz(amplitude, decay, noise_sd=noise_sd, rate_hz=RATE_HZ, seconds=HOLD_S)
        rows.append(
            {
                "key": key,
                "onset_s": onset_s,
                "f1_hz": f_hz[0],
                "bound_cents": first_partial_sd_cents(f_hz, b, sd_hz),
            }
        )
    sound += noise_sd * rng.standard_normal(sound.size)
    return IdealScale(
        samples=(0.5 * sound / np.abs(sound).max()).astype(np.float32),
        rate_hz=RATE_HZ,
        truth=pd.DataFrame(rows),
    )


def _tone(key: int, rng: np.random.Generator) -> tuple[np.ndarray, float, np.ndarray, np.ndarray]:
    """Partials of one key: frequencies, B, amplitudes (power together 1/2) and decays."""
    b = float(np.exp(0.0926 * (key + 20) - 13.64) + np.exp(-0.0847 * (key + 20) - 5.82))
    f1_hz = 440.0 * 2 ** ((key - 49) / 12 + rng.normal(0.0, 2.0) / 1200)
    n = np.arange(1, MOST_PARTIALS + 1)
    f_hz = n * f1_hz * np.sqrt((1 + b * n**2) / (1 + b))
    f_hz = f_hz[f_hz < TOP_HZ]
    n = n[: len(f_hz)]
    amplitude = n**-1.2 * np.exp(-f_hz / 6000.0)
    amplitude /= np.sqrt(np.sum(amplitude**2))
    decay = 0.29 * (f1_hz / 27.5) ** 0.55 * (1 + 0.12 * (n - 1))
    return f_hz, b, amplitude, decay


def _render(
    f_hz: np.ndarray, amplitude: np.ndarray, decay: np.ndarray, rng: np.random.Generator
) -> np.ndarray:
    t = np.arange(round((HOLD_S + 0.45) * RATE_HZ)) / RATE_HZ
    note = np.zeros(t.size)
    for f, a, d in zip(f_hz, amplitude, decay, strict=True):
        note += a * np.exp(-d * t) * np.sin(2 * np.pi * f * t + rng.uniform(0, 2 * np.pi))
    note *= np.minimum(1.0, t / 0.002)
    return note * np.exp(-DAMPED_PER_S * np.maximum(0.0, t - HOLD_S))
