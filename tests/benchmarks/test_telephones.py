"""What recorders and disturbances do to a take, each measured in the sound it leaves."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

import numpy as np
import pandas as pd
import pytest
from numpy.typing import NDArray
from scipy import signal

from benchmarks import disturbances, telephones
from benchmarks.playing import held_power
from benchmarks.scoring import listened
from benchmarks.takes import Press, Take
from benchmarks.telephones import CHAINS, REFUSED
from pianolab.errors import BadInput

RATE_HZ = 44100
NOTES = ((49, 0.6), (56, 1.7), (61, 2.8))
HOLD_S, DECAY_DB_PER_S, DAMPED_DB_PER_S = 0.8, 8.0, 150.0


@lru_cache
def three_notes(seconds: float, noise: float) -> NDArray[np.float32]:
    """Three decaying notes with 12 harmonics over white noise; times and levels by construction."""
    t = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    sound = noise * np.random.default_rng(0).standard_normal(t.size)
    for key, onset_s in NOTES:
        since = t[t >= onset_s] - onset_s
        lost_db = DECAY_DB_PER_S * since + DAMPED_DB_PER_S * np.maximum(0, since - HOLD_S)
        tone = sum(np.sin(2 * np.pi * n * f1_hz(key) * since + n) / n for n in range(1, 13))
        sound[t >= onset_s] += 0.2 * tone * 10 ** (-lost_db / 20)
    return sound.astype(np.float32)


def a_take(*, seconds: float = 4.5, noise: float = 1e-4, channels: int = 1) -> Take:
    sound = three_notes(seconds, noise)
    rows = [{"key": k, "f1_hz": f1_hz(k), "cents": 0.0, "decay_20_s": 2.5, "faults": ""} for k, _ in NOTES]
    return Take(
        family="made up",
        case="plain",
        name="three notes",
        samples=np.stack([sound] * channels, axis=1) if channels > 1 else sound.copy(),
        rate_hz=RATE_HZ,
        presses=tuple(Press(key=k, onset_s=s, release_s=s + HOLD_S) for k, s in NOTES),
        truth=pd.DataFrame(rows),
        first_key=49,
        last_key=61,
        t60_s=0.4,
        knows=frozenset({"pitch", "decay"}),
        asked={"first_key": 49, "last_key": 61},
    )


def f1_hz(key: int) -> float:
    return float(440.0 * 2 ** ((key - 49) / 12))


def tones(*f_hz: float) -> Take:
    """A steady sound instead of the notes."""
    take = a_take()
    t = np.arange(len(take.samples)) / RATE_HZ
    return disturbances.changed(take, sum(0.1 * np.sin(2 * np.pi * f * t) for f in f_hz), "tones")


def tone_db(take: Take, f_hz: float) -> float:
    """Level of one frequency over the whole take."""
    t = np.arange(len(take.samples)) / take.rate_hz
    window = np.hanning(t.size)
    line = np.sum(take.samples * window * np.exp(-2j * np.pi * f_hz * t)) / window.sum()
    return float(20 * np.log10(2 * abs(line) + 1e-12))


def level_db(take: Take, at_s: float, seconds: float = 0.03) -> float:
    piece = take.samples[round(at_s * take.rate_hz) :][: round(seconds * take.rate_hz)]
    return float(10 * np.log10(np.mean(np.square(piece, dtype=float)) + 1e-20))


def rises_s(take: Take) -> NDArray[np.float64]:
    """Steepest rise of the level of 4 ms of sound near each press, by the sound alone."""
    hop = round(0.001 * take.rate_hz)
    power = np.cumsum(np.square(take.samples, dtype=float))[::hop]
    level = 10 * np.log10(power[4:] - power[:-4] + 1e-9)
    rise = level[4:] - level[:-4]
    found = []
    for press in take.presses:
        at = round(press.onset_s * take.rate_hz / hop)
        near = slice(max(0, at - 120), at + 120)
        found.append((near.start + int(np.argmax(rise[near])) + 4) * hop / take.rate_hz)
    return np.array(found)


def strongest_hz(samples: NDArray[np.float32], rate_hz: int, near_hz: float) -> float:
    spectrum = np.abs(np.fft.rfft(samples * np.hanning(len(samples)), 1 << 21))
    f = np.fft.rfftfreq(1 << 21, 1 / rate_hz)
    return float(f[np.argmax(np.where(np.abs(f / near_hz - 1) < 0.03, spectrum, 0))])


@pytest.mark.parametrize("name", CHAINS)
def test_every_chain_changes_the_sound_and_says_so(name: str) -> None:
    take = a_take(seconds=5.0)
    before = take.samples.copy()
    new = CHAINS[name](take, 1)
    assert np.array_equal(take.samples, before)
    assert new.samples.dtype == np.float32
    assert np.isfinite(new.samples).all()
    assert new.rate_hz != take.rate_hz or not np.array_equal(new.samples, take.samples)
    assert new.case != take.case
    assert np.array_equal(new.samples, CHAINS[name](take, 1).samples)
    assert new.seconds == pytest.approx(take.seconds, rel=0.011)


@pytest.mark.parametrize(
    "name", ["AAC 64k", "street 10 dB", "wander 0.3 %", "automatic gain 2 s", "noise gate"]
)
def test_stereo_takes_stay_stereo(name: str) -> None:
    assert CHAINS[name](a_take(channels=2), 1).samples.shape[1] == 2


@pytest.mark.parametrize("name", ["AAC 64k", "Opus 32k", "Opus 16k"])
def test_codecs_keep_onsets_in_their_place(name: str) -> None:
    take = a_take()
    new = CHAINS[name](take, 1)
    assert rises_s(new) == pytest.approx(rises_s(take), abs=0.005)
    late = disturbances.changed(new, np.roll(new.samples, round(0.008 * new.rate_hz)), "late")
    with pytest.raises(AssertionError):
        assert rises_s(late) == pytest.approx(rises_s(take), abs=0.005)
    assert new.asked["lossy"] is True
    assert level_db(new, 0.8) == pytest.approx(level_db(take, 0.8), abs=1.0)


def test_a_codec_at_few_bits_keeps_partials_and_not_the_noise_above_them() -> None:
    """What is left of the waveform itself, not of its power: Opus fills its upper bands with noise of its own."""
    take = a_take(noise=1e-2)
    was = telephones._sampled_at(take.samples, RATE_HZ, telephones.OPUS_RATE_HZ)

    def error_db(name: str, low_hz: float, high_hz: float) -> float:
        band = signal.butter(4, [low_hz, high_hz], "bandpass", fs=telephones.OPUS_RATE_HZ, output="sos")
        now = CHAINS[name](take, 1)
        now = telephones._sampled_at(now.samples, now.rate_hz, telephones.OPUS_RATE_HZ)
        before, after = (signal.sosfilt(band, x[: was.size]) for x in (was, now))
        return float(10 * np.log10(np.mean((after - before) ** 2) / np.mean(before**2)))

    for name in ("AAC 64k", "Opus 32k", "Opus 16k"):
        assert error_db(name, 400, 2000) < -10
    assert error_db("Opus 16k", 13000, 18000) > -3
    assert error_db("AAC 64k", 400, 2000) < error_db("Opus 32k", 400, 2000) < error_db("Opus 16k", 400, 2000)


@pytest.mark.parametrize(
    ("codec", "container", "bits"),
    [("aac", "mp4", 64000), ("libopus", "ogg", 32000), ("libopus", "ogg", 16000)],
)
def test_codecs_spend_the_bits_they_are_given(codec: str, container: str, bits: int) -> None:
    sound = telephones._sampled_at(a_take().samples, RATE_HZ, 48000)[:, None]
    data = telephones._encoded(sound, 48000, codec, container, bits)
    assert 0.6 < len(data) * 8 / (len(sound) / 48000) / bits < 1.35


def test_the_delay_of_a_codec_is_found_to_the_frame() -> None:
    sound = a_take().samples[:, None]
    for late in (-2112, 0, 37, 2112):
        assert telephones.delay_frames(sound, np.roll(sound, late, axis=0), RATE_HZ) == late


def test_a_delay_that_the_file_does_not_tell_is_taken_back() -> None:
    """A bare AAC stream keeps the encoder's lead of a frame or two (1024 samples each), unlike one in a container."""
    take = a_take()
    sound = take.samples[:, None]
    bare = telephones._decoded(telephones._encoded(sound, RATE_HZ, "aac", "adts", 64000), channels=1)
    assert telephones.delay_frames(sound, bare, RATE_HZ) >= 1024
    late = disturbances.changed(take, bare[: len(sound), 0], "late")
    assert np.abs(rises_s(late) - rises_s(take)).min() > 0.015
    new = telephones.coded(take, what="bare", codec="aac", container="adts", bits_per_s=64000)
    assert rises_s(new) == pytest.approx(rises_s(take), abs=0.005)


@pytest.mark.parametrize(
    ("name", "gone", "kept"),
    [
        ("300-3400 Hz", (100.0, 8000.0), (700.0, 2000.0)),
        ("high-pass 200 Hz", (60.0,), (400.0, 15000.0)),
        ("low-pass 8 kHz", (16000.0,), (60.0, 5000.0)),
        ("16 kHz rate", (11000.0,), (60.0, 6000.0)),
        ("8 kHz rate", (6000.0,), (60.0, 3000.0)),
    ],
)
def test_what_lies_outside_a_band_vanishes(
    name: str, gone: tuple[float, ...], kept: tuple[float, ...]
) -> None:
    take = tones(*gone, *kept)
    new = CHAINS[name](take, 1)
    for f_hz in kept:
        assert tone_db(new, f_hz) == pytest.approx(tone_db(take, f_hz), abs=0.5)
    power_db = 10 * np.log10(np.mean(np.square(new.samples, dtype=float)))
    assert power_db == pytest.approx(10 * np.log10(len(kept) * 0.1**2 / 2), abs=0.5)
    for f_hz in gone:
        if f_hz < new.rate_hz / 2:
            assert tone_db(new, f_hz) < tone_db(take, f_hz) - 60
    assert ("decay" in new.knows) == (name not in ("300-3400 Hz", "high-pass 200 Hz"))


def test_listen_refuses_what_should_be_refused_and_nothing_more() -> None:
    for name in ("8 kHz rate", "16 kHz rate"):
        new = CHAINS[name](a_take(), 1)
        if name in REFUSED:
            with pytest.raises(BadInput):
                listened(new)
        else:
            listened(new)


@pytest.mark.parametrize(("name", "release_s"), [("automatic gain 2 s", 2.0), ("automatic gain 0.2 s", 0.2)])
def test_gain_comes_up_in_pauses_as_fast_as_it_says(name: str, release_s: float) -> None:
    """A quiet tone after a loud one: its level rises by 8.69 dB per release time [20 / ln 10]."""
    t = np.arange(4 * RATE_HZ) / RATE_HZ
    tone = np.where(t < 1.0, 0.3, 1e-3) * np.sin(2 * np.pi * 1000 * t)
    new = CHAINS[name](disturbances.changed(a_take(), tone, "step"), 1)
    assert level_db(new, 0.8) == pytest.approx(-15, abs=0.5)
    early, late = 1.0 + 0.3 * release_s, 1.0 + 1.3 * release_s
    assert level_db(new, late) - level_db(new, early) == pytest.approx(8.69, abs=0.8)


def test_the_gate_makes_holes_of_nothing_and_leaves_notes_alone() -> None:
    take = a_take(noise=1e-3)
    new = CHAINS["noise gate"](take, 1)
    release_s = NOTES[0][1] + HOLD_S
    assert level_db(take, release_s + 0.27) > -70
    assert not new.samples[round((release_s + 0.27) * RATE_HZ) :][: round(0.02 * RATE_HZ)].any()
    held = slice(round(0.65 * RATE_HZ), round(1.3 * RATE_HZ))
    assert np.array_equal(new.samples[held], take.samples[held])
    assert 0.2 < np.mean(new.samples == 0) < 0.7
    below = np.flatnonzero(new.samples[round(release_s * RATE_HZ) :] == 0)[0] / RATE_HZ
    assert 35 / DAMPED_DB_PER_S - 0.05 < below < 35 / DAMPED_DB_PER_S + 0.08


@pytest.mark.parametrize("by_db", [3, 6, 12])
def test_as_many_samples_are_clipped_as_lie_over_the_mark(by_db: int) -> None:
    take = a_take()
    size = np.abs(take.samples)
    new = CHAINS[f"clipped {by_db} dB"](take, 1)
    assert np.abs(new.samples).max() == 1.0
    share = np.mean(np.abs(new.samples) == 1.0)
    assert share == pytest.approx(np.mean(size >= size.max() * 10 ** (-by_db / 20)), abs=2e-6)
    assert share > 0
    assert share != np.mean(size >= size.max() * 10 ** (-(by_db + 1) / 20))


def test_soft_clipping_adds_odd_harmonics_only() -> None:
    new = CHAINS["soft clipping"](tones(1000.0), 1)
    assert tone_db(new, 3000.0) > tone_db(new, 1000.0) - 30
    assert tone_db(new, 2000.0) < tone_db(new, 1000.0) - 80
    assert np.abs(new.samples).max() < 1.0


def test_a_fast_recorder_is_17_2_cents_sharp_in_sound_and_truth() -> None:
    """1200 log2(1.01) = 17.23 cents [by hand]."""
    take = a_take()
    new = CHAINS["speed 1 %"](take, 1)
    at = slice(round(0.62 * RATE_HZ), round(1.3 * RATE_HZ))
    cents = 1200 * np.log2(strongest_hz(new.samples[at], RATE_HZ, 440.0) / 440.0)
    assert cents == pytest.approx(17.23, abs=0.3)
    assert new.truth["cents"].to_numpy() == pytest.approx(17.23, abs=0.01)
    assert new.truth["f1_hz"].iloc[0] == pytest.approx(444.4)
    assert rises_s(new) == pytest.approx([s / 1.01 for _, s in NOTES], abs=0.004)
    assert take.truth["cents"].eq(0).all()
    assert new.asked == take.asked


def phase_speed(take: Take, f_hz: float) -> NDArray[np.float64]:
    """Share by which a steady tone's frequency is off, 20 times a second."""
    t = np.arange(len(take.samples)) / take.rate_hz
    line = take.samples * np.exp(-2j * np.pi * f_hz * t)
    size = round(take.rate_hz / 20)
    blocks = line[: len(line) // size * size].reshape(-1, size).mean(axis=1)
    return np.diff(np.unwrap(np.angle(blocks))) * 20 / (2 * np.pi * f_hz)


def test_speed_wanders_by_as_much_and_as_slowly_as_it_says() -> None:
    take = tones(1000.0)
    speed = phase_speed(CHAINS["wander 0.3 %"](take, 3), 1000.0)
    assert np.abs(speed).max() == pytest.approx(0.003, rel=0.05)
    turns = np.count_nonzero(np.diff(np.sign(speed))) / 2 / (speed.size / 20)
    assert 0.4 < turns < 1.2
    assert np.abs(phase_speed(take, 1000.0)).max() < 1e-5


def test_wander_adds_no_noise_of_its_own() -> None:
    """A swaying sine has all its power within 200 Hz of its place [deviation 27 Hz, sway 1 Hz]."""
    new = CHAINS["wander 0.3 %"](tones(9000.0), 3)
    inside = new.samples[RATE_HZ:-RATE_HZ].astype(float)
    spectrum = np.abs(np.fft.rfft(inside * np.blackman(inside.size))) ** 2
    f = np.fft.rfftfreq(inside.size, 1 / RATE_HZ)
    near = np.abs(f - 9000) < 200
    assert 10 * np.log10(spectrum[~near].sum() / spectrum[near].sum()) < -70


def test_ten_holes_of_40_ms() -> None:
    take = a_take()
    new = CHAINS["drop-outs"](take, 5)
    gone = (new.samples == 0) & (take.samples != 0)
    edges = np.diff(np.concatenate([[0], (new.samples == 0).astype(int), [0]]))
    runs = np.flatnonzero(edges == -1) - np.flatnonzero(edges == 1)
    long = runs[runs > 100]
    assert np.sum(long) == pytest.approx(10 * 0.04 * RATE_HZ, abs=20)
    assert gone.sum() <= np.sum(long)
    assert not np.array_equal(new.samples, CHAINS["drop-outs"](take, 6).samples)


def added(name: str, *, seconds: float = 4.5, seed: int = 1) -> tuple[Take, NDArray[np.float64]]:
    take = a_take(seconds=seconds)
    return take, CHAINS[name](take, seed).samples.astype(float) - take.samples


@pytest.mark.parametrize("name", disturbances.CHAINS)
def test_disturbances_lie_as_far_under_the_notes_as_they_say(name: str) -> None:
    take, sound = added(name)
    below_db = float(name.split()[-2])
    lasting = sound[np.abs(sound) > 1e-7] if name.split()[0] in ("speech", "clock") else sound
    got = 10 * np.log10(held_power(take.samples, take.presses, RATE_HZ) / np.mean(lasting**2))
    assert got == pytest.approx(below_db, abs=1.0)


def octave_db(sound: NDArray[np.float64], f_hz: float) -> float:
    power = np.abs(np.fft.rfft(sound)) ** 2
    f = np.fft.rfftfreq(sound.size, 1 / RATE_HZ)
    return float(10 * np.log10(power[(f > f_hz / 1.414) & (f < f_hz * 1.414)].sum()))


def test_pink_noise_has_equal_octaves_and_the_street_has_not() -> None:
    _, noise = added("pink noise 20 dB")
    _, outside = added("street 20 dB", seconds=20.0)
    at = (125.0, 500.0, 2000.0, 8000.0)
    assert [octave_db(noise, f) for f in at] == pytest.approx([octave_db(noise, 1000.0)] * 4, abs=1.5)
    assert octave_db(outside, 63.0) > octave_db(outside, 4000.0) + 10


def test_the_street_swells_and_the_hum_does_not() -> None:
    rate_hz = 16000

    def range_db(make: Callable[..., NDArray[np.float64]]) -> float:
        sound = make(60 * rate_hz, rate_hz, np.random.default_rng(4))
        return float(np.ptp(10 * np.log10(np.mean(sound.reshape(-1, rate_hz) ** 2, axis=1))))

    assert range_db(disturbances.street) > 6
    assert range_db(disturbances.hum) < 0.5
    assert range_db(disturbances.pink) < 2.5


def test_hum_stands_at_multiples_of_50_hz_and_nowhere_else() -> None:
    _, sound = added("hum 30 dB", seconds=10.0)
    power = np.abs(np.fft.rfft(sound * np.hanning(sound.size))) ** 2
    f = np.fft.rfftfreq(sound.size, 1 / RATE_HZ)
    off = np.abs(f - 50 * np.round(f / 50))
    assert power[off < 3].sum() / power.sum() > 0.99
    assert f[np.argmax(power)] == pytest.approx(50, abs=0.3)


def test_speech_has_pauses_voice_and_about_four_syllables_a_second() -> None:
    rate_hz = 16000
    sound = disturbances.speech(60 * rate_hz, rate_hz, np.random.default_rng(2))
    block = rate_hz // 50
    level = np.sqrt(np.mean(sound[: len(sound) // block * block].reshape(-1, block) ** 2, axis=1))
    talking = level > 0.02 * level.max()
    assert 0.2 < talking.mean() < 0.8
    runs = np.split(level, np.flatnonzero(np.diff(talking.astype(int))) + 1)
    phrases = [r for r in runs if r[0] > 0.02 * level.max() and r.size > 75]
    spectra = [np.abs(np.fft.rfft(np.r_[p - p.mean()] * np.hanning(p.size), 2048)) ** 2 for p in phrases]
    f = np.fft.rfftfreq(2048, 0.02)
    rate = f[np.argmax(np.where(f > 1.5, sum(s / s.sum() for s in spectra), 0))]
    assert rate == pytest.approx(disturbances.SYLLABLES_PER_S, abs=1.2)


def test_a_clock_ticks_once_a_second() -> None:
    _, sound = added("clock 20 dB", seconds=10.0)
    power = np.convolve(sound**2, np.ones(441), "same")
    ticks = np.flatnonzero((power[1:] > 0.05 * power.max()) & (power[:-1] <= 0.05 * power.max()))
    assert np.diff(ticks[np.insert(np.diff(ticks) > 5000, 0, True)]) / RATE_HZ == pytest.approx(1.0, abs=0.01)
    assert level_of(sound, ticks[0] + 3000) < level_of(sound, ticks[0]) - 10


def level_of(sound: NDArray[np.float64], at: int) -> float:
    return float(10 * np.log10(np.mean(sound[at : at + 441] ** 2) + 1e-20))
