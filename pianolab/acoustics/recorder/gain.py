"""Was the recorder's gain held still? Automatic gain heard in the background and in the notes themselves.

A recorder that rides its gain turns itself down when a key is struck and up again while the note fades. The
background noise goes through the same gain, so where the spectrum holds nothing but noise (far under the first
partial of a treble note, or near the top of a recording that was stored without loss) the noise sinks at the blow
and rises during the hold. Nothing in a room does that: knocks, the room and the note itself all make it louder at
the blow and let it fade. Where a recording has no background to go by, two other signs must agree: the first
60 ms stand too far above what follows (the gain was still up), and notes fall far less than notes usually do.

Limits: a gain that moves by less than about 0.7 dB within a note is not told (it moves the time to fall 20 dB by
some per cent); a slow gain in a recording without any background isn't either, and then the answer is `unknown`.
Codecs that drop noise near loud notes look alike, so holes are left out and the top of lossy files isn't used.
Source: practice.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import fft as sp_fft

from pianolab.acoustics.keys.compass import usual_decay_20_s
from pianolab.acoustics.limits import limits
from pianolab.acoustics.spectra import Samples
from pianolab.units import FloatArray, key_to_hz

MOST_NOTES = 24
LOWEST_HZ = 40.0
UNDER_FIRST_PARTIAL = 0.5
NOTE_FROM_HZ = 400.0
"""First partial from which enough room is left under it."""
TOP_BAND = (0.40, 0.47)
"""Shares of the sampling rate between which only noise is expected half a second after a blow."""
HOLE_DB = -35.0
NO_POWER = 1e-13
LOW_KEYS = (16, 60)
"""Keys whose notes neither fall at once nor sound with the knock alone."""
BEFORE_S, BEFORE_UNTIL_S = 0.14, 0.02
LONGEST_S = 0.35


@dataclass(frozen=True, kw_only=True)
class GainEvidence:
    """What speaks for or against automatic gain.

    ``dip_db``: how the background half a second into a note differs from before the blow; ``rise_db``: how it
    changes during the rest of the hold; ``squeeze_db``: the first 60 ms over what follows; ``fall_share``: how
    much notes fall in a second, over what notes usually fall. Medians over ``notes`` notes, NaN where unknown.
    """

    state: Literal["steady", "automatic", "unknown"]
    dip_db: float = np.nan
    rise_db: float = np.nan
    squeeze_db: float = np.nan
    fall_share: float = np.nan
    notes: int = 0


def hear_gain(
    channels: Samples,
    *,
    rate_hz: int,
    key: NDArray[np.int64],
    onset_s: FloatArray,
    hold_s: FloatArray,
    coded: bool = False,
) -> GainEvidence:
    """Whether the recorder's gain moved with the notes.

    Parameters
    ----------
    channels : shape (channels, frames)
    key, onset_s, hold_s : shape (notes,); when each note began and how long it was held at least
    coded : stored with loss, or cut at the top; then only the background under treble notes is used

    Returns
    -------
    GainEvidence
    """
    lim = limits()["gain"]
    usable = np.flatnonzero((hold_s > 0.8) & (onset_s > BEFORE_S))
    chosen = usable[np.unique(np.linspace(0, len(usable) - 1, min(MOST_NOTES, len(usable))).astype(int))]
    changes = [
        _background_change(
            channels, rate_hz, int(key[i]), float(onset_s[i]), min(float(hold_s[i]), 2.5), coded=coded
        )
        for i in chosen
    ]
    heard = np.array([c for c in changes if c is not None]).reshape(-1, 2)
    if len(heard) >= lim["least_notes"]:
        dip, rise = (float(v) for v in np.median(heard, axis=0))
        told = {"dip_db": dip, "rise_db": rise, "notes": len(heard)}
        together = float(np.mean(heard[:, 1] > 0.5 * lim["rise_db"])) >= lim["least_share"]
        if dip <= -lim["dip_db"] and rise >= lim["rise_db"] and together:
            return GainEvidence(state="automatic", **told)  # type: ignore[arg-type]
        if max(abs(dip), abs(rise)) < lim["steady_db"]:
            return GainEvidence(state="steady", **told)  # type: ignore[arg-type]
    return _by_the_notes(channels, rate_hz, key=key, onset_s=onset_s, hold_s=hold_s)


def _background_change(
    channels: Samples, rate_hz: int, key: int, onset_s: float, hold_s: float, *, coded: bool
) -> tuple[float, float] | None:
    """How the background sank at the blow and rose in the hold, in dB, where it sank most; None where none is."""
    bands = []
    f1_hz = float(key_to_hz(key))
    if f1_hz >= NOTE_FROM_HZ:
        bands.append((LOWEST_HZ, UNDER_FIRST_PARTIAL * f1_hz))
    if not coded:
        bands.append((TOP_BAND[0] * rate_hz, TOP_BAND[1] * rate_hz))
    spans = (
        (onset_s - BEFORE_S, onset_s - BEFORE_UNTIL_S),
        (onset_s + 0.25 * hold_s, onset_s + 0.5 * hold_s),
        (onset_s + 0.7 * hold_s, onset_s + 0.93 * hold_s),
    )
    power = np.array([_band_powers(channels, rate_hz, *span, bands=bands) for span in spans])
    found = []
    for before, early, late in power.T.reshape(-1, 3):
        if min(before, early, late) < NO_POWER:
            continue
        dip, rise = 10.0 * np.log10(early / before), 10.0 * np.log10(late / early)
        if dip > HOLE_DB and rise < -HOLE_DB:
            found.append((float(dip), float(rise)))
    return min(found) if found else None


def _band_powers(
    channels: Samples, rate_hz: int, begin_s: float, stop_s: float, *, bands: list[tuple[float, float]]
) -> list[float]:
    """Mean power per bin of some bands, summed over channels."""
    piece = channels[:, int(begin_s * rate_hz) : int(stop_s * rate_hz)]
    piece = piece[:, : int(LONGEST_S * rate_hz)]
    if piece.shape[1] < 64:
        return [0.0] * len(bands)
    window = np.hanning(piece.shape[1]).astype(np.float32)
    size = int(sp_fft.next_fast_len(piece.shape[1], real=True))
    spectrum = sp_fft.rfft(piece * window, n=size, axis=1)
    out = []
    for low, high in bands:
        own = spectrum[:, round(low * size / rate_hz) : round(high * size / rate_hz)]
        out.append(float(np.sum(own.real**2 + own.imag**2) / own.shape[1] / np.sum(window**2)))
    return out


def _by_the_notes(
    channels: Samples, rate_hz: int, *, key: NDArray[np.int64], onset_s: FloatArray, hold_s: FloatArray
) -> GainEvidence:
    """The answer without a background: the squeezed beginning and the fall that is too small, together."""
    lim = limits()["gain"]
    low = np.flatnonzero((key >= LOW_KEYS[0]) & (key <= LOW_KEYS[1]) & (hold_s > 1.2))[:: 1 + len(key) // 60]
    if len(low) < lim["least_notes"]:
        return GainEvidence(state="unknown", notes=len(low))
    signs = [_signs_of_a_note(channels, rate_hz, int(key[i]), float(onset_s[i])) for i in low]
    squeeze, fall = (float(v) for v in np.median(np.array(signs), axis=0))
    sure = squeeze >= lim["squeeze_db"] and fall <= lim["fall_share"]
    sure = sure and squeeze >= lim["squeeze_over_fall"] * fall
    state: Literal["automatic", "unknown"] = "automatic" if sure else "unknown"
    return GainEvidence(state=state, squeeze_db=squeeze, fall_share=fall, notes=len(low))


def _signs_of_a_note(channels: Samples, rate_hz: int, key: int, onset_s: float) -> tuple[float, float]:
    """The first 60 ms over 0.15 to 0.3 s in dB, and the fall over a second as a share of the usual one."""

    def level_db(begin_s: float, stop_s: float) -> float:
        piece = channels[:, int((onset_s + begin_s) * rate_hz) : int((onset_s + stop_s) * rate_hz)]
        return float(10.0 * np.log10(np.mean(piece.astype(float) ** 2) + 1e-14)) if piece.size else -140.0

    first = max(level_db(t, t + 0.010) for t in np.arange(-0.010, 0.055, 0.005))
    usual_s = float(usual_decay_20_s(key))
    usual_fall = 20.0 * min(1.0 / usual_s, 1.0) + 8.0 * max(1.0 / usual_s - 1.0, 0.0)
    fall = level_db(0.1, 0.2) - level_db(1.1, 1.2)
    return first - level_db(0.15, 0.30), fall / usual_fall
