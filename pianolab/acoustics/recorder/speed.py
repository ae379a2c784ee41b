"""Whether a recording runs at its right speed.

That shows only where the pitch is known from elsewhere, because a piano may stand at any pitch. Source: practice.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pianolab.acoustics.limits import limits

USUAL_SPEEDS = {
    "a file of 48 kHz read as one of 44.1 kHz": 44100 / 48000,
    "a file of 44.1 kHz read as one of 48 kHz": 48000 / 44100,
}


def playback_speed(offset_cents: float, *, expected_offset_cents: float) -> tuple[float, str]:
    """How far a recording's speed is off in cents, with a likely cause; ``right`` within some cents.

    Readings of the keys that slipped by a semitone or two because of the speed are allowed for.

    Parameters
    ----------
    offset_cents : pitch of the piano against A4 in the recording
    expected_offset_cents : the same as known from elsewhere, such as a tuning device or a fork beside it

    Examples
    --------
    >>> playback_speed(-12.0, expected_offset_cents=-11.0)[1]
    'right'
    >>> off_cents, likely = playback_speed(-47.0, expected_offset_cents=0.0)
    >>> round(off_cents), likely
    (-147, 'a file of 48 kHz read as one of 44.1 kHz')
    """
    off = offset_cents - expected_offset_cents
    near = limits()["recorder"]["speed_cents"]
    if abs(off) <= near:
        return off, "right"
    for cause, ratio in USUAL_SPEEDS.items():
        cents = 1200.0 * float(np.log2(ratio))
        if any(abs(off + slip - cents) <= near for slip in (0.0, -100.0, 100.0, -200.0, 200.0)):
            return cents, cause
    return off, ""


def tone_offset_cents(samples: NDArray[np.floating], *, rate_hz: int, tone_hz: float) -> float:
    """How far a reference tone (a tuning fork, a signal of a tuning device) lies off in the recording, in cents.

    Parameters
    ----------
    samples : shape (frames,), the stretch in which the tone sounds, 1 s or more
    tone_hz : what it is

    Returns
    -------
    float; within a tenth of a cent for a clean tone; the strongest line within a whole tone is taken

    Examples
    --------
    >>> wave = np.sin(2 * np.pi * 441.0 * np.arange(44100) / 44100)
    >>> round(tone_offset_cents(wave, rate_hz=44100, tone_hz=440.0), 2)
    3.93
    """
    wave = np.asarray(samples, dtype=float)
    size = 8 * len(wave)
    power_db = 20.0 * np.log10(np.abs(np.fft.rfft(wave * np.hanning(len(wave)), n=size)) + 1e-12)
    low, high = (int(tone_hz * 2 ** (s / 6) * size / rate_hz) for s in (-1, 1))
    i = low + int(np.argmax(power_db[low:high]))
    a, b, c = power_db[i - 1 : i + 2]
    peak_hz = (i + 0.5 * (a - c) / (a - 2 * b + c)) * rate_hz / size
    return float(1200.0 * np.log2(peak_hz / tone_hz))
