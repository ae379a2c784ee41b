"""Short recordings with known truth: rooms of known fall, blows at known times, pedals of known level."""

import numpy as np
import pytest

from pianolab.acoustics.short import chord_fall, pedal_noise, repetition, room_by_clap
from pianolab.errors import BadInput

RATE = 24000
RNG = np.random.default_rng(7)
NOISE = RNG.normal(0, 1e-5, 30 * RATE)


def claps(t60_s, *, count=5, pause_s=2.0, noise=1e-5):
    one = np.exp(
        -3.0 * np.log(10.0) * np.arange(round(pause_s * RATE)) / RATE / t60_s
    )  # 60 dB in t60_s, by definition
    sound = np.concatenate([one * RNG.normal(0, 0.3, len(one)) for _ in range(count)])
    return sound + RNG.normal(0, noise, len(sound))


@pytest.mark.parametrize("t60_s", [0.25, 0.5, 1.2])
def test_a_room_of_known_fall(t60_s) -> None:
    found = room_by_clap(claps(t60_s), rate_hz=RATE)
    assert found.t60_s == pytest.approx(t60_s, rel=0.08)
    assert abs(found.t60_s - t60_s) < 4 * found.sd_s + 0.01
    assert found.t60_s != pytest.approx(1.25 * t60_s, rel=0.08)


def test_a_room_hidden_by_noise_is_not_known_and_says_why() -> None:
    found = room_by_clap(claps(0.5, noise=0.05), rate_hz=RATE)
    assert found.t60_s is None
    assert "noise" in found.headline()
    assert room_by_clap(claps(0.5, count=2), rate_hz=RATE).t60_s is None


def tone(seconds, fall_db_per_s=10.0, hz=440.0):
    t = np.arange(round(seconds * RATE)) / RATE
    return 0.5 * np.sin(2 * np.pi * hz * t) * 10 ** (-fall_db_per_s * t / 20)


def test_a_chord_of_known_fall() -> None:
    sound = np.concatenate([np.zeros(RATE // 2), tone(8.0)])
    found = chord_fall(sound + NOISE[: len(sound)], rate_hz=RATE)
    assert found.fall_20_s == pytest.approx(2.0, abs=0.05)
    assert found.fall_40_s == pytest.approx(4.0, abs=0.05)
    loud = RNG.normal(0, 0.02, len(sound))
    assert chord_fall(sound + loud, rate_hz=RATE).fall_40_s is None


def blows(times_s, seconds):
    sound = NOISE[: round(seconds * RATE)].copy()
    for t in times_s:
        at = round(t * RATE)
        part = tone(min(0.4, seconds - t), fall_db_per_s=120.0, hz=330.0)
        sound[at : at + len(part)] += part
    return sound


@pytest.mark.parametrize("per_s", [5.0, 9.0])
def test_repetition_at_a_known_rate(per_s) -> None:
    times = 0.5 + np.arange(30) / per_s
    found = repetition(blows(times, times[-1] + 1.0), rate_hz=RATE)
    assert found.per_s == pytest.approx(per_s, rel=0.06)
    assert (found.blows, found.missed) == (30, 0)
    gone = np.delete(times, [10, 20])
    assert repetition(blows(gone, times[-1] + 1.0), rate_hz=RATE).missed == 2


def test_too_few_blows_say_nothing() -> None:
    found = repetition(blows([0.5, 1.0], 2.0), rate_hz=RATE)
    assert (found.per_s, "fewer than" in found.why) == (None, True)


@pytest.mark.parametrize("level_db", [-30.0, -50.0])
def test_a_pedal_of_known_level(level_db) -> None:
    sound = np.concatenate([tone(6.0, fall_db_per_s=25.0), np.zeros(6 * RATE)]) + NOISE[: 12 * RATE]
    for t in (7.0, 8.5, 10.0):
        thud = 10 ** (level_db / 20) * tone(0.3, fall_db_per_s=60.0, hz=120.0)
        sound[round(t * RATE) : round(t * RATE) + len(thud)] += thud
    found = pedal_noise(sound, rate_hz=RATE)
    assert found.moves == 3
    assert found.noise_db == pytest.approx(level_db, abs=2.0)


def test_a_silent_pedal_is_not_called_silent() -> None:
    sound = np.concatenate([tone(6.0, fall_db_per_s=25.0), np.zeros(6 * RATE)]) + NOISE[: 12 * RATE]
    found = pedal_noise(sound, rate_hz=RATE)
    assert (found.noise_db, found.moves) == (None, 0)


@pytest.mark.parametrize("measure", [room_by_clap, chord_fall, repetition, pedal_noise])
def test_too_short_is_refused(measure) -> None:
    with pytest.raises(BadInput, match="got 0"):
        measure(np.zeros(RATE // 3), rate_hz=RATE)
