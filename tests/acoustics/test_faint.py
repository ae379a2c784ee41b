"""Tones found though their blow is not, and blows that are none, on tones written down by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pianolab.acoustics.keys.faint import DROWNED, FAINT, begin_with_tone, with_faint_keys, without_made_up
from pianolab.acoustics.keys.keypath import NO_NOTE, KeyPath
from pianolab.acoustics.keys.onsets import Onsets
from pianolab.acoustics.keys.sequence import Sequence
from pianolab.acoustics.keys.strikes import Strikes
from pianolab.units import key_to_hz

RATE_HZ = 44100
HELD_S = 1.0
SILENT = ("silent", "a gap where it was struck, and no sound")


def scale(levels: dict[int, float], *, knock: bool = False) -> np.ndarray:
    """One decaying sine per key and second at its amplitude, in noise of 0.01."""
    rng = np.random.default_rng(1)
    t = np.arange(RATE_HZ) / RATE_HZ
    parts = []
    for key, level in levels.items():
        tone = level * np.sin(2 * np.pi * key_to_hz(key) * t) * np.exp(-3.0 * t)
        if knock and level == 0.0:
            tone = 0.3 * rng.standard_normal(len(t)) * np.exp(-t / 0.01)
        parts.append(tone)
    whole = np.concatenate([np.zeros(2 * RATE_HZ), *parts, np.zeros(RATE_HZ)])
    return (whole + 0.01 * rng.standard_normal(len(whole))).astype(np.float32)[None]


def heard(levels: dict[int, float], *, absent: int, knock: bool = False) -> tuple[str, str]:
    key = np.array([k for k in levels if k != absent])
    onset = np.array([2.0 + HELD_S * list(levels).index(int(k)) for k in key])
    strikes = Strikes(key, onset, onset + HELD_S, np.asarray(key_to_hz(key)), np.ones(len(key)))
    sequence = Sequence({}, {}, {absent: SILENT})
    found = with_faint_keys(sequence, scale(levels, knock=knock), strikes, rate_hz=RATE_HZ)
    return found.absent[absent]


LOUD = dict.fromkeys(range(80, 89), 0.3)


def test_a_faint_tone_is_not_called_silent() -> None:
    assert heard(LOUD | {84: 0.01}, absent=84) == FAINT


def test_a_faint_last_key_is_not_called_skipped() -> None:
    assert heard(LOUD | {88: 0.01}, absent=88) == FAINT


def test_no_tone_stays_silent() -> None:
    assert heard(LOUD | {84: 0.0}, absent=84) == SILENT


def test_no_tone_among_keys_that_noise_nearly_drowns_is_unclear() -> None:
    faint = dict.fromkeys(range(80, 89), 0.002)
    assert heard(faint | {84: 0.0}, absent=84) == DROWNED
    # The twins: where all but one stand clear it would have been heard, and a faint tone is still one.
    assert heard(LOUD | {84: 0.0, 85: 0.001}, absent=84) == SILENT
    assert heard(faint | {84: 0.01}, absent=84) == FAINT


def test_a_knock_without_a_string_stays_silent() -> None:
    assert heard(LOUD | {84: 0.0}, absent=84, knock=True) == SILENT


def test_a_string_that_rang_before_stays_silent() -> None:
    """Key 84 sounds under its own name an interval earlier: what rings on was there before."""
    levels = LOUD | {84: 0.0}
    samples = scale(levels)
    t = np.arange(samples.shape[1]) / RATE_HZ
    samples += (0.02 * np.sin(2 * np.pi * key_to_hz(84) * t)).astype(np.float32)
    key = np.array([k for k in levels if k != 84])
    onset = 2.0 + HELD_S * (key - 80.0)
    strikes = Strikes(key, onset, onset + HELD_S, np.asarray(key_to_hz(key)), np.ones(len(key)))
    found = with_faint_keys(Sequence({}, {}, {84: SILENT}), samples, strikes, rate_hz=RATE_HZ)
    assert found.absent[84] == SILENT


def test_nothing_is_said_of_a_key_whose_time_is_not_all_in_the_recording() -> None:
    """Cut where the first key would have begun, or before the last one has sounded, however loud it is there."""
    whole = scale(LOUD | {80: 0.3, 88: 0.3})
    for absent, cut in ((80, np.s_[:, 2 * RATE_HZ :]), (88, np.s_[:, : round(10.1 * RATE_HZ)])):
        key = np.array([k for k in LOUD if k != absent])
        onset = HELD_S * (key - 80.0) + (0.0 if absent == 80 else 2.0)
        strikes = Strikes(key, onset, onset + HELD_S, np.asarray(key_to_hz(key)), np.ones(len(key)))
        at_once = replace(strikes, onset_s=np.where(key == 81, 0.02, onset)) if absent == 80 else strikes
        found = with_faint_keys(Sequence({}, {}, {absent: SILENT}), whole[cut], at_once, rate_hz=RATE_HZ)
        assert found.absent[absent] == SILENT


def a_tone_in_noise(candidates_s: list[float], *, ringing: bool = False, loud: float = 0.05) -> list[float]:
    """Key 80 (2637 Hz) struck at 1.0 s in noise, read at ``candidates_s``: when its strikes begin, by what is heard."""
    rate, f_hz = 44100, 2637.0
    t = np.arange(round(2.5 * rate)) / rate
    sounds = np.where(t >= 1.0, np.exp(-2.0 * (t - 1.0)), 1.0 if ringing else 0.0)
    noise = np.random.default_rng(5).normal(0.0, 0.05, len(t))
    channels = (loud * sounds * np.sin(2 * np.pi * f_hz * t) + noise)[None].astype(np.float32)
    at, nothing = np.array(candidates_s), np.zeros(len(candidates_s))
    onsets = Onsets(at, nothing + 1.0, np.zeros(0), np.zeros(0), 0.01)
    keys = np.full(len(at), 80, dtype=np.int64)
    path = KeyPath(keys, nothing + f_hz, nothing + 1.0, nothing + 20.0, nothing + 9.0, 0.0, 0)
    began, read = begin_with_tone(onsets, path, channels, rate_hz=rate)
    return began.times_s[read.keys != NO_NOTE].tolist()


def test_a_note_read_before_it_came_begins_where_its_tone_rises() -> None:
    assert a_tone_in_noise([0.45]) == pytest.approx([1.0], abs=0.02)
    assert a_tone_in_noise([0.45, 0.7, 0.99]) == pytest.approx([1.0], abs=0.02), "and is one strike"


def test_a_note_that_began_where_it_was_read_stays_there() -> None:
    # The twins: its own candidate, a string that rang before, and noise without any tone.
    assert a_tone_in_noise([0.99]) == [0.99]
    assert a_tone_in_noise([0.45], ringing=True) == [0.45]
    assert a_tone_in_noise([0.45], loud=0.0) == [0.45]


def struck_in_noise(
    *, again: float = 0.0, rises: tuple[float, float] = (10.0, 5.0), beats: float = 0.0, noise: float = 0.03
) -> list[float]:
    """Key 59 (784 Hz, four partials) struck at 1 s and so strongly ``again`` at 1.7 s, on a string that rings.

    When it was struck, by what is heard, where candidates at both places were read, of such ``rises``.
    """
    t = np.arange(round(3.0 * RATE_HZ)) / RATE_HZ
    rng = np.random.default_rng(7)
    tone = noise * rng.standard_normal(len(t))
    for n in range(1, 5):
        for at_s, blow in ((1.0, 1.0), (1.7, again)):
            since = np.maximum(t - at_s, 0.0)
            tone += np.where(t >= at_s, 0.3 * blow / n * np.exp(-1.5 * n * since), 0.0) * np.sin(
                2 * np.pi * 784.0 * n * since
            )
    # A unison that beats: one partial at its least just before the candidate, and back at once after it.
    if beats:
        tone += (
            beats * np.where(t >= 1.7, 1.0 - np.exp(-(t - 1.7) / 0.03), 0.0) * np.sin(2 * np.pi * 784.0 * t)
        )
    times_s = np.array([1.0, 1.7])
    onsets = Onsets(times_s, np.array(rises), np.zeros(0), np.zeros(0), 0.01)
    twice = np.ones(2)
    path = KeyPath(
        np.full(2, 59, dtype=np.int64), 784.0 * twice, 0.0 * twice, 20.0 * twice, 9.0 * twice, 0.0, 0
    )
    read = without_made_up(onsets, path, tone[None].astype(np.float32), rate_hz=RATE_HZ)
    return times_s[read.keys != NO_NOTE].tolist()


def test_a_repeat_that_noise_made_up_is_none() -> None:
    assert struck_in_noise() == [1.0]
    assert struck_in_noise(beats=0.2) == [1.0], "one partial that comes back is a unison that beats"


def test_a_key_struck_twice_in_noise_stays_struck_twice() -> None:
    # The twins: as strong, softer, much softer where nothing hides it; and a candidate that rises like the first.
    assert struck_in_noise(again=1.0) == [1.0, 1.7]
    assert struck_in_noise(again=0.4) == [1.0, 1.7]
    assert struck_in_noise(again=0.15, noise=0.001) == [1.0, 1.7]
    assert struck_in_noise(rises=(10.0, 11.0)) == [1.0, 1.7]
