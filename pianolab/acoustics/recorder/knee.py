"""Did the recorder round off what is loud? A soft limiter, heard by the tones it adds.

A stage that bends its input, y = x - a x³, adds to a note the tones at twice one partial's frequency plus or minus
another's and at three times a partial's. A stiff string has no partial there: its own lie higher, so between the
partials there should be nothing that moves with the cube of the sound. Here the spectrum at those places is held against
the spectrum of the cubed sound: behind such a stage both are alike in every bin, phase included, and opposite in sign.
What a string or a board does beside comes from elsewhere than this microphone's sound, and a room between turns its
phases. The ratio of the two is the bend ``a`` itself, for samples as recorded.

How far a sound is squeezed follows: by about ``a`` times the square of its peak. Pitch, inharmonicity and unisons move by
far less than is stated of them (own measurement on three kinds of piano); the time to fall 20 dB becomes too long.

Limits: needs notes between keys 45 and 80, where the stiffness is large enough; a limiter that follows the level slowly
is automatic gain (`gain`); one that cuts off flat is clipping (`quality`), and rarely leaves this sign. Source: the
cubic term of a power series; practice.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pianolab.acoustics.keys.compass import usual_inharmonicity
from pianolab.acoustics.limits import limits
from pianolab.acoustics.spectra import Samples, fast_size
from pianolab.acoustics.strings.partials import series_from_first_hz
from pianolab.units import FloatArray

BEGIN_S, LENGTH_S = 0.05, 0.25
"""After the knock, which has everything in it, and while the note is loud."""
LOWEST_KEY, HIGHEST_KEY = 45, 80
MOST_NOTES = 40
KAISER = 12.0
HALF_WIDTH = 4.2
"""Half the width of a line under that window, in bins of 1 / `LENGTH_S`."""
CLEAR_OF_PARTIALS = 1.3
LINES = 4
"""Partials whose products are looked for."""
HIGHEST_HZ = 9000.0
PEAK_S = 0.3


@dataclass(frozen=True, kw_only=True)
class Knee:
    """How alike the sound between the partials and the cubed sound are (1: the same with opposite sign; 0: nothing in
    common), the bend per squared full scale, and over how many notes; NaN where too few could be looked at."""

    alike: float
    bend: float
    notes: int

    @property
    def heard(self) -> bool:
        """Whether the recorder rounded off what is loud."""
        lim = limits()["knee"]
        return bool(self.notes >= lim["least_notes"] and self.alike > lim["alike"])

    def squeezed(self, peak: FloatArray) -> FloatArray:
        """Share by which a sound of that peak (full scale 1) is squeezed; 0 where nothing is heard."""
        return np.asarray((self.bend if self.heard else 0.0) * np.square(peak))


def hear_knee(
    channels: Samples,
    *,
    rate_hz: int,
    key: NDArray[np.int64],
    onset_s: FloatArray,
    hold_s: FloatArray,
    f1_hz: FloatArray,
    inharmonicity: FloatArray,
) -> Knee:
    """Whether a soft limiter bent the sound.

    Parameters
    ----------
    channels : shape (channels, frames)
    key, onset_s, hold_s, f1_hz, inharmonicity : shape (notes,); B is the usual one where NaN

    Returns
    -------
    Knee

    Examples
    --------
    >>> t, b, f1 = np.arange(40_000) / 16_000, 0.002, 900.0
    >>> tone = sum(0.4 / n * np.sin(2 * np.pi * n * f1 * np.sqrt((1 + b * n**2) / (1 + b)) * t) for n in range(1, 6))
    >>> notes = {"key": np.arange(61, 67), "onset_s": np.arange(6) / 3, "hold_s": np.full(6, 0.33),
    ...          "f1_hz": np.full(6, f1), "inharmonicity": np.full(6, b)}
    >>> plain = hear_knee(tone[None].astype(np.float32), rate_hz=16_000, **notes)
    >>> bent = hear_knee(np.tanh(tone)[None].astype(np.float32), rate_hz=16_000, **notes)
    >>> plain.heard, bent.heard, bool(0.2 < bent.bend < 0.6)
    (False, True, True)
    """
    b = np.where(np.isnan(inharmonicity), usual_inharmonicity(key), inharmonicity)
    usable = np.flatnonzero(
        (key >= LOWEST_KEY) & (key <= HIGHEST_KEY) & (hold_s >= BEGIN_S + LENGTH_S) & ~np.isnan(f1_hz)
    )
    chosen = usable[np.unique(np.linspace(0, len(usable) - 1, min(MOST_NOTES, len(usable))).astype(int))]
    found = [
        told
        for i in chosen
        for channel in channels
        if (told := _of_a_note(channel, rate_hz, float(onset_s[i]), float(f1_hz[i]), float(b[i])))
    ]
    if not found:
        return Knee(alike=np.nan, bend=np.nan, notes=0)
    alike, bend = np.array(found).T
    return Knee(
        alike=float(np.median(alike)),
        bend=float(np.median(bend[alike >= np.median(alike)])),
        notes=len(found) // len(channels),
    )


def _of_a_note(
    channel: NDArray[np.float32], rate_hz: int, onset_s: float, f1_hz: float, b: float
) -> tuple[float, float] | None:
    """How alike, with the sign turned, and the bend, of one note in one channel; None where the partials hide it."""
    begin, size = round((onset_s + BEGIN_S) * rate_hz), round(LENGTH_S * rate_hz)
    piece = channel[begin : begin + size].astype(float)
    if len(piece) < size or not piece.any():
        return None
    window = np.kaiser(size, KAISER)
    padded = fast_size(2 * size)
    free = _product_bins(np.arange(padded // 2 + 1) * rate_hz / padded, f1_hz, b, rate_hz=rate_hz)
    if not free.any():
        return None
    heard, cubed = (np.fft.rfft(wave * window, padded)[free] for wave in (piece, piece**3))
    shared = float(np.vdot(cubed, heard).real)
    heard_power, cubed_power = (float(np.vdot(v, v).real) for v in (heard, cubed))
    if heard_power <= 0.0 or cubed_power <= 0.0:
        return None
    return -shared / float(np.sqrt(heard_power * cubed_power)), -shared / cubed_power


def _product_bins(hz: FloatArray, f1_hz: float, b: float, *, rate_hz: int) -> NDArray[np.bool_]:
    """Bins about the tones that a bend adds, clear of the string's own partials."""
    f_hz = series_from_first_hz(f1_hz, b, 60)
    low = f_hz[:LINES]
    lines = np.unique((2.0 * low[:, None] + low[None, :]).ravel())
    lines = lines[lines < min(HIGHEST_HZ, 0.45 * rate_hz)]
    half = HALF_WIDTH / LENGTH_S
    own = np.abs(lines[:, None] - f_hz[None, :]).min(axis=1) > CLEAR_OF_PARTIALS * half
    if not own.any():
        return np.zeros(len(hz), dtype=bool)
    at_line = np.abs(hz[:, None] - lines[own][None, :]).min(axis=1) < half
    clear = np.abs(hz[:, None] - f_hz[None, :]).min(axis=1) > CLEAR_OF_PARTIALS * half
    return np.asarray(at_line & clear)


def peaks(channels: Samples, *, rate_hz: int, onset_s: FloatArray) -> FloatArray:
    """Each note's highest sample within `PEAK_S` of its blow, shape (notes,), full scale 1."""
    size = round(PEAK_S * rate_hz)
    begins = np.maximum(np.round(onset_s * rate_hz).astype(int), 0)
    return np.array(
        [
            float(np.abs(piece).max()) if piece.size else 0.0
            for piece in (channels[:, b : b + size] for b in begins)
        ]
    )
