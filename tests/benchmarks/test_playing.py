"""Takes of a made-up instrument: times, pedals, silences, pitch and rooms are where the take says."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import signal

from benchmarks import shoebox
from benchmarks.playing import CASES, Retuned, held_power, play
from benchmarks.takes import Sound, Take
from pianolab.errors import BadInput

RATE_HZ = 16000
DECAY_DB_PER_S, DAMPED_DB_PER_S = 6.0, 200.0


@dataclass(frozen=True)
class Plucked:
    """Decaying stiff partials: -6 dB/s while the key is down, -200 dB/s after; no damper from key 70 up."""

    channels: int = 1
    keys: tuple[int, ...] = tuple(range(1, 89))
    dead: tuple[int, ...] = ()
    name: str = "plucked"
    rate_hz: int = RATE_HZ

    def note(
        self, key: int, *, hold_s: float, blow_db: float = 0.0, seed: int = 0, pedal: bool = False
    ) -> Sound:
        t = np.arange(round((hold_s + 4.0) * RATE_HZ)) / RATE_HZ
        n = np.arange(1, 9)
        f = self.f1_hz(key) * n * np.sqrt((1 + 4e-4 * n**2) / (1 + 4e-4))
        n, f = n[f < 7000], f[f < 7000]
        phase = np.random.default_rng([seed, key]).uniform(0, 2 * np.pi, f.size)
        lost_db = DECAY_DB_PER_S * t
        if key < 70 and not pedal:
            lost_db = lost_db + DAMPED_DB_PER_S * np.maximum(0, t - hold_s)
        tone = np.sin(2 * np.pi * f[:, None] * t + phase[:, None]) / n[:, None]
        sound = tone.sum(axis=0) * 10 ** ((blow_db - lost_db) / 20) * (key not in self.dead)
        return np.repeat(sound[:, None], self.channels, axis=1).astype(np.float32)

    def f1_hz(self, key: int) -> float:
        return float(440 * 2 ** ((key - 49) / 12))

    def truth(self, key: int) -> Mapping[str, object]:
        return {
            "key": key,
            "f1_hz": self.f1_hz(key),
            "cents": 0.0,
            "inharmonicity": 4e-4,
            "unison_cents": np.nan,
            "strings": 1,
            "decay_20_s": 20 / DECAY_DB_PER_S,
            "damped": key < 70,
            "faults": "silent" if key in self.dead else "",
        }


def take_of(source: Any = None, **how: Any) -> Take:
    how = {"first_key": 45, "last_key": 50, "hold_s": 0.8, "gap_s": 0.4, "seed": 3} | how
    return play(source or Plucked(), family="made up", **how)


def level_db(take: Take, at_s: float, *, seconds: float = 0.05) -> float:
    at = round(at_s * take.rate_hz)
    piece = take.samples[at : at + round(seconds * take.rate_hz)]
    return float(10 * np.log10(np.mean(np.square(piece, dtype=float))))


def rises_s(take: Take, *, by_db: float = 10.0) -> NDArray[np.float64]:
    """Where 5 ms of sound are ``by_db`` louder than the 20 ms before: an onset measure of its own."""
    hop = round(0.001 * take.rate_hz)
    power = np.cumsum(np.square(take.samples, dtype=float))[::hop]
    now, before = (power[25:] - power[20:-5]) / 5, (power[20:-5] - power[:-25]) / 20
    loud = np.flatnonzero(10 * np.log10((now + 1e-15) / (before + 1e-15)) > by_db)
    first = loud[np.insert(np.diff(loud) > 40, 0, True)] if loud.size else loud
    return (first + 20) * hop / take.rate_hz


def strongest_hz(take: Take, key: int, near_hz: float) -> float:
    """Peak of the spectrum of a key's hold, within 15 % of a frequency."""
    press = next(p for p in take.presses if p.key == key and p.sounds)
    piece = take.samples[round(press.onset_s * take.rate_hz) : round(press.release_s * take.rate_hz)]
    spectrum = np.abs(np.fft.rfft(piece * np.hanning(len(piece)), 1 << 20))
    f = np.fft.rfftfreq(1 << 20, 1 / take.rate_hz)
    return float(f[np.argmax(np.where(np.abs(f / near_hz - 1) < 0.15, spectrum, 0))])


def test_sound_rises_where_presses_say_and_nowhere_else() -> None:
    for room in (None, 0.3):
        take = take_of(room=room, jitter=0.1)
        found = rises_s(take)
        assert found == pytest.approx([p.onset_s for p in take.presses], abs=0.006)
        with pytest.raises(AssertionError):
            assert found == pytest.approx([p.onset_s + 0.02 for p in take.presses], abs=0.006)


def test_the_same_arguments_give_the_same_take_and_another_seed_another() -> None:
    assert np.array_equal(take_of().samples, take_of().samples)
    assert [p.onset_s for p in take_of().presses] != [p.onset_s for p in take_of(seed=4).presses]


def test_noise_stands_where_it_should_and_is_never_digital_silence() -> None:
    take = take_of(snr_db=30.0, gap_s=0.8)
    quiet_db = level_db(take, 0.05, seconds=0.6)
    held_db = 10 * np.log10(held_power(take.samples, take.presses, take.rate_hz))
    assert held_db - quiet_db == pytest.approx(30.0, abs=0.7)
    zeros = take.samples == 0
    assert not (zeros[1:] & zeros[:-1]).any()


def test_a_source_with_a_background_brings_its_own_noise() -> None:
    class Humming(Plucked):
        def background(self, frames: int, seed: int) -> Sound:
            return np.full((frames, 1), 0.01 * (1 + seed), np.float32)

    take = take_of(Humming(), seed=1)
    before = take.samples[: round(0.5 * RATE_HZ)]
    assert np.ptp(before) == 0
    peak = np.abs(take.samples - before[0]).max()
    assert peak == pytest.approx(10 ** (-6 / 20), rel=0.01)


@pytest.mark.parametrize(("carries", "case"), [(True, "plain"), (False, "plain"), (True, "soft take")])
def test_noise_is_as_loud_under_the_notes_as_between_them(carries: bool, case: str) -> None:
    """Notes that bring their own noise get no second helping: above the partials it is level throughout."""

    class Hissing(Plucked):
        carries_noise = carries

        def note(self, key: int, **how: Any) -> Sound:
            sound = super().note(key, **how)
            sound = sound[: round((how["hold_s"] + 0.05) * RATE_HZ)]
            hiss = np.random.default_rng(key).standard_normal(sound.shape) * 0.003
            return (sound + carries * hiss).astype(np.float32)

        def background(self, frames: int, seed: int) -> Sound:
            return (np.random.default_rng(seed).standard_normal((frames, 1)) * 0.003).astype(np.float32)

    take = take_of(Hissing(), case=case, blow_spread_db=0.0)
    high = signal.sosfilt(signal.butter(8, 7200, "highpass", fs=RATE_HZ, output="sos"), take.samples)
    heard = replace(take, samples=high)
    under = np.mean([level_db(heard, p.onset_s + 0.3, seconds=0.4) for p in take.presses])
    between = np.mean([level_db(heard, p.release_s + 0.08, seconds=0.25) for p in take.presses])
    assert under - between == pytest.approx(0.0, abs=0.4)


@pytest.mark.parametrize("case", CASES)
def test_every_case_is_a_sound_take(case: str) -> None:
    wide = {"first_key": 1, "last_key": 32} if case in ("adjacent silent keys", "dead bass strings") else {}
    wide |= {"first_key": 84, "last_key": 88} if case == "85 keys" else {}
    wide |= {"first_key": 2, "last_key": 6} if case == "no A0" else {}
    take = take_of(case=case, **wide)
    assert take.samples.dtype == np.float32
    assert np.isfinite(take.samples).all()
    status = take.truth.set_index("key")["status_true"]
    for press in take.presses:
        assert press.onset_s < press.release_s < take.seconds
        assert status[press.key] == ("measured" if press.sounds else "silent")
    assert status.index.tolist() == list(range(take.first_key, take.last_key + 1))
    assert set(status.index[status == "skipped"]) == set(status.index) - {p.key for p in take.presses}
    assert take.healthy == ("silent" not in set(status))


def test_what_is_named_is_asked_and_what_is_not_is_left_out() -> None:
    assert take_of().asked == {"first_key": 45, "last_key": 50}
    assert take_of(case="one register").asked == {}
    assert take_of(case="one register").last_key == 88
    assert take_of(case="A4 at 415 named").asked["a4_hz"] == 415.0
    assert "a4_hz" not in take_of(case="A4 at 415").asked
    assert take_of(case="85 keys", first_key=84, last_key=88).asked == {}
    named = play(Plucked(), family="made up", case="one register named", seed=1, hold_s=0.2, gap_s=0.1)
    assert named.asked["last_key"] - named.asked["first_key"] in (12, 24)


def test_notes_ring_on_after_release_only_with_the_pedal() -> None:
    def after_release(case: str, which: int) -> float:
        take = take_of(case=case, snr_db=70.0)
        press = take.presses[which]
        return level_db(take, press.release_s + 0.3) - level_db(take, press.release_s - 0.1)

    assert after_release("plain", 1) < -40
    assert after_release("pedal throughout", 1) > -6
    assert after_release("pedal begun", 1) < -40
    assert after_release("pedal begun", 5) > -6
    assert after_release("pedal ended", 1) > -6
    assert after_release("pedal ended", 5) < -40


def test_the_pedal_ends_for_all_notes_at_once_in_the_middle_of_one() -> None:
    take = take_of(case="pedal ended", snr_db=70.0)
    held = take.presses[3]
    middle = (held.onset_s + held.release_s) / 2
    first = take.presses[0].key

    def of_first(at_s: float) -> float:
        piece = take.samples[round(at_s * RATE_HZ) :][: round(0.2 * RATE_HZ)].astype(float)
        t = np.arange(piece.size) / RATE_HZ
        line = np.exp(-2j * np.pi * Plucked().f1_hz(first) * t) * np.hanning(piece.size)
        return float(20 * np.log10(abs(np.sum(piece * line))))

    assert of_first(middle - 0.2) - of_first(middle + 0.1) > 15


def test_undamped_keys_ring_into_the_next() -> None:
    take = take_of(first_key=72, last_key=74, snr_db=70.0)
    release_s = take.presses[-1].release_s
    assert level_db(take, release_s + 0.3) > level_db(take, release_s - 0.1) - 6


@pytest.mark.slow
def test_strokes_of_the_cases() -> None:
    def keys(case: str) -> list[int]:
        return [p.key for p in take_of(case=case, first_key=40, last_key=51).presses]

    up = list(range(40, 52))
    assert keys("descending") == up[::-1]
    assert keys("white keys only") == [40, 42, 44, 45, 47, 49, 51]
    assert len(keys("re-strikes")) == 18
    assert len(keys("wrong notes")) == 17
    assert len(keys("two keys at once")) == 15
    overlap = take_of(case="legato").presses
    assert all(0.1 < a.release_s - b.onset_s < 0.45 for a, b in pairwise(overlap))
    pauses = np.diff([p.onset_s for p in take_of(case="slow with pauses", last_key=53).presses])
    assert np.sum(pauses > 10) == 3
    fast = np.diff([p.onset_s for p in take_of(case="fast 0.4 s", last_key=60).presses])
    assert np.mean(fast) == pytest.approx(0.4, rel=0.06)


def test_soft_and_loud_strikes_differ_by_18_db() -> None:
    take = take_of(case="soft and loud", blow_spread_db=0.0, snr_db=60.0)
    soft, loud = next((a, b) for a, b in pairwise(take.presses) if a.key == b.key)
    assert level_db(take, loud.onset_s + 0.1) - level_db(take, soft.onset_s + 0.1) == pytest.approx(18, abs=1)


@pytest.mark.parametrize(
    ("case", "cents"), [("A4 at 415", -101.27), ("A4 at 466", 99.39), ("60 cents flat", -60)]
)
def test_pitch_is_moved_in_the_sound_as_in_the_truth(case: str, cents: float) -> None:
    """1200 log2(415/440) = -101.27, 1200 log2(466/440) = 99.39 [semitones of 415.305 and 466.164 Hz less 1.27 and 0.61 cents, by hand]."""
    take = take_of(case=case, first_key=49, last_key=49, hold_s=2.0)
    f_hz = strongest_hz(take, 49, 440.0)
    assert 1200 * np.log2(f_hz / 440.0) == pytest.approx(cents, abs=0.5)
    row = take.truth.set_index("key").loc[49]
    assert row["cents"] == pytest.approx(cents, abs=0.02)
    assert row["f1_hz"] == pytest.approx(440 * 2 ** (cents / 1200), rel=2e-5)
    plain = take_of(first_key=49, last_key=49, hold_s=2.0)
    assert abs(1200 * np.log2(strongest_hz(plain, 49, 440.0) / 440.0)) < 0.5


def test_a_retuned_note_is_let_go_when_the_take_says() -> None:
    sound = Retuned(Plucked(), -101.27).note(45, hold_s=0.8)[:, 0]
    power = np.square(sound.reshape(-1)[: RATE_HZ * 2]).reshape(-1, 160).mean(axis=1)
    drop = 10 * np.log10(power[:-5] / power[5:])
    assert np.flatnonzero(drop > 3)[0] * 0.01 == pytest.approx(0.8, abs=0.06)


def test_silent_presses_leave_a_thump_far_below_the_notes_and_no_tone() -> None:
    take = take_of(case="dead bass strings", first_key=40, last_key=53, snr_db=70.0)
    silent = [p for p in take.presses if not p.sounds]
    assert [p.key for p in silent] == list(range(40, 52))
    assert take.truth["cents"].isna().sum() == 12
    note = level_db(take, take.presses[-1].onset_s, seconds=0.03)
    for press in silent[:3]:
        thump = level_db(take, press.onset_s, seconds=0.03)
        assert thump > level_db(take, press.onset_s + 0.3) + 6
        assert 25 < note - thump < 60


def test_three_and_eleven_keys_are_silent_side_by_side() -> None:
    take = take_of(case="adjacent silent keys", first_key=30, last_key=65, hold_s=0.2, gap_s=0.1)
    status = "".join("s" if s == "silent" else "." for s in take.truth["status_true"])
    assert sorted(len(run) for run in status.split(".") if run) == [3, 11]


def test_a_key_that_is_dead_in_the_source_is_silent() -> None:
    take = take_of(Plucked(dead=(47,)))
    assert [p.key for p in take.presses if not p.sounds] == [47]
    assert take.truth.set_index("key").loc[47, ["status_true", "faults"]].tolist() == ["silent", "silent"]
    assert not take.healthy
    assert take.knows == {"pitch", "inharmonicity", "decay", "faults"}


def test_a_soft_take_is_soft_and_keeps_its_noise() -> None:
    plain, soft = take_of(snr_db=60.0), take_of(snr_db=60.0, case="soft take")
    assert 20 * np.log10(np.abs(soft.samples).max()) == pytest.approx(-40, abs=1)
    assert level_db(soft, 0.05, seconds=0.6) == pytest.approx(level_db(plain, 0.05, seconds=0.6), abs=0.1)


def test_the_room_rings_as_long_as_it_says() -> None:
    """Fall of the last damped note against the take's own reverberation time."""
    take = take_of(room=0.9, snr_db=90.0, last_key=45, tail_s=1.2)
    assert take.t60_s == pytest.approx(0.9, rel=0.08)
    end_s = take.presses[-1].release_s
    at = np.arange(0.1, 0.5, 0.02)
    level = [level_db(take, end_s + a, seconds=0.04) for a in at]
    assert -60 / np.polyfit(at, level, 1)[0] == pytest.approx(0.9, rel=0.25)
    assert take_of().t60_s is None


def test_channels_of_a_stereo_source_stand_apart_in_the_room() -> None:
    take = take_of(Plucked(channels=2), room="home")
    left, right = take.samples[:, 0], take.samples[:, 1]
    assert 0.02 < 1 - np.corrcoef(left, right)[0, 1] < 0.99
    dry = take_of(Plucked(channels=2), snr_db=90.0)
    assert np.corrcoef(dry.samples.T)[0, 1] > 0.9999


@pytest.mark.parametrize("t60_s", [0.15, 0.6, 2.0])
def test_a_room_for_any_reverberation_time(t60_s: float) -> None:
    rng = np.random.default_rng(5)
    room = shoebox.room_for(t60_s, rng)
    response = shoebox.impulse_response(room, 0, rate_hz=44100, rng=rng)
    assert shoebox.measured_t60(response, rate_hz=44100) == pytest.approx(t60_s, rel=0.1)
    for place in (room.piano_m, *room.microphones_m):
        assert all(0.1 < x < size - 0.1 for x, size in zip(place, room.size_m, strict=True))
    small = shoebox.room_for(0.3, rng, volume_m3=20.0)
    assert np.prod(small.size_m) == pytest.approx(20.0)


@pytest.mark.parametrize(
    "how",
    [
        {"case": "unheard of"},
        {"room": "cellar"},
        {"room": 3.0},
        {"first_key": 90, "last_key": 95},
        {"case": "adjacent silent keys"},
        {"case": "white keys only", "first_key": 50, "last_key": 50},
    ],
)
def test_what_cannot_be_played_is_said_in_one_line(how: dict[str, Any]) -> None:
    with pytest.raises(BadInput) as caught:
        take_of(**how)
    assert "\n" not in str(caught.value)
    assert "need" in str(caught.value)
