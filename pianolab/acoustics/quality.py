"""What the recording itself forbids: automatic gain, clipping, low-pass, hum, gaps, noise, short holds, wrong speed.

Each impairment that is heard is an `Impairment`: one sentence for the reader, the columns it empties, the faults
that can't be judged, and for which keys. `forbid` carries that into the survey table, so that nothing measured
through a wrong gain or a cut spectrum stands there as if it were the piano's. How automatic gain is heard stands in
`pianolab.acoustics.gain`, hum, low-pass and gaps in `pianolab.acoustics.background`, what a player or a recorder does besides in
`pianolab.acoustics.recorder_states`.

Limits: clipping that a codec has rounded off afterwards isn't seen; a wrong speed is only seen where the pitch is
known from elsewhere (`expected_offset_cents`), because a piano may stand at any pitch. Source: practice.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

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
from pianolab.units import key_to_hz

BRIGHTNESS_COLUMNS = ("brightness_db", "brightness_dev", "brightness_db_sd")
USUAL_SPEEDS = {"a file of 48 kHz read as one of 44.1 kHz": 44100 / 48000, "a file of 44.1 kHz read as one of 48 kHz": 48000 / 44100}  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class RecordingQuality:
    """Everything that was found wrong with a recording, the most serious first, and what could not be told."""

    impairments: tuple[Impairment, ...]
    unknown: tuple[str, ...]
    gain: GainEvidence

    def has(self, name: str) -> bool:
        """Whether this impairment was found."""
        return any(i.name == name for i in self.impairments)


def clipped_share(channels: Samples, *, begin: int, stop: int) -> float:
    """Share of samples that sit in flat runs at the recording's own ceiling; 0 where hardly any run is flat.

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
    ceiling = float(np.max(part))
    if ceiling < 0.25:
        return 0.0
    top = part >= 0.9995 * ceiling
    if int(top.sum()) < 3 * limits()["recorder"]["clipped_runs"]:
        return 0.0
    runs = top[:, 2:] & top[:, 1:-1] & top[:, :-2]
    begun = int((runs[:, 1:] & ~runs[:, :-1]).sum() + runs[:, 0].sum()) if runs.size else 0
    return float(runs.mean()) if begun >= limits()["recorder"]["clipped_runs"] else 0.0


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
        channels, rate_hz=rate_hz, key=m.strikes.key, onset_s=m.strikes.onset_s, hold_s=np.nan_to_num(m.usable_s),
        coded=lossy or low_pass_hz is not None,
    )  # fmt: skip
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
        *([Impairment(name="lossy", says="the sound was stored with loss: brightness and buzz at the top are less sure")] if lossy else []),
        *_room(m),
    )  # fmt: skip
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
            name="automatic gain", says=says, trust="automatic gain", faults=("short_sustain", "damper", "voicing"),
            columns=(*DECAY_COLUMNS, *RELEASE_COLUMNS, *DERIVED_COLUMNS),
        )
    ]  # fmt: skip


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
            name="gaps in the recording", says=says, keys=keys, trust="noisy",
            faults=("short_sustain", "damper", "buzz"), columns=(*DECAY_COLUMNS, *RELEASE_COLUMNS, *DERIVED_COLUMNS, "buzz_db"),
        )
    ]  # fmt: skip


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
            name="low-pass" if low_pass_hz is not None else "low rate", says=f"{what}: {then}",
            keys=tuple(int(k) for k in lost), faults=("voicing",) if len(lost) else (), columns=BRIGHTNESS_COLUMNS,
        )
    ]  # fmt: skip


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
            name="hum", says=f"mains hum of {hum.mains_hz:.0f} Hz, {-level_db:.0f} dB under the notes: {then}",
            keys=keys, faults=("buzz",) if keys else (), columns=("buzz_db", "beat_hz", "beat_partial"),
        )
    ]  # fmt: skip


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


def forbid(table: Any, impairments: Iterable[Impairment]) -> Any:
    """The survey table without what the recording forbids; the reasons stand in ``gaps`` and ``not_judged``.

    Parameters
    ----------
    table : the survey table
    impairments : the most serious first; its reason stands over those of later ones

    Returns
    -------
    DataFrame; the same table where nothing is forbidden
    """
    table = table.copy()
    for own in reversed(tuple(impairments)):
        columns = [c for c in own.columns if c in table.columns]
        rows = table["status"] == "measured"
        if own.keys is not None:
            rows &= table["key"].isin(own.keys)
        if not rows.any() or not (columns or own.faults or own.trust):
            continue
        for column in columns:
            table.loc[rows, column] = np.nan if table[column].dtype.kind == "f" else ""
        reasons, untested = dict.fromkeys(columns, own.name), dict.fromkeys(own.faults, own.name)
        table.loc[rows, "gaps"] = table.loc[rows, "gaps"].map(lambda t, r=reasons: _with(t, r))
        table.loc[rows, "not_judged"] = table.loc[rows, "not_judged"].map(lambda t, r=untested: _with(t, r))
        table.loc[rows, "faults"] = table.loc[rows, "faults"].map(lambda t, f=own.faults: _without(t, f))
        if own.trust:
            table.loc[rows, "sustain_trust"] = own.trust
            table.loc[rows, "sustain_verdict"] = ""
    return table


def _with(text: str, reasons: dict[str, str]) -> str:
    """A list of ``name=reason`` with more of them, which stand over what was there."""
    old = dict(part.split("=", 1) for part in text.split(";") if part)
    return ";".join(f"{name}={why}" for name, why in {**old, **reasons}.items())


def _without(faults: str, forbidden: tuple[str, ...]) -> str:
    return ";".join(f for f in faults.split(";") if f and f not in forbidden)
