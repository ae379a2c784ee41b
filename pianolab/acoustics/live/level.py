"""Before anything is played: is one loud chord neither cut off nor too soft, and is the silent room quiet enough?

The chord is the loudest thing the microphone will hear, so what fits it fits every key. The silence says how deep a note
can be followed as it fades. What would spoil every key is found here, in a quarter of a minute, and not after a scale.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from pianolab.acoustics.limits import limits
from pianolab.acoustics.recorder.background import find_hum
from pianolab.acoustics.recorder.clipping import clipped_share
from pianolab.acoustics.spectra import as_channels

Verdict = Literal[
    "good",
    "clipped",
    "near the top",
    "soft",
    "too soft",
    "nothing heard",
    "noisy",
    "too noisy",
    "muted pauses",
    "hum",
]
SMALLEST = 1e-9


@dataclass(frozen=True)
class LevelCheck:
    """One of the two checks: ``verdict``, the level in dB re full scale, and what was measured beside it.

    ``peak_db`` is the chord's largest sample, NaN of a silence; ``noise_db`` the silence's mean level, NaN of a chord;
    ``over_noise_db`` how far the chord stands over the silence, NaN where the other is not known.
    """

    verdict: Verdict
    peak_db: float = float("nan")
    noise_db: float = float("nan")
    over_noise_db: float = float("nan")

    @property
    def usable(self) -> bool:
        """Whether a scale may be recorded like this."""
        return self.verdict in ("good", "near the top", "soft", "noisy", "hum")


def _db(power: float) -> float:
    return float(10.0 * np.log10(max(power, SMALLEST**2)))


def check_chord(samples: NDArray[np.floating]) -> LevelCheck:
    """Whether the level is right for a loud chord.

    Parameters
    ----------
    samples : shape (frames, channels), full scale 1

    Returns
    -------
    LevelCheck

    Examples
    --------
    >>> wave = np.sin(np.arange(48000) * 0.05)[:, None]
    >>> [check_chord(a * wave).verdict for a in (0.3, 0.9, 0.08, 0.01, 0.0)]
    ['good', 'near the top', 'soft', 'too soft', 'nothing heard']
    >>> check_chord(np.clip(3 * wave, -1, 1)).verdict
    'clipped'
    """
    lim, channels = limits()["live"], as_channels(samples)
    peak = float(np.abs(channels).max(initial=0.0))
    peak_db = _db(peak**2)
    share = clipped_share(channels, begin=0, stop=channels.shape[1])
    low, high = lim["chord_best_db"]
    verdict: Verdict = "good"
    if peak < 1e-4:
        verdict = "nothing heard"
    elif share > limits()["quality"]["clip_share"] or peak >= 0.999:
        verdict = "clipped"
    elif peak_db > high:
        verdict = "near the top"
    elif peak_db < lim["chord_soft_db"]:
        verdict = "too soft"
    elif peak_db < low:
        verdict = "soft"
    return LevelCheck(verdict, peak_db=peak_db)


def check_silence(
    samples: NDArray[np.floating], *, rate_hz: int, chord: LevelCheck | None = None
) -> LevelCheck:
    """Whether the silent room is quiet enough.

    Parameters
    ----------
    samples : shape (frames, channels), some seconds in which nothing was played
    rate_hz : Hz
    chord : the check of the loud chord before it; without it the room is only looked at by itself

    Returns
    -------
    LevelCheck

    Examples
    --------
    >>> noise = np.random.default_rng(1).normal(0, 1, (48000, 1))
    >>> chord = check_chord(0.3 * np.sin(np.arange(48000) * 0.05)[:, None])
    >>> [check_silence(a * noise, rate_hz=48000, chord=chord).verdict for a in (1e-4, 2e-3, 2e-2, 0.0)]
    ['good', 'noisy', 'too noisy', 'muted pauses']
    """
    lim, channels = limits()["live"], as_channels(samples)
    noise_db = _db(float(np.mean(channels.astype(float) ** 2)) if channels.size else 0.0)
    over = float("nan") if chord is None else chord.peak_db - noise_db
    zeros = float(np.mean(~channels.any(axis=0))) if channels.size else 1.0
    verdict: Verdict = "good"
    if zeros > lim["gate_share"]:
        verdict = "muted pauses"
    elif over < lim["noise_least_db"]:
        verdict = "too noisy"
    elif over < lim["noise_good_db"]:
        verdict = "noisy"
    elif channels.shape[1] > 2 * rate_hz and find_hum(channels, rate_hz=rate_hz) is not None:
        verdict = "hum"
    return LevelCheck(verdict, noise_db=noise_db, over_noise_db=over)
