"""What the recording itself forbids: automatic gain, clipping, low-pass, hum, gaps, noise, short holds, wrong speed.

Each impairment that is heard is an `Impairment`: one sentence for the reader, the columns it empties, the faults
that can't be judged, and for which keys. `forbid` carries that into the survey table, so that nothing measured
through a wrong gain or a cut spectrum stands there as if it were the piano's. How automatic gain is heard stands in
`pianolab.acoustics.gain`, hum, low-pass and gaps in `pianolab.acoustics.background`, clipping in
`pianolab.acoustics.clipping`, a wrong speed in `pianolab.acoustics.speed`, what a player or a recorder does besides in
`pianolab.acoustics.recorder_states`.

Source: practice.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pianolab.acoustics.background import find_gaps, find_hum, find_low_pass, offset_share
from pianolab.acoustics.gain import GainEvidence, hear_gain
from pianolab.acoustics.limits import limits
from pianolab.acoustics.notes import NoteMeasures
from pianolab.acoustics.recorder_states import (
    DECAY_COLUMNS,
    DERIVED_COLUMNS,
    RELEASE_COLUMNS,
    Impairment,
    states_of,
)
from pianolab.acoustics.spectra import Samples
from pianolab.acoustics.speed import playback_speed
from pianolab.units import key_to_hz

BRIGHTNESS_COLUMNS = ("brightness_db", "brightness_dev", "brightness_db_sd")


@dataclass(frozen=True, kw_only=True)
class RecordingQuality:
    """Everything that was found wrong with a recording, the most serious first, and what could not be told."""

    impairments: tuple[Impairment, ...]
    unknown: tuple[str, ...]
    gain: GainEvidence

    def has(self, name: str) -> bool:
        """Whether this impairment was found."""
        return any(i.name == name for i in self.impairments)


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
        *_gain(gain),
        *_clipping(m.strikes.key[clipped]),
        *states_of(channels, m, rate_hz=rate_hz, lossy=lossy),
        *_gaps(find_gaps(channels, rate_hz=rate_hz), m, lead_s=lead_s),
        *_band(m.strikes.key, low_pass_hz=low_pass_hz, rate_hz=rate_hz),
        *_hum(channels, m, rate_hz=rate_hz),
        *_level_of_noise(m),
        *_holds(m),
        *_offset(channels),
        *speed,
        *(
            [
                Impairment(
                    name="lossy",
                    says="the sound was stored with loss: brightness and buzz at the top are less sure",
                )
            ]
            if lossy
            else []
        ),
        *_room(m),
    )
    why = "automatic gain: the recording has no steady background to tell it by"
    unknown = ((why,) if gain.state == "unknown" else ()) + speed_unknown
    return RecordingQuality(impairments=found, unknown=unknown, gain=gain)


def _clipping(keys: NDArray[np.int64]) -> list[Impairment]:
    if not len(keys):
        return []
    says = f"{len(keys)} keys are clipped: level, brightness, buzz and sustain of these are not judged; record again at a lower level"
    return [
        Impairment(
            name="clipped",
            says=says,
            keys=tuple(int(k) for k in keys),
            trust="clipped",
            faults=("short_sustain", "buzz", "voicing"),
            columns=(*DECAY_COLUMNS[:3], "decay_20_s_sd", *BRIGHTNESS_COLUMNS, "buzz_db"),
        )
    ]


def _gain(gain: GainEvidence) -> list[Impairment]:
    if gain.state != "automatic":
        return []
    if gain.notes and np.isfinite(gain.dip_db):
        how = f"the background sinks {-gain.dip_db:.0f} dB at a blow and rises again while the note fades"
    else:
        how = f"blows stand out and notes fall only {100 * gain.fall_share:.0f} % of what is usual"
    says = f"the recorder changed its gain by itself ({how}): sustain, dampers, the room and voicing are not judged; switch automatic level off and record again"
    return [
        Impairment(
            name="automatic gain",
            says=says,
            trust="automatic gain",
            faults=("short_sustain", "damper", "voicing"),
            columns=(*DECAY_COLUMNS, *RELEASE_COLUMNS, *DERIVED_COLUMNS),
        )
    ]


def _gaps(gaps: list[tuple[float, float]], m: NoteMeasures, *, lead_s: float) -> list[Impairment]:
    if not gaps:
        return []
    at = np.array([begin for begin, _ in gaps])
    inside = (at[None, :] >= m.strikes.onset_s[:, None]) & (at[None, :] < m.strikes.next_s[:, None])
    keys = tuple(int(k) for k in m.strikes.key[inside.any(axis=1)])
    says = (
        f"{len(gaps)} gaps of digital silence in the middle of sound, the first at {at[0] - lead_s:.1f} s: "
        f"sustain, dampers and buzz of the {len(keys)} keys they fall into are not judged"
    )
    return [
        Impairment(
            name="gaps in the recording",
            says=says,
            keys=keys,
            trust="noisy",
            faults=("short_sustain", "damper", "buzz"),
            columns=(*DECAY_COLUMNS, *RELEASE_COLUMNS, *DERIVED_COLUMNS, "buzz_db"),
        )
    ]


def _band(key: NDArray[np.int64], *, low_pass_hz: float | None, rate_hz: int) -> list[Impairment]:
    """Keys whose upper partials the recording can't hold."""
    top_hz = min(low_pass_hz or np.inf, rate_hz / 2)
    lost = key[np.where(key > 76, 3.0, 6.0) * key_to_hz(key) > top_hz]
    if low_pass_hz is None and rate_hz >= 32000:
        return []
    what = (
        f"the recording holds nothing above {low_pass_hz / 1000:.1f} kHz (a codec or filter cut it off)"
        if low_pass_hz is not None
        else f"the recording's rate of {rate_hz} Hz leaves out what sounds above {rate_hz // 2000} kHz"
    )
    then = (
        f"brightness and voicing of {len(lost)} keys from {int(lost.min())} up are not judged"
        if len(lost)
        else "brightness at the top is less sure"
    )
    return [
        Impairment(
            name="low-pass" if low_pass_hz is not None else "low rate",
            says=f"{what}: {then}",
            keys=tuple(int(k) for k in lost),
            faults=("voicing",) if len(lost) else (),
            columns=BRIGHTNESS_COLUMNS,
        )
    ]


def _hum(channels: Samples, m: NoteMeasures, *, rate_hz: int) -> list[Impairment]:
    hum = find_hum(channels, rate_hz=rate_hz)
    if hum is None:
        return []
    level_db = 10.0 * np.log10(hum.power) - float(np.nanmedian(m.level_db))
    if level_db < limits()["hum"]["said_db"]:
        return []
    strong = level_db > limits()["hum"]["disturbs_db"]
    keys = tuple(int(k) for k in m.strikes.key[key_to_hz(m.strikes.key) < 6 * hum.mains_hz]) if strong else ()
    then = (
        f"buzz and beats of {len(keys)} low keys are not judged"
        if keys
        else "too weak to disturb, but a sign of a bad cable or a lamp nearby"
    )
    return [
        Impairment(
            name="hum",
            says=f"mains hum of {hum.mains_hz:.0f} Hz, {-level_db:.0f} dB under the notes: {then}",
            keys=keys,
            faults=("buzz",) if keys else (),
            columns=("buzz_db", "beat_hz", "beat_partial"),
        )
    ]


def _level_of_noise(m: NoteMeasures) -> list[Impairment]:
    if m.noise_db <= -35.0:
        return []
    says = f"background noise is only {-m.noise_db:.0f} dB under the notes: decay and buzz are partly hidden"
    return [Impairment(name="noise", says=says)]


def _holds(m: NoteMeasures) -> list[Impairment]:
    hold_s = float(np.nanmedian(m.usable_s)) if len(m.usable_s) else 0.0
    if hold_s >= 1.0:
        return []
    says = f"keys were held only about {hold_s:.1f} s: late decay and much of the sustain can't be judged; hold each for 2 s or more"
    return [Impairment(name="short holds", says=says)]


def _offset(channels: Samples) -> list[Impairment]:
    share = offset_share(channels)
    if share <= limits()["recorder"]["offset_share"]:
        return []
    says = f"the recorder adds a steady offset of {100 * share:.0f} % of the peak: harmless for the measures, but it clips one side sooner"
    return [Impairment(name="offset", says=says)]


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
