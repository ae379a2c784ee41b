"""What recorder and surroundings did to the signal: gain, clipping, gaps, a cut spectrum, hum, noise, an offset, a dead channel.

Each state that is heard becomes an `Impairment`. How automatic gain is heard stands in `gain`, hum, low-pass and gaps in
`background`, clipping in `clipping`; what a player does besides in `recorder_states`. Source: practice.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pianolab.acoustics.limits import limits
from pianolab.acoustics.notes import NoteMeasures
from pianolab.acoustics.recorder.background import find_dead_channels, find_hum, offset_share
from pianolab.acoustics.recorder.gain import GainEvidence
from pianolab.acoustics.recorder.recorder_states import Impairment
from pianolab.acoustics.spectra import Samples
from pianolab.units import key_to_hz

WHILE_HELD = ("decay_20_s", "late_db_per_s", "string_db_per_s")
"""What is read from a note's fall while its key is held."""
DEAD_CHANNEL = "dead channel"


def clipping(keys: NDArray[np.int64]) -> list[Impairment]:
    """Keys whose loudest moments the recorder cut off."""
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
            columns=("decay_20_s", "brightness_db", "buzz_db", "level_db"),
        )
    ]


def dead_channels(channels: Samples, m: NoteMeasures, *, rate_hz: int) -> list[Impairment]:
    """Channels that hear nothing of the piano; what they add to the others is noise."""
    dead = find_dead_channels(channels, rate_hz=rate_hz, onset_s=m.strikes.onset_s)
    if not dead:
        return []
    which = f"channel {dead[0]}" if len(dead) == 1 else f"channels {', '.join(map(str, dead))}"
    says = (
        f"{which} of {len(channels)} {'is' if len(dead) == 1 else 'are'} dead, without any of the notes: "
        "all is read from the rest; look to microphone and cable, or record with one channel"
    )
    return [Impairment(name=DEAD_CHANNEL, says=says)]


def automatic_gain(gain: GainEvidence) -> list[Impairment]:
    """A recorder that changes its gain by itself takes every fall of the level with it."""
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
            columns=(*WHILE_HELD, "release_20_s"),
            summary=("t60_s",),
        )
    ]


def silent_gaps(gaps: list[tuple[float, float]], m: NoteMeasures, *, lead_s: float) -> list[Impairment]:
    """Stretches of digital silence in the middle of sound, and the keys that they fall into."""
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
            columns=(*WHILE_HELD, "release_20_s", "buzz_db"),
        )
    ]


def narrow_band(key: NDArray[np.int64], *, low_pass_hz: float | None, rate_hz: int) -> list[Impairment]:
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
            columns=("brightness_db",),
        )
    ]


def mains_hum(channels: Samples, m: NoteMeasures, *, rate_hz: int) -> list[Impairment]:
    """A hum that is loud enough to be said, and the low keys whose partials it lies among."""
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
            columns=("buzz_db", "beat_hz"),
        )
    ]


def background_noise(m: NoteMeasures) -> list[Impairment]:
    """Noise that is loud beside the notes."""
    if m.noise_db <= -35.0:
        return []
    says = f"background noise is only {-m.noise_db:.0f} dB under the notes: decay and buzz are partly hidden"
    return [Impairment(name="noise", says=says)]


def steady_offset(channels: Samples) -> list[Impairment]:
    """A level that the recorder adds to every sample."""
    share = offset_share(channels)
    if share <= limits()["recorder"]["offset_share"]:
        return []
    says = f"the recorder adds a steady offset of {100 * share:.0f} % of the peak: harmless for the measures, but it clips one side sooner"
    return [Impairment(name="offset", says=says)]
