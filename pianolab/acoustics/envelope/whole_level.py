"""Level of each note as a whole: the power of all that sounds in windows of 30 ms, noise taken out.

The time to fall 20 dB is a statement about the whole sound. Anybody can check it with a few lines of arithmetic on the
recording, so it is read from the plain power of the samples over `RUMBLE_HZ`: no spectrum, and no window that gives the blow more or less
weight than what follows. Where something else would be read with it, noise or what sounded before the blow, the level of
the note's own part of the spectrum (`levels`) stands in; it is 1 to 3 % off on real notes.
"""

from __future__ import annotations

import numpy as np
from scipy import signal

from pianolab.acoustics.envelope.levels import HOP_S, NoteLevel
from pianolab.acoustics.keys.strikes import Strikes
from pianolab.acoustics.limits import limits
from pianolab.acoustics.spectra import Samples
from pianolab.units import FloatArray

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
