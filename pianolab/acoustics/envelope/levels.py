"""Level of each note over time, as a whole and in its own part of the spectrum, noise taken out.

As a whole (`whole_levels`): the power of all that sounds, in windows of 30 ms. The time to fall 20 dB is a statement about
the whole sound. Anybody can check it with a few lines of arithmetic on the recording, so it is read from the plain power of
the samples over `RUMBLE_HZ`: no spectrum, and no window that gives the blow more or less weight than what follows.

In its own part (`note_level`): power per bin in frames of 30 ms. In the bass, where dampers stop whatever sounded before,
all bins above the first partial count; from key 40 up only bins near the note's own partials, so that undamped strings
still ringing from earlier notes stay out. The noise power of every bin, heard where the recording is quietest, is
subtracted. It stands in (`decay_levels`) where something else would be read with the whole, noise or what sounded before
the blow; it is 1 to 3 % off on real notes.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from pianolab.acoustics.keys.strikes import Strikes
from pianolab.acoustics.limits import limits
from pianolab.acoustics.spectra import Samples, power_of_frames
from pianolab.units import FloatArray

HOP_S = 0.005
COMB_FROM_KEY = 40
MIDDLE_HZ = (354.0, 1414.0)
"""The octaves about 500 and 1000 Hz, whose mean is a room's reverberation time for single figures."""
HIGH_HZ = (1414.0, 2828.0)
"""The octave about 2000 Hz, where dampers stop strings much sooner than below and rooms hardly do."""


@dataclass(frozen=True)
class NoteLevel:
    """Power of one note over time after noise subtraction (may be slightly negative where nothing is left).

    ``time_s`` counts from the blow; ``noise`` is the noise power that was subtracted. `middle` is the same in the octaves
    about 500 and 1000 Hz, whatever the note's own partials are; with it a room's reverberation is told [iso3382]. `high`
    is the octave about 2000 Hz.
    """

    time_s: FloatArray
    power: FloatArray
    noise: float
    middle_power: FloatArray = field(default_factory=lambda: np.zeros(0))
    middle_noise: float = 0.0
    high_power: FloatArray = field(default_factory=lambda: np.zeros(0))
    high_noise: float = 0.0

    @property
    def middle(self) -> NoteLevel:
        """The level in the middle octaves alone."""
        return NoteLevel(self.time_s, self.middle_power, self.middle_noise)

    @property
    def high(self) -> NoteLevel | None:
        """The level in the octave about 2000 Hz alone; None where it wasn't read."""
        if not len(self.high_power):
            return None
        return NoteLevel(self.time_s, self.high_power, self.high_noise)

    @property
    def level_db(self) -> FloatArray:
        """Level re 1, floored well under the noise."""
        return np.asarray(10.0 * np.log10(np.maximum(self.power, 0.02 * self.noise + 1e-20)))

    @property
    def floor_db(self) -> float:
        """Level below which noise drowns the note: a quarter of the noise power's own fluctuation."""
        return float(10.0 * np.log10(0.25 * self.noise + 1e-20))


def frame_size(rate_hz: int) -> tuple[int, int]:
    """Frame length and hop in samples."""
    return round(limits()["decay"]["window_s"] * rate_hz), round(HOP_S * rate_hz)


def noise_spectrum(channels: Samples, *, rate_hz: int) -> FloatArray:
    """Noise power of every frame bin, from the quietest tenth of the frames, shape (bins,)."""
    size, hop = frame_size(rate_hz)
    power = power_of_frames(channels, size=size, hop=hop * 8)
    total = power.sum(axis=1)
    positive = total > 0
    if not positive.any():
        return np.zeros(power.shape[1])
    quiet = total <= np.percentile(total[positive], 6)
    return np.asarray(power[quiet & positive].mean(axis=0), dtype=float)


def _own_bins(f_hz: FloatArray, *, key: int, size: int, rate_hz: int) -> NDArray[np.bool_]:
    bins = np.arange(size // 2 + 1)
    hz_per_bin = rate_hz / size
    lowest = np.nanmin(f_hz) if np.any(~np.isnan(f_hz)) else 25.0
    mask = (bins * hz_per_bin >= max(0.6 * lowest, 20.0)) & (
        bins * hz_per_bin <= min(12000.0, 0.48 * rate_hz)
    )
    if key < COMB_FROM_KEY:
        return np.asarray(mask)
    near = np.zeros(len(bins), dtype=bool)
    for f in f_hz[~np.isnan(f_hz)]:
        near |= np.abs(bins * hz_per_bin - f) <= 2.6 * hz_per_bin
    return np.asarray(near & mask)


def note_level(
    channels: Samples,
    *,
    onset_s: float,
    stop_s: float,
    f_hz: FloatArray,
    key: int,
    rate_hz: int,
    noise: FloatArray,
) -> NoteLevel:
    """Level of one note from 60 ms before its blow to ``stop_s``.

    Parameters
    ----------
    channels : shape (channels, frames)
    onset_s, stop_s : s, in the recording
    f_hz : frequencies of the note's partials, NaN where none
    noise : from `noise_spectrum`

    Returns
    -------
    NoteLevel
    """
    size, hop = frame_size(rate_hz)
    begin = max(0, int((onset_s - 0.06) * rate_hz))
    end = min(channels.shape[1], int(stop_s * rate_hz))
    mask = _own_bins(f_hz, key=key, size=size, rate_hz=rate_hz)
    middle, high = (slice(*(round(hz * size / rate_hz) for hz in band)) for band in (MIDDLE_HZ, HIGH_HZ))
    frames = power_of_frames(channels[:, begin:end], size=size, hop=hop)
    time_s = (begin + np.arange(len(frames)) * hop + 0.5 * size) / rate_hz - onset_s
    powers = [frames[:, own].sum(axis=1).astype(float) for own in (mask, middle, high)]
    noises = [float(noise[own].sum()) for own in (mask, middle, high)]
    whole, of_middle, of_high = (power - own for power, own in zip(powers, noises, strict=True))
    return NoteLevel(time_s, whole, noises[0], of_middle, noises[1], of_high, noises[2])


RUMBLE_HZ = 20.0
"""Steps, doors and traffic lie under the lowest string's 27.5 Hz; in recordings of real notes they reach -20 dB."""
LEAD_S, END_S, LONGEST_S = 0.15, 0.012, 30.0
QUIET_S, QUIET_SHARE = 0.1, 0.06
BEFORE_S = (-0.12, -0.04)


def whole_levels(channels: Samples, strikes: Strikes, *, rate_hz: int) -> list[NoteLevel]:
    """Level of every note from `LEAD_S` before its blow to the next sound, what lies under any string left out.

    Parameters
    ----------
    channels : shape (channels, frames); their powers are added
    strikes : Strikes
    rate_hz : Hz

    Returns
    -------
    list of NoteLevel, one per strike
    """
    hop = round(HOP_S * rate_hz)
    per_window = max(round(limits()["decay"]["window_s"] * rate_hz / hop), 1)
    energy = _energy_of_hops(channels, hop=hop, rate_hz=rate_hz)
    power = np.convolve(energy, np.full(per_window, 1.0 / (per_window * hop)), mode="valid")
    time_s = (np.arange(len(power)) + 0.5 * per_window) * hop / rate_hz
    noise = quiet_power(power)
    out = []
    for onset_s, next_s in zip(strikes.onset_s, strikes.next_s, strict=True):
        stop_s = min(next_s - END_S, onset_s + LONGEST_S) - 0.5 * per_window * hop / rate_hz
        own = slice(*np.searchsorted(time_s, [onset_s - LEAD_S, stop_s]))
        out.append(NoteLevel(time_s[own] - onset_s, power[own] - noise, noise))
    return out


def _energy_of_hops(channels: Samples, *, hop: int, rate_hz: int) -> FloatArray:
    """Sum of the squares of each hop's samples over all channels."""
    count = channels.shape[1] // hop
    high_pass = signal.butter(4, RUMBLE_HZ, "highpass", fs=rate_hz, output="sos").astype(np.float32)
    energy = np.zeros(count)
    for channel in channels:
        part = signal.sosfilt(high_pass, channel[: count * hop]).reshape(count, hop)
        energy += np.einsum("ij,ij->i", part, part, dtype=float)
    return energy


def quiet_power(power: FloatArray) -> float:
    """Mean power of the quietest tenths of a second, `QUIET_SHARE` of all that are no digital silence."""
    over = max(round(QUIET_S / HOP_S), 1)
    mean = np.convolve(power, np.full(over, 1.0 / over), mode="valid") if len(power) >= over else power
    mean = mean[mean > 0]
    if not len(mean):
        return 0.0
    return float(np.mean(mean[mean <= np.quantile(mean, QUIET_SHARE)]))


def undisturbed(level: NoteLevel) -> bool:
    """Whether the level 20 dB under the blow stands clear of the noise and of what sounded before the blow."""
    lim = limits()["decay"]
    if not len(level.power):
        return False
    least = float(level.power.max()) * 10.0 ** (-0.1 * lim["fall_db"])
    before = (level.time_s > BEFORE_S[0]) & (level.time_s < BEFORE_S[1])
    earlier = float(np.mean(level.power[before])) if before.any() else 0.0
    return least > lim["over_noise"] * level.noise and least > lim["over_earlier"] * earlier


def decay_levels(whole: list[NoteLevel], own: list[NoteLevel]) -> list[NoteLevel]:
    """The levels that decays are read from: the whole sound's where it is `undisturbed`, else that of the own spectrum."""
    return [w if undisturbed(w) else o for w, o in zip(whole, own, strict=True)]
