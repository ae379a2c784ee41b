"""How long a room rings, from hand claps: the backward integrated fall of the octaves about 500 and 1000 Hz [iso3382].

A clap is no source of the standard: it is directed, and weak below 500 Hz. The time is good enough to say whether a
room is dry or long, and which dampers it can hide, and its uncertainty is the scatter between the claps.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from pianolab.acoustics.short.power import enough_sound, power_in_hops
from pianolab.acoustics.spectra import Samples
from pianolab.show import Row, Showable
from pianolab.units import FloatArray

BAND_HZ = (354.0, 1414.0)
LEAST_APART_S, LONGEST_S = 0.8, 3.0
FIT_DB = (-5.0, -25.0)
"""The fall that is fitted; it is doubled and more to -60 dB [iso3382]."""

OVER_NOISE_DB = 35.0
"""A clap must stand so far over the noise: ten more than the end of the fit [iso3382]."""

LEAST_CLAPS = 3


@dataclass(frozen=True, kw_only=True, repr=False)
class RoomByClap(Showable):
    """Reverberation time of the octaves about 500 and 1000 Hz in s; None with the reason where it can't be told.

    ``sd_s`` is the standard error of the mean of the claps that could be read.
    """

    t60_s: float | None
    sd_s: float | None
    claps: int
    why: str = ""

    def headline(self) -> str:
        if self.t60_s is None:
            return f"the room's reverberation is not known: {self.why}"
        return f"the room rings for {self.t60_s:.2f} s (± {self.sd_s:.2f} s, {self.claps} claps)"

    def rows(self) -> list[Row]:
        return [
            ("reverberation time, 500 and 1000 Hz", self.t60_s, "s", self.why),
            ("uncertainty (1 sd)", self.sd_s, "s", self.why),
            ("claps read", self.claps, "", ""),
        ]


def room_by_clap(samples: NDArray[np.floating], *, rate_hz: int) -> RoomByClap:
    """The reverberation time of a room from several claps with pauses.

    Parameters
    ----------
    samples : shape (frames,) or (frames, channels), full scale 1
    rate_hz : int, Hz

    Returns
    -------
    RoomByClap

    Raises
    ------
    BadInput
        less than a second of sound

    Examples
    --------
    >>> noise = np.random.default_rng(1).normal(0, 1, 48000)
    >>> clap = noise * np.exp(-6.908 * np.arange(48000) / 48000 / 0.5)
    >>> abs(room_by_clap(np.tile(clap, 5), rate_hz=48000).t60_s - 0.5) < 0.06
    True
    """
    channels = enough_sound(samples, rate_hz=rate_hz, what="claps", need="some claps with pauses")
    power, hop_s = _band_power(channels, rate_hz)
    times = [t for t in (_fall_time(part, hop_s) for part in _claps(power, hop_s)) if t is not None]
    if len(times) < LEAST_CLAPS:
        why = f"{len(times)} claps stand clear of the noise, {LEAST_CLAPS} are needed"
        return RoomByClap(t60_s=None, sd_s=None, claps=len(times), why=why)
    sd = float(np.std(times, ddof=1) / np.sqrt(len(times)))
    return RoomByClap(t60_s=float(np.mean(times)), sd_s=sd, claps=len(times))


def _band_power(channels: Samples, rate_hz: int) -> tuple[FloatArray, float]:
    """Power of the band in hops of 5 ms."""
    sos = signal.butter(4, BAND_HZ, "bandpass", fs=rate_hz, output="sos")
    hop = round(0.005 * rate_hz)
    return power_in_hops(signal.sosfilt(sos, channels.astype(float), axis=1), hop), hop / rate_hz


def _claps(power: FloatArray, hop_s: float) -> list[FloatArray]:
    """From each clap's loudest moment to the next clap, or as long as a room may ring."""
    apart = round(LEAST_APART_S / hop_s)
    padded = np.concatenate([np.zeros(1), power, np.zeros(1)])
    at, _ = signal.find_peaks(padded, height=0.02 * float(power.max()), distance=apart)
    at = at - 1
    ends = np.append(at[1:] - round(0.03 / hop_s), len(power))
    return [power[a : min(e, a + round(LONGEST_S / hop_s))] for a, e in zip(at, ends, strict=True)]


def _fall_time(power: FloatArray, hop_s: float) -> float | None:
    """Time to fall 60 dB from the fit; None where noise comes too soon."""
    tail = power[-max(len(power) // 10, 4) :]
    noise = float(np.mean(tail))
    if len(power) < 40 or 10.0 * np.log10(power[0] / max(noise, 1e-20)) < OVER_NOISE_DB:
        return None
    # The integral ends where the fall meets the noise; what lies beyond would flatten it.
    above = np.flatnonzero(power < 3.0 * noise)
    end = int(above[0]) if len(above) else len(power)
    energy = np.cumsum((power[:end] - noise)[::-1])[::-1]
    level = 10.0 * np.log10(np.maximum(energy / energy[0], 1e-9))
    fit = np.flatnonzero((level <= FIT_DB[0]) & (level >= FIT_DB[1]))
    if len(fit) < 6:
        return None
    slope = float(np.polyfit(fit * hop_s, level[fit], 1)[0])
    return -60.0 / slope if slope < 0 else None
