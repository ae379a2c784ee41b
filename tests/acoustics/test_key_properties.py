"""What is done to a sound without touching its keys leaves the reading of the keys alone.

A dozen notes of a real grand and of a modelled piano are made louder, resampled, moved by 30 cents, buried in pink
noise, padded with silence and turned upside down; the truth is which key was struck when. What the search must keep
to is tried by breaking it: evidence as a mean per partial, under which a high note with one partial explains
everything, must fail here.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import signal

from pianolab.acoustics.keys import reading_keys
from pianolab.acoustics.keys.compass import usual_inharmonicity
from pianolab.acoustics.keys.fresh_lines import SIDE_CENTS, TOP_HZ, FreshLines, widened
from pianolab.acoustics.keys.line_evidence import LOW_PARTIALS, STEP_CENTS, LineEvidence, weigh
from pianolab.acoustics.keys.onsets import find_onsets
from pianolab.acoustics.keys.sequence import read_sequence
from pianolab.acoustics.spectra import as_channels
from pianolab.io import read_sound, real_notes
from pianolab.io.real_notes import string_together
from pianolab.sound_model import PianoModel, render_scale
from pianolab.units import key_to_hz

Sound = NDArray[np.float32]
Played = dict[int, float]
Scene = tuple[Sound, int, Played]

REAL_KEYS = (1, 10, 19, 28, 34, 40, 49, 58, 67, 73, 79, 85)
MODELLED_KEYS = (40, 51)
ONSET_S = 0.06
"""How far a key's time may be off: attacks of these notes rise within 45 ms."""


@cache
def scene(which: str) -> Scene:
    """A dozen notes, mono, with a little noise, and when each key was struck."""
    if which == "real":
        sound, onsets_s = string_together(hold_s=1.2, gap_s=0.3, keys=REAL_KEYS)
        samples, rate_hz, played = (
            sound.samples[:, 0],
            sound.rate_hz,
            dict(zip(REAL_KEYS, onsets_s, strict=True)),
        )
    else:
        first, last = MODELLED_KEYS
        scale = render_scale(
            PianoModel(seed=61), first_key=first, last_key=last, hold_s=1.0, gap_s=0.3, rate_hz=44100, seed=5
        )
        samples, rate_hz, played = scale.samples, scale.rate_hz, {s.key: s.onset_s for s in scale.strikes}
    noise = 1e-4 * np.random.default_rng(8).standard_normal(len(samples))
    return np.asarray(samples + noise, np.float32), rate_hz, played


def keys_read(sound: Sound, rate_hz: int, which: str) -> Played:
    """When each key is read, s."""
    first, last = MODELLED_KEYS if which == "modelled" else (1, 88)
    channels = as_channels(sound)
    onsets = find_onsets(channels, rate_hz=rate_hz)
    path = reading_keys.read_compass(
        channels, onsets, rate_hz=rate_hz, first_key=first, last_key=last, a4_hz=440.0, name="scene"
    )
    sequence = read_sequence(path, onsets, first_key=first, last_key=last, end_s=channels.shape[1] / rate_hz)
    return {key: float(onsets.times_s[at]) for key, at in sequence.strike_of.items()}


def right_and_wrong(read: Played, played: Played) -> tuple[int, int]:
    """How many played keys are read at their time, and how many keys are read that were not struck then."""
    right = sum(key in read and abs(read[key] - at_s) < ONSET_S for key, at_s in played.items())
    return right, len(read) - right


def resampled(sound: Sound, ratio: Fraction) -> Sound:
    return np.asarray(signal.resample_poly(sound, ratio.denominator, ratio.numerator), np.float32)


def louder(scene: Scene) -> Scene:
    return 8.0 * scene[0], *scene[1:]


def softer(scene: Scene) -> Scene:
    return np.float32(0.02) * scene[0], *scene[1:]


def at_another_rate(scene: Scene) -> Scene:
    sound, rate_hz, played = scene
    wanted_hz = 48000 if rate_hz == 44100 else 44100
    return resampled(sound, Fraction(rate_hz, wanted_hz)), wanted_hz, played


def moved(scene: Scene, cents: float) -> Scene:
    sound, rate_hz, played = scene
    ratio = Fraction(2 ** (cents / 1200)).limit_denominator(200)
    return resampled(sound, ratio), rate_hz, {key: at_s / float(ratio) for key, at_s in played.items()}


def in_pink_noise(scene: Scene) -> Scene:
    """Noise of equal power in every octave from 30 Hz up, its mean power 30 dB under the sound's."""
    sound, rate_hz, played = scene
    spectrum = np.fft.rfft(np.random.default_rng(9).standard_normal(len(sound)))
    hz = np.fft.rfftfreq(len(sound), 1 / rate_hz)
    noise = np.fft.irfft(spectrum / np.sqrt(np.maximum(hz, 30.0)), len(sound))
    noise *= np.sqrt(np.mean(sound**2) / np.mean(noise**2)) * 10 ** (-30 / 20)
    return np.asarray(sound + noise, np.float32), rate_hz, played


def by_a_clock(scene: Scene) -> Scene:
    """A tick of noise every second, as loud as the loudest sample, that falls 8.7 dB every 4 ms."""
    sound, rate_hz, played = scene
    t = np.arange(len(sound)) / rate_hz
    ticks = np.random.default_rng(10).standard_normal(len(sound)) * np.exp(-np.fmod(t + 0.63, 1.0) / 0.004)
    ticks *= np.max(np.abs(sound)) / np.max(np.abs(ticks))
    return np.asarray(sound + ticks, np.float32), rate_hz, played


def padded(scene: Scene) -> Scene:
    sound, rate_hz, played = scene
    before, after = np.zeros(3 * rate_hz, np.float32), np.zeros(4 * rate_hz, np.float32)
    return np.concatenate([before, sound, after]), rate_hz, {key: 3.0 + at_s for key, at_s in played.items()}


def upside_down(scene: Scene) -> Scene:
    return -scene[0], *scene[1:]


CHANGES: dict[str, Callable[[Scene], Scene]] = {
    "louder": louder,
    "softer": softer,
    "another rate": at_another_rate,
    "30 cents up": lambda scene: moved(scene, 30.0),
    "30 cents down": lambda scene: moved(scene, -30.0),
    "pink noise": in_pink_noise,
    "clock": by_a_clock,
    "padded": padded,
    "upside down": upside_down,
}


@pytest.mark.slow
@pytest.mark.parametrize("which", ["real", "modelled"])
@pytest.mark.parametrize("change", CHANGES)
def test_the_keys_stay(change: str, which: str) -> None:
    sound, rate_hz, played = CHANGES[change](scene(which))
    read = keys_read(sound, rate_hz, which)
    right, wrong = right_and_wrong(read, played)
    assert wrong == 0
    assert right >= len(played) - (1 if change in ("pink noise", "clock") else 0)
    beside = {key + 1: at_s for key, at_s in read.items()}
    assert right_and_wrong(beside, played)[0] == 0, "a table shifted by one key would show"
    octave_up = {key + 12 if key == min(read) else key: at_s for key, at_s in read.items()}
    assert right_and_wrong(octave_up, played)[1] >= 1, "one note an octave up would show"


def test_a_move_that_is_not_followed_would_show() -> None:
    """Times and pitch: the change must reach what is read, or nothing was tried."""
    sound, rate_hz, played = padded(scene("real"))
    late = {key: at_s + 0.1 for key, at_s in played.items()}
    assert right_and_wrong(keys_read(sound, rate_hz, "real"), late)[0] == 0
    sound, rate_hz, played = moved(scene("real"), 200.0)
    assert right_and_wrong(keys_read(sound, rate_hz, "real"), played)[0] < len(played) / 2, (
        "a whole tone is another key"
    )


def mean_per_partial(fresh: FreshLines, *, rate_hz: int, first_key: int, last_key: int) -> LineEvidence:
    """How far a pitch's partials stand out in the mean, less 8 dB: a pitch with one partial in band asks for one line."""
    evidence = weigh(fresh, rate_hz=rate_hz, first_key=first_key, last_key=last_key)
    n = np.arange(1, LOW_PARTIALS + 1)
    hz = (
        n
        * key_to_hz(evidence.grid)[:, None]
        * np.sqrt(1 + usual_inharmonicity(evidence.grid)[:, None] * n**2)
    )
    at = np.minimum(np.round(hz * fresh.size / rate_hz).astype(int), fresh.out_db.shape[1] - 1)
    in_band = (hz < TOP_HZ) | (n == 1)
    mean_db = (widened(fresh.out_db)[:, at] * in_band).sum(axis=2) / in_band.sum(axis=1)
    score = (mean_db - 8.0).astype(np.float32)
    return LineEvidence(score, score, evidence.b_factor, evidence.grid)


def test_a_mean_per_partial_would_be_caught(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reading_keys, "weigh", mean_per_partial)
    monkeypatch.setattr(reading_keys, "_is_piano", lambda *_, **__: True)
    sound, rate_hz, played = scene("real")
    right, wrong = right_and_wrong(keys_read(sound, rate_hz, "real"), played)
    assert right < len(played) or wrong > 0


def test_a_line_is_seen_from_wherever_it_may_lie_and_not_much_farther() -> None:
    """From each bin all within two thirds of so many cents, two bins at the low end, and none beyond the whole."""
    spectrum = np.random.default_rng(6).random((2, 5000)).astype(np.float32)
    spectrum[:, 2] = 2.0
    found, share = widened(spectrum), np.log(2.0) * SIDE_CENTS / 1200.0

    def greatest_within(at: int, reach: int) -> np.ndarray:
        return spectrum[:, max(at - reach, 0) : at + reach + 1].max(axis=1)

    for at in range(4900):
        assert np.all(found[:, at] >= greatest_within(at, max(2, int(share * at * 2 / 3))))
        assert np.all(found[:, at] <= greatest_within(at, max(2, int(np.ceil(share * at)))))


def off_by_plain_peaks(key: int, f1_hz: float) -> float:
    """How far a coarse pitch lies from a straight line through (f_n / n)^2 over n^2, cents: the stiff string's law.

    The peaks are the highest bins of one plain spectrum within 30 cents of where a string of that pitch has them, and
    nothing of the library's is used [fletcher1964].
    """
    note = read_sound(real_notes()[key])
    wave = note.samples[: 2 * note.rate_hz, 0]
    size = 8 * len(wave)
    power = np.abs(np.fft.rfft(wave * np.hanning(len(wave)), n=size))
    n, b = np.arange(3, 13), 0.0
    for _ in range(4):
        at = n * f1_hz * np.sqrt((1 + b * n**2) / (1 + b)) * size / note.rate_hz
        peaks = [int(p * 0.983) + int(np.argmax(power[int(p * 0.983) : int(p * 1.017)])) for p in at]
        slope, level = np.polyfit(n**2.0, (np.array(peaks) * note.rate_hz / size / n) ** 2, 1)
        b = float(slope / level)
    return float(1200 * np.log2(f1_hz / np.sqrt(level * (1 + b))))


def test_where_the_partials_of_a_bass_string_begin_is_read_off_the_low_ones(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def off_cents(key: int) -> float:
        sound, rate_hz, played = scene("real")
        channels = as_channels(sound)
        onsets = find_onsets(channels, rate_hz=rate_hz)
        path = reading_keys.read_compass(
            channels, onsets, rate_hz=rate_hz, first_key=1, last_key=88, a4_hz=440.0, name="scene"
        )
        (at,) = np.flatnonzero((path.keys == key) & (np.abs(onsets.times_s - played[key]) < ONSET_S))
        return off_by_plain_peaks(key, float(path.f1_hz[at]))

    assert max(abs(off_cents(1)), abs(off_cents(10))) < STEP_CENTS
    # The twin: over the whole band the next step of pitch, with less inharmonicity, explains A0 better.
    monkeypatch.setattr(reading_keys, "weigh", by_all_partials)
    assert off_cents(1) > STEP_CENTS


def by_all_partials(fresh: FreshLines, **where: int) -> LineEvidence:
    evidence = weigh(fresh, **where)
    return replace(evidence, low_score=evidence.score)
