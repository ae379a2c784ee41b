"""All that is wrong with a recording, the most serious first, and what could not be told about it.

Each thing that is heard is an `Impairment`: one sentence for the reader, the columns and the fields of the summary that it
empties, the faults that can't be judged, and for which keys. `forbidding` carries that into the survey's rows, so that
nothing measured through a wrong gain or a cut spectrum stands there as if it were the piano's. What the recorder did stands
in `signal_states`, what was done to the take in `recorder_states`. Whether it runs at its speed shows only where the pitch
is known from elsewhere, because a piano may stand at any pitch. Source: practice.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pianolab.acoustics.limits import limits
from pianolab.acoustics.notes import NoteMeasures
from pianolab.acoustics.recorder.background import find_gaps, find_low_pass
from pianolab.acoustics.recorder.gain import GainEvidence, hear_gain
from pianolab.acoustics.recorder.recorder_states import Impairment, states_of
from pianolab.acoustics.recorder.signal_states import (
    automatic_gain,
    background_noise,
    clipping,
    dead_channels,
    mains_hum,
    narrow_band,
    silent_gaps,
    steady_offset,
)
from pianolab.acoustics.spectra import Samples

LOSSY = (
    Impairment(
        name="lossy", says="the sound was stored with loss: brightness and buzz at the top are less sure"
    ),
)


USUAL_SPEEDS = {
    "a file of 48 kHz read as one of 44.1 kHz": 44100 / 48000,
    "a file of 44.1 kHz read as one of 48 kHz": 48000 / 44100,
}


@dataclass(frozen=True, kw_only=True)
class RecordingQuality:
    """Everything that was found wrong with a recording, the most serious first, and what could not be told."""

    impairments: tuple[Impairment, ...]
    unknown: tuple[str, ...]
    gain: GainEvidence

    def has(self, name: str) -> bool:
        """Whether this impairment was found."""
        return any(i.name == name for i in self.impairments)

    def withholds(self, field: str) -> str:
        """The impairment that empties this field of the summary; "" where none does."""
        return next((i.name for i in self.impairments if field in i.summary), "")


def judge_recording(
    channels: Samples,
    m: NoteMeasures,
    *,
    rate_hz: int,
    lossy: bool,
    clipped: NDArray[np.bool_],
    lead_s: float = 0.0,
    offset_cents: float | None = None,
    expected_offset_cents: float | None = None,
) -> RecordingQuality:
    """Everything wrong with a recording whose notes have been measured.

    Parameters
    ----------
    channels : shape (channels, frames)
    m : the measured notes, times in s from the first frame
    rate_hz : Hz
    lossy : whether the file's codec leaves something out
    clipped : shape (notes,)
    lead_s : silence that was put before the recording
    offset_cents : pitch of the whole piano against A4 as measured
    expected_offset_cents : the same as known from elsewhere; None where nobody knows

    Returns
    -------
    RecordingQuality
    """
    low_pass_hz = find_low_pass(channels, rate_hz=rate_hz)
    gain = hear_gain(
        channels,
        rate_hz=rate_hz,
        key=m.strikes.key,
        onset_s=m.strikes.onset_s,
        hold_s=np.nan_to_num(m.usable_s),
        coded=lossy or low_pass_hz is not None,
    )
    speed, speed_unknown = _speed(offset_cents, expected_offset_cents)
    found = (
        *dead_channels(channels, m, rate_hz=rate_hz),
        *automatic_gain(gain),
        *clipping(m.strikes.key[clipped]),
        *states_of(channels, m, rate_hz=rate_hz, lossy=lossy),
        *silent_gaps(find_gaps(channels, rate_hz=rate_hz), m, lead_s=lead_s),
        *narrow_band(m.strikes.key, low_pass_hz=low_pass_hz, rate_hz=rate_hz),
        *mains_hum(channels, m, rate_hz=rate_hz),
        *background_noise(m),
        *_holds(m),
        *steady_offset(channels),
        *speed,
        *(LOSSY if lossy else ()),
    )
    why = "automatic gain: the recording has no steady background to tell it by"
    unknown = ((why,) if gain.state == "unknown" else ()) + speed_unknown
    quality = RecordingQuality(impairments=found, unknown=unknown, gain=gain)
    return quality if quality.withholds("t60_s") else replace(quality, impairments=(*found, *_room(m)))


def _holds(m: NoteMeasures) -> list[Impairment]:
    hold_s = float(np.nanmedian(m.usable_s)) if len(m.usable_s) else 0.0
    if hold_s >= 1.0:
        return []
    says = f"keys were held only about {hold_s:.1f} s: late decay and much of the sustain can't be judged; hold each for 2 s or more"
    return [Impairment(name="short holds", says=says)]


def _room(m: NoteMeasures) -> list[Impairment]:
    t60_s = float(np.nan_to_num(m.t60_s))
    if t60_s <= 0.9:
        return []
    says = f"the room rings for {t60_s:.1f} s: it flatters the piano and hides dampers"
    return [Impairment(name="reverberation", says=says)]


def _speed(
    offset_cents: float | None, expected_cents: float | None
) -> tuple[list[Impairment], tuple[str, ...]]:
    if expected_cents is None or offset_cents is None:
        return [], ("playback speed: no pitch is known to compare with",)
    off_cents, likely = playback_speed(offset_cents, expected_offset_cents=expected_cents)
    if likely == "right":
        return [], ()
    says = (
        f"the recording runs {abs(off_cents):.0f} cents {'slow' if off_cents < 0 else 'fast'}"
        + (f" (likely {likely})" if likely else "")
        + f": every frequency is wrong by the factor {2 ** (off_cents / 1200):.4f}, every time by its inverse"
    )
    return [Impairment(name="wrong speed", says=says)], ()


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
