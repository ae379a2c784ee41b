"""Did the recorder's speed wander? One movement of all partials at once, which no string makes.

Each partial of a note is followed through its hold: a steady speed leaves each at its own frequency, beats and
coupling move each in its own way, and a speed that sways moves all of them by the same number of cents. What all notes
do alike (strings struck hard start a little sharp) is the piano's and is taken out; what is left in common to the
partials of one note is the recorder's.

Limits: needs two strong partials between 150 and 2500 Hz that last for half a second; sways faster than some 4 Hz are
flutter and are not followed; a sway under half a cent is not told. Source: practice.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pianolab.acoustics.limits import limits
from pianolab.acoustics.spectra import Samples
from pianolab.units import CENTS_PER_NEPER, FloatArray

BEGIN_S, LONGEST_S, STEP_S = 0.15, 1.4, 0.08
HOPS = 4
"""Hops in a step: over a whole one a line above 1 kHz may have turned more than half a turn too much."""
LOWEST_HZ, HIGHEST_HZ = 150.0, 2500.0
MOST_NOTES, MOST_PARTIALS, LEAST_STEPS = 24, 6, 5
STRAY_CENTS = 30.0
"""A partial that seems to move by so much from one step to the next has lost its line to noise or to a beat."""


@dataclass(frozen=True, kw_only=True)
class Wander:
    """How far all partials of a note move together, cents (root mean square), and how alike (correlation).

    Over ``notes`` notes; NaN where fewer than a handful can be followed.
    """

    together_cents: float
    alike: float
    notes: int

    @property
    def heard(self) -> bool:
        """Whether the speed wandered far enough to spoil pitches."""
        lim = limits()["wander"]
        return bool(
            self.notes >= lim["least_notes"]
            and self.together_cents > lim["together_cents"]
            and self.alike > lim["alike"]
        )


def hear_wander(
    channels: Samples,
    *,
    rate_hz: int,
    onset_s: FloatArray,
    hold_s: FloatArray,
    partial_hz: FloatArray,
) -> Wander:
    """How much the partials of each note move together.

    Parameters
    ----------
    channels : shape (channels, frames)
    onset_s, hold_s : shape (notes,), s; how long the key was held at least
    partial_hz : shape (notes, partials), Hz; NaN where not heard

    Returns
    -------
    Wander
    """
    usable = np.flatnonzero((hold_s >= BEGIN_S + (LEAST_STEPS + 1) * STEP_S) & (onset_s > 0))
    chosen = usable[np.unique(np.linspace(0, len(usable) - 1, min(MOST_NOTES, len(usable))).astype(int))]
    tracks = [
        _movements(channels, rate_hz, float(onset_s[i]), float(hold_s[i]), partial_hz[i]) for i in chosen
    ]
    tracks = [t for t in tracks if len(t) >= 2]
    if len(tracks) < limits()["wander"]["least_notes"]:
        return Wander(together_cents=np.nan, alike=np.nan, notes=len(tracks))
    usual = _usual(tracks)
    together, own = zip(*(_shared(t - usual[: t.shape[1]]) for t in tracks), strict=True)
    shared, total = float(np.median(together)), float(np.median(own))
    return Wander(
        together_cents=float(np.sqrt(max(shared, 0.0))), alike=shared / max(total, 1e-9), notes=len(tracks)
    )


def _movements(
    channels: Samples, rate_hz: int, onset_s: float, hold_s: float, partial_hz: FloatArray
) -> FloatArray:
    """Each strong partial's frequency over the hold, cents about its own mean, shape (partials, steps)."""
    begin = int((onset_s + BEGIN_S) * rate_hz)
    step = round(STEP_S * rate_hz)
    steps = int((min(hold_s, BEGIN_S + LONGEST_S) - BEGIN_S) / STEP_S)
    piece = channels[:, begin : begin + steps * step]
    steps = piece.shape[1] // step
    f_hz = partial_hz[(partial_hz > LOWEST_HZ) & (partial_hz < min(HIGHEST_HZ, 0.4 * rate_hz))]
    if steps < LEAST_STEPS or len(f_hz) < 2:
        return np.zeros((0, 0))
    turned = np.array([_slow(piece, rate_hz, float(f), step) for f in f_hz])
    strength = np.abs(turned).mean(axis=-1).max(axis=1)
    strongest = np.argsort(-strength)[:MOST_PARTIALS]
    turned, f_hz = turned[strongest], f_hz[strongest]
    # Channels agree on the speed: the products of neighbouring hops can be added up.
    turn = np.angle(np.sum(turned[:, :, 1:] * turned[:, :, :-1].conj(), axis=1))
    cents = CENTS_PER_NEPER * turn / (2.0 * np.pi * (STEP_S / HOPS) * f_hz[:, None])
    count = cents.shape[1] // HOPS
    cents = cents[:, : count * HOPS].reshape(len(cents), count, HOPS).mean(axis=2)
    cents -= np.median(cents, axis=1, keepdims=True)
    steady = np.abs(cents).max(axis=1) < STRAY_CENTS
    return np.asarray(cents[steady] - cents[steady].mean(axis=1, keepdims=True))


def _slow(piece: Samples, rate_hz: int, f_hz: float, step: int) -> NDArray[np.complex128]:
    """One partial turned down to rest, a mean over a step at every hop and channel, shape (channels, hops)."""
    hop = step // HOPS
    windows = np.lib.stride_tricks.sliding_window_view(piece, step, axis=1)[:, ::hop]
    turning = np.exp(-2j * np.pi * f_hz / rate_hz * np.arange(step)) * np.hanning(step)
    moved = np.exp(-2j * np.pi * f_hz / rate_hz * hop * np.arange(windows.shape[1]))
    return np.asarray((windows @ turning.astype(np.complex64)) * moved)


def _usual(tracks: list[FloatArray]) -> FloatArray:
    """What most notes do at the same time after their blow, cents per step."""
    longest = max(t.shape[1] for t in tracks)
    middle = np.full((len(tracks), longest), np.nan)
    for row, track in zip(middle, tracks, strict=True):
        row[: track.shape[1]] = np.median(track, axis=0)
    return np.asarray(np.nanmedian(middle, axis=0))


def _shared(track: FloatArray) -> tuple[float, float]:
    """Mean covariance of pairs of partials, and their mean variance, cents²."""
    table = track @ track.T / track.shape[1]
    count = len(table)
    own = float(np.trace(table)) / count
    return float(table.sum() - np.trace(table)) / (count * (count - 1)), own
