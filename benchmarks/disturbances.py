"""Sounds of a room that has people in it, added to a take: hum, noise of the street, speech, a clock.

Every level counts from the mean power while keys are held down to the mean power of the disturbance while it
lasts. All of it is made here from noise and pulses; nothing is recorded or taken from a speech synthesiser, so that
every machine hears the same. Both channels of a take get the same sound (a source far away).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import fft, signal

from benchmarks.playing import held_power
from benchmarks.takes import Take

Floats = NDArray[np.float64]
Chain = Callable[[Take, int], Take]


def changed(take: Take, samples: Any, what: str, **other: Any) -> Take:
    """The take with other samples; ``what`` was done is added to its case and name."""
    case = what if take.case == "plain" else f"{take.case}, {what}"
    return replace(
        take, case=case, name=f"{take.name}, {what}", samples=np.asarray(samples, np.float32), **other
    )


def _added(take: Take, seed: int, *, what: str, make: Callable[..., Floats], below_db: float) -> Take:
    rng = np.random.default_rng([seed, 31])
    sound = make(len(take.samples), take.rate_hz, rng)
    lasting = np.abs(sound) > 0
    power = np.mean(sound[lasting] ** 2) if lasting.any() else 1.0
    wanted = held_power(take.samples, take.presses, take.rate_hz) * 10 ** (-below_db / 10)
    sound = sound * np.sqrt(wanted / power)
    return changed(take, take.samples + (sound[:, None] if take.samples.ndim == 2 else sound), what)


def hum(frames: int, rate_hz: int, rng: np.random.Generator) -> Floats:
    """Mains at 50 Hz (a few hundredths off) and harmonics up to 1 kHz, the odd ones stronger."""
    t = np.arange(frames) / rate_hz
    base_hz = 50.0 + rng.normal(0, 0.03)
    total = np.zeros(frames)
    for n in range(1, 21):
        gain = (1.0 if n % 2 else 0.4) / n ** rng.uniform(0.8, 1.4)
        total += gain * np.sin(2 * np.pi * n * base_hz * t + rng.uniform(0, 2 * np.pi))
    return total


def pink(frames: int, rate_hz: int, rng: np.random.Generator) -> Floats:
    """Equal power in every octave above 20 Hz."""
    return _shaped(frames, rate_hz, rng, lambda f: 1 / np.sqrt(np.maximum(f, 20.0)))


def _shaped(frames: int, rate_hz: int, rng: np.random.Generator, gain: Callable[[Floats], Floats]) -> Floats:
    n = fft.next_fast_len(frames, real=True)
    spectrum = fft.rfft(rng.standard_normal(n))
    spectrum *= gain(fft.rfftfreq(n, 1 / rate_hz))
    spectrum[0] = 0
    sound = fft.irfft(spectrum, n)[:frames]
    return np.asarray(sound / np.sqrt(np.mean(sound**2)))


def street(frames: int, rate_hz: int, rng: np.random.Generator) -> Floats:
    """Rumble that swells, a car every ten seconds or so, now and then a horn; all through a shut window."""
    seconds = frames / rate_hz
    rumble = _shaped(frames, rate_hz, rng, lambda f: 1 / (1 + (f / 120.0) ** 1.3) * f / (f + 25.0))
    tyres = _shaped(frames, rate_hz, rng, lambda f: f / (f + 200.0) / (1 + (f / 700.0) ** 2))
    knots = np.arange(0, seconds + 4.0, 4.0)
    swell_db = np.interp(np.arange(frames) / rate_hz, knots, rng.normal(0, 3, knots.size))
    cars, horns = max(1, round(seconds / 10)), max(1, round(seconds / 40))
    total = rumble * 10 ** (swell_db / 20)
    for at_s in rng.uniform(0, seconds, cars):
        _pass_by(total, rumble, tyres, at_s, rate_hz, rng)
    for at_s in rng.uniform(0, max(seconds - 1.0, 0.1), horns):
        _put(total, 0.8 * _horn(rate_hz, rng), round(at_s * rate_hz))
    return total


def _pass_by(
    total: Floats, rumble: Floats, tyres: Floats, at_s: float, rate_hz: int, rng: np.random.Generator
) -> None:
    """A car comes and goes within a few seconds: 1 over the distance squared, in amplitude its root."""
    half_s = rng.uniform(0.6, 1.6)
    a = max(0, round((at_s - 8 * half_s) * rate_hz))
    b = min(len(total), round((at_s + 8 * half_s) * rate_hz))
    away = (np.arange(a, b) / rate_hz - at_s) / half_s
    shape = rng.uniform(1.0, 3.0) / np.sqrt(1 + away**2) * (1 - np.minimum(1, np.abs(away) / 8))
    total[a:b] += shape * (0.6 * rumble[a:b] + 0.5 * tyres[a:b])


def _horn(rate_hz: int, rng: np.random.Generator) -> Floats:
    """Two reeds about a major third apart, 0.3 to 0.9 s, dulled by the way to the window."""
    t = np.arange(round(rng.uniform(0.3, 0.9) * rate_hz)) / rate_hz
    low_hz = rng.uniform(380, 440)
    tone = sum(np.sin(2 * np.pi * f * n * t) / n**1.5 for f in (low_hz, 1.26 * low_hz) for n in range(1, 9))
    return np.asarray(tone * np.minimum(1, np.minimum(t, t[::-1]) / 0.03))


def _put(total: Floats, sound: Floats, at: int) -> None:
    piece = sound[: len(total) - at]
    total[at : at + len(piece)] += piece


VOWELS_HZ = np.array(
    [[730, 1090, 2440], [530, 1840, 2480], [270, 2290, 3010], [570, 840, 2410], [300, 870, 2240]]
)
"""First three formants of five vowels, a grown man's: rounded means of a much printed table [from memory]."""

SYLLABLES_PER_S = 4.0


def speech(frames: int, rate_hz: int, rng: np.random.Generator) -> Floats:
    """Speech-like sound: phrases of four to twelve syllables, then silence of 1 to 6 s.

    A pulse train of 90 to 220 Hz that falls through the phrase goes through three formants that move from vowel to
    vowel; a burst of hiss opens most syllables.
    """
    total = np.zeros(frames)
    at = round(rng.uniform(0.2, 2.0) * rate_hz)
    while at < frames:
        phrase = _phrase(int(rng.integers(4, 13)), rate_hz, rng)
        _put(total, phrase, at)
        at += len(phrase) + round(rng.uniform(1.0, 6.0) * rate_hz)
    return total


def _phrase(syllables: int, rate_hz: int, rng: np.random.Generator) -> Floats:
    lengths = rng.normal(1.0, 0.15, syllables).clip(0.6, 1.5) / SYLLABLES_PER_S
    ends = np.cumsum(lengths)
    t = np.arange(round(ends[-1] * rate_hz)) / rate_hz
    pitch_hz = rng.uniform(110, 200) * (1.1 - 0.25 * t / ends[-1]) * (1 + 0.03 * np.sin(2 * np.pi * 2.1 * t))
    turns = np.cumsum(pitch_hz) / rate_hz
    pulses = np.diff(np.floor(turns), prepend=0.0)
    starts = ends - lengths
    vowels = VOWELS_HZ[rng.integers(0, len(VOWELS_HZ), syllables)]
    place = np.searchsorted(ends, t, side="right").clip(max=syllables - 1)
    within = (t - starts[place]) / lengths[place]
    voiced = np.sin(np.pi * np.clip((within - 0.15) / 0.8, 0, 1)) ** 0.7
    formants = [np.interp(t, starts + 0.5 * lengths, vowels[:, i]) for i in range(3)]
    sound = _through(pulses * voiced, formants, rate_hz)
    hiss = rng.standard_normal(t.size) * (within < 0.2) * (rng.uniform(0, 1, syllables) < 0.7)[place]
    band = signal.butter(2, [2000.0, min(7000.0, 0.45 * rate_hz)], "bandpass", fs=rate_hz, output="sos")
    return np.asarray(sound / np.std(sound) + 0.3 * signal.sosfilt(band, hiss))


def _through(pulses: Floats, formants: list[Floats], rate_hz: int) -> Floats:
    """The pulses through resonances that move: pieces of 10 ms, each filter keeping its state."""
    piece = round(0.01 * rate_hz)
    out = np.zeros(len(pulses))
    states = [np.zeros(2) for _ in formants]
    for a in range(0, len(pulses), piece):
        for i, (f_hz, gain) in enumerate(zip(formants, (1.0, 0.6, 0.3), strict=True)):
            width_hz = 60.0 + 0.03 * f_hz[a]
            r = np.exp(-np.pi * width_hz / rate_hz)
            poles = [1.0, -2 * r * np.cos(2 * np.pi * f_hz[a] / rate_hz), r * r]
            heard, states[i] = signal.lfilter([1 - r], poles, pulses[a : a + piece], zi=states[i])
            out[a : a + piece] += gain * heard
    return out


def clock(frames: int, rate_hz: int, rng: np.random.Generator) -> Floats:
    """A tick every second, tick and tock a little apart, each with 0.15 s of the room's ring."""
    t = np.arange(round(0.15 * rate_hz)) / rate_hz
    ticks = []
    for _ in range(2):
        tones = [np.sin(2 * np.pi * f * t) * np.exp(-t / 0.003) for f in rng.uniform(1800, 0.4 * rate_hz, 4)]
        ring = 0.15 * rng.standard_normal(t.size) * np.exp(-t / 0.03)
        ticks.append(np.sum(tones, axis=0) + ring)
    total = np.zeros(frames)
    for i, at_s in enumerate(np.arange(rng.uniform(0, 1), frames / rate_hz, 1.0)):
        _put(total, ticks[i % 2], round(at_s * rate_hz))
    return total


MAKERS: Mapping[str, tuple[Callable[..., Floats], tuple[float, ...]]] = {
    "hum": (hum, (30.0,)),
    "pink noise": (pink, (30.0, 20.0, 10.0)),
    "street": (street, (30.0, 20.0, 10.0)),
    "speech": (speech, (20.0,)),
    "clock": (clock, (20.0,)),
}

CHAINS: dict[str, Chain] = {
    f"{name} {below_db:.0f} dB": partial(
        _added, what=f"{name} {below_db:.0f} dB under", make=make, below_db=below_db
    )
    for name, (make, levels) in MAKERS.items()
    for below_db in levels
}
"""Take and seed to take; the number is how far the disturbance lies under the notes."""
