"""Single notes: what is seeded can be found in the sound, and a healthy piano doesn't show it."""

from dataclasses import replace

import numpy as np
import pytest

from pianolab.errors import BadInput
from pianolab.sound_model import KeyFault, NoteModes, PianoModel, note_modes, note_truth, render_note
from pianolab.sound_model.piano import OFF_DB
from pianolab.sound_model.truth import fall_time, level_curve
from pianolab.units import cents_between, power_to_db

RATE_HZ = 44100
HEALTHY = PianoModel(seed=5, kind="grand", tuning_spread_cents=0.0)


def with_fault(key: int, kind: str, amount: float | None = None, **more: str) -> PianoModel:
    fault = KeyFault(key=key, kind=kind, amount=amount, **more)  # type: ignore[arg-type]
    return PianoModel(seed=5, kind="grand", tuning_spread_cents=0.0, faults=(fault,))


def band_power_db(sound: np.ndarray, low_hz: float, high_hz: float) -> float:
    power = np.abs(np.fft.rfft(sound * np.hanning(sound.size))) ** 2
    f_hz = np.fft.rfftfreq(sound.size, 1 / RATE_HZ)
    return float(power_to_db(power[(f_hz >= low_hz) & (f_hz <= high_hz)].sum()))


def peak_hz(sound: np.ndarray, near_hz: float, *, within: float = 0.03) -> float:
    """Frequency of the strongest line near one, by a parabola through the logarithms."""
    size = 1 << 21
    level = np.abs(np.fft.rfft(sound * np.hanning(sound.size), size))
    f_hz = np.fft.rfftfreq(size, 1 / RATE_HZ)
    inside = np.flatnonzero(np.abs(f_hz / near_hz - 1) < within)
    top = inside[np.argmax(level[inside])]
    a, b, c = np.log(level[top - 1 : top + 2])
    return float(f_hz[top] + (0.5 * (a - c) / (a - 2 * b + c)) * f_hz[1])


def test_same_model_same_sound_other_seed_other_sound() -> None:
    first = render_note(HEALTHY, 40, seconds=0.5)
    assert np.array_equal(first, render_note(HEALTHY, 40, seconds=0.5))
    assert not np.array_equal(first, render_note(HEALTHY, 40, seconds=0.5, seed=1))
    other = PianoModel(seed=6, kind="grand", tuning_spread_cents=0.0)
    assert not np.array_equal(first, render_note(other, 40, seconds=0.5))


@pytest.mark.parametrize("key", [5, 30, 49, 64, 80])
def test_partials_are_where_the_model_says(key: int) -> None:
    pure = PianoModel.plain(seed=5, unison_spread_cents=0.0, false_beat_cents=0.0)
    sound = render_note(pure, key, seconds=2.0, knock=False)
    for n in (2, 3):
        expected = float(pure.partials(key, np.array([n]))[0].mean())
        found = peak_hz(sound, expected)
        assert abs(cents_between(found, expected)) < 1.0
        assert abs(cents_between(found, n * float(pure.strings(key).mean()))) > (0.3 if key == 30 else 0.8)


def test_low_bass_has_many_partials_and_a_weak_first() -> None:
    modes = note_modes(HEALTHY, 2)
    level_db = np.array(
        [power_to_db(abs(modes.amplitudes[modes.numbers == n].sum()) ** 2) for n in range(1, 61)]
    )
    assert (level_db > level_db.max() - 60).sum() >= 40
    assert level_db[0] < level_db.max() - 20
    top = note_modes(HEALTHY, 80)
    assert np.unique(top.numbers[top.numbers > 0]).size < 10


def level_at(sound: np.ndarray, time_s: float) -> float:
    """Level in a quarter of a second from a time on, in dB."""
    start = round(time_s * RATE_HZ)
    return float(power_to_db(np.mean(sound[start : start + RATE_HZ // 4].astype(float) ** 2)))


def quick_over_slow(sound: np.ndarray) -> float:
    """Decay in the first half second over that between 1.5 and 5 s (dB/s over dB/s)."""
    early = (level_at(sound, 0.0) - level_at(sound, 0.5)) / 0.5
    late = (level_at(sound, 1.5) - level_at(sound, 5.0)) / 3.5
    return early / late


def test_decay_has_two_stages() -> None:
    sounds = [render_note(HEALTHY, key, seconds=5.3, knock=False) for key in range(40, 65, 3)]
    assert np.median([quick_over_slow(s) for s in sounds]) > 2.0
    t = np.arange(round(5.3 * RATE_HZ)) / RATE_HZ
    one_stage = [np.exp(-rate * t) * np.sin(2000.0 * t) for rate in (0.5, 1.0, 2.0)]
    assert np.median([quick_over_slow(s) for s in one_stage]) < 1.1


@pytest.mark.slow
def test_bass_rings_longer_than_treble() -> None:
    def median_s(keys: range) -> float:
        return float(
            np.median(
                [note_truth(note_modes(HEALTHY, k), hold_s=2.0, rate_hz=16000).decay_20_s for k in keys]
            )
        )

    assert median_s(range(16, 40)) > 3.0 * median_s(range(64, 88))


def modes_of(*parts: tuple[float, float, float]) -> NoteModes:
    """Modes from (amplitude, decay in dB/s, frequency)."""
    amplitudes, decays, f_hz = (np.array(column) for column in zip(*parts, strict=True))
    return NoteModes(
        key=49,
        amplitudes=amplitudes.astype(complex),
        poles=-decays / 8.685889638065035 + 2j * np.pi * f_hz,
        numbers=np.arange(1, len(parts) + 1),
        damping_per_s=np.full(len(parts), 60.0 / 8.685889638065035 / 0.3),
        leak=0.0,
        contact_s=0.0,
    )


def test_true_decay_of_known_envelopes() -> None:
    """16 dB/s with a tail of 4 dB/s 20 dB down reaches -20 dB after 1.339625 s; by hand from the formula."""
    two_stage = modes_of((0.2, 16.0, 2000.0), (0.02, 4.0, 3100.0))
    assert note_truth(two_stage, hold_s=1.0, rate_hz=RATE_HZ).decay_20_s == pytest.approx(1.339625, abs=0.006)
    one_stage = modes_of((0.2, 16.0, 2000.0))
    truth = note_truth(one_stage, hold_s=1.0, rate_hz=RATE_HZ)
    assert truth.decay_20_s == pytest.approx(1.25, abs=0.003)
    assert abs(truth.decay_20_s - 1.339625) > 0.05


def test_true_release_of_a_known_damper() -> None:
    """A damper of T60 0.3 s on a tone that falls 16 dB/s: 216 dB/s, so 20 dB in 93 ms, less what the
    window before the release lies higher."""
    truth = note_truth(modes_of((0.2, 16.0, 2000.0)), hold_s=1.0, rate_hz=RATE_HZ)
    assert truth.release_20_s == pytest.approx(20.0 / 216.0, abs=0.012)


def test_fall_time_takes_the_last_crossing() -> None:
    t = np.arange(0.0, 10.0, 0.01)
    beating = -5.0 * t + 12.0 * np.minimum(0.0, np.cos(2.0 * np.pi * t))
    found = fall_time(t, beating, start=0, drop_db=20.0)
    assert found == pytest.approx(4.0, abs=0.3)
    assert t[np.argmax(beating < -20.0)] < 3.6  # the first crossing


def test_off_pitch_is_heard() -> None:
    moved = with_fault(45, "off_pitch", 14.0)
    f1_hz = float(HEALTHY.strings(45).mean())
    assert cents_between(moved.strings(45).mean(), f1_hz) == pytest.approx(14.0)
    heard = peak_hz(render_note(moved, 45, seconds=2.0), f1_hz)
    assert cents_between(heard, peak_hz(render_note(HEALTHY, 45, seconds=2.0), f1_hz)) == pytest.approx(
        14, abs=0.5
    )


def test_one_slipped_string_is_heard_beside_the_others() -> None:
    slipped = with_fault(56, "off_pitch", -20.0, strings="one")
    strings = np.sort(slipped.strings(56))
    assert cents_between(strings[-1], strings[0]) == pytest.approx(20.0, abs=1.0)

    def lower_line_db(model: PianoModel) -> float:
        sound = render_note(model, 56, seconds=1.5, knock=False)
        return band_power_db(sound, strings[0] - 2, strings[0] + 2) - band_power_db(sound, 600, 700)

    assert lower_line_db(slipped) > -15
    assert lower_line_db(HEALTHY) < -25


def beat_depth_db(model: PianoModel, key: int, *, partial: int) -> float:
    """How deep the level of one partial dips between 0.1 and 1.5 s, against a straight decay."""
    sound = render_note(model, key, seconds=2.5, knock=False)
    f_hz = float(model.partials(key, np.array([partial]))[0].mean())
    turning = sound * np.exp(-2j * np.pi * f_hz * np.arange(sound.size) / RATE_HZ)
    window = np.hanning(round(4 * RATE_HZ / float(model.strings(key)[0])))
    level = power_to_db(np.abs(np.convolve(turning, window / window.sum(), "same")[::50]) ** 2)
    level = level[round(0.1 * RATE_HZ / 50) : round(1.5 * RATE_HZ / 50)]
    line = np.polyval(np.polyfit(np.arange(level.size), level, 1), np.arange(level.size))
    return float(-(level - line).min())


def test_mistuned_unison_beats() -> None:
    """Without the movement along the board: it beats with the strings even where they agree."""
    mistuned, tuned = (replace(with_fault(42, "unison", cents), aftersound_db=OFF_DB) for cents in (8.0, 0.1))
    strings = mistuned.strings(42)
    assert cents_between(strings.max(), strings.min()) == pytest.approx(8.0, abs=1e-6)
    assert beat_depth_db(mistuned, 42, partial=3) > 6.0
    assert beat_depth_db(tuned, 42, partial=3) < 3.0


def test_short_sustain_is_heard() -> None:
    def fall_db(model: PianoModel) -> float:
        sound = render_note(model, 62, seconds=1.0, knock=False)
        return level_at(sound, 0.0) - level_at(sound, 0.3)

    short = with_fault(62, "short_sustain", 0.4)
    bare = [replace(m, aftersound_db=OFF_DB, thump_db=OFF_DB, body_db=OFF_DB) for m in (short, HEALTHY)]
    assert fall_db(bare[0]) > 1.5 * fall_db(bare[1])  # the quick stage, without what lies under it
    assert fall_db(short) > fall_db(HEALTHY) + 4.0
    truths = [note_truth(note_modes(m, 62), hold_s=2.0, rate_hz=RATE_HZ).decay_20_s for m in (short, HEALTHY)]
    assert truths[0] < 0.6 * truths[1]


def test_leaking_damper_is_heard() -> None:
    def left_db(model: PianoModel) -> float:
        sound = render_note(model, 33, seconds=2.0, hold_s=1.0, knock=False)
        return level_at(sound, 1.4) - level_at(sound, 0.74)

    leaking = with_fault(33, "damper", 0.4)
    assert left_db(leaking) > -25
    assert left_db(HEALTHY) < -45
    slow, quick = (
        note_truth(note_modes(m, 33), hold_s=1.0, rate_hz=RATE_HZ).release_20_s for m in (leaking, HEALTHY)
    )
    assert slow > 4.0 * quick


def test_keys_above_the_last_damper_ring_on() -> None:
    def left_db(key: int) -> float:
        model = PianoModel.plain(seed=5, last_damped_key=68)  # the board rings on, whatever the damper does
        sound = render_note(model, key, seconds=1.0, hold_s=0.4, knock=False)
        return level_at(sound, 0.6) - level_at(sound, 0.14)

    assert left_db(69) > left_db(68) + 15


@pytest.mark.parametrize("manner", ["periodic", "rattle"])
def test_buzz_has_the_level_it_says_and_stops_when_the_tone_is_soft(manner: str) -> None:
    buzzing = with_fault(30, "buzz", -25.0, manner=manner)
    tone = render_note(HEALTHY, 30, seconds=6.0, knock=False).astype(float)
    buzz = render_note(buzzing, 30, seconds=6.0, knock=False) - tone
    start = slice(0, round(0.3 * RATE_HZ))
    assert power_to_db(np.mean(buzz[start] ** 2) / np.mean(tone[start] ** 2)) == pytest.approx(-25.0, abs=0.1)
    assert not np.any(np.abs(buzz[5 * RATE_HZ :]) > 1e-6)
    share_high = band_power_db(buzz[start], 1500, 9000) - band_power_db(buzz[start], 20, 1000)
    assert share_high > 15


@pytest.mark.parametrize(("key", "low", "high"), [(44, 2.5, 4.5), (80, 1.5, 2.5)])
def test_voicing_moves_the_upper_partials(key: int, low: float, high: float) -> None:
    f1_hz = float(HEALTHY.strings(key).mean())

    def bright_db(model: PianoModel) -> float:
        sound = render_note(model, key, seconds=0.3, knock=False)
        return band_power_db(sound, high * f1_hz, 20000) - band_power_db(sound, 0.5 * f1_hz, low * f1_hz)

    harsh = with_fault(key, "voicing", 9.0)
    assert bright_db(harsh) - bright_db(HEALTHY) == pytest.approx(9.0, abs=0.3)
    assert note_modes(harsh, key).brightness_db() > note_modes(HEALTHY, key).brightness_db() + 5.0
    assert abs(bright_db(with_fault(key, "off_pitch", 1.0)) - bright_db(HEALTHY)) < 1.0
    loud = [level_curve(render_note(m, key, knock=False), rate_hz=RATE_HZ)[1].max() for m in (harsh, HEALTHY)]
    assert loud[0] == pytest.approx(loud[1], abs=1.5)


def test_harder_blows_are_louder_and_brighter() -> None:
    soft, hard = (note_modes(HEALTHY, 44, blow_db=b) for b in (-4.0, 4.0))
    assert hard.brightness_db() > soft.brightness_db() + 1.0
    total = [
        level_curve(render_note(HEALTHY, 44, blow_db=b, knock=False), rate_hz=RATE_HZ)[1].max()
        for b in (-4.0, 4.0)
    ]
    assert total[1] - total[0] == pytest.approx(8.0, abs=0.5)


def test_silent_key_gives_a_knock_and_no_tone() -> None:
    dead = with_fault(49, "silent")
    f1_hz = float(HEALTHY.strings(49).mean())
    late = slice(RATE_HZ // 2, None)
    assert not np.any(render_note(dead, 49, seconds=1.0)[late])
    assert np.abs(render_note(dead, 49, seconds=1.0)).max() > 1e-3
    sounding = render_note(PianoModel.plain(seed=5), 49, seconds=1.0)
    assert (
        band_power_db(sounding[late], f1_hz - 5, f1_hz + 5)
        > band_power_db(sounding[late], 50, f1_hz - 50) + 30
    )


def test_a_fault_leaves_all_other_keys_alone() -> None:
    faulty = with_fault(45, "off_pitch", 14.0)
    assert np.array_equal(render_note(faulty, 46, seconds=0.3), render_note(HEALTHY, 46, seconds=0.3))
    assert not np.array_equal(render_note(faulty, 45, seconds=0.3), render_note(HEALTHY, 45, seconds=0.3))


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: PianoModel(sustain=-1.0), r"sustain: got -1\.0"),
        (lambda: PianoModel(kind="spinet"), "kind: got 'spinet', need upright or grand"),  # type: ignore[arg-type]
        (lambda: PianoModel(seed=-1), "seed: got -1"),
        (lambda: PianoModel(first_key=50, last_key=40), "first_key: got 50"),
        (
            lambda: PianoModel(last_key=85, faults=(KeyFault(key=88, kind="silent"),)),
            "key of a fault: got 88",
        ),
        (
            lambda: with_fault(75, "damper"),
            "key of a damper fault: got 75, need a key with a damper, up to 68",
        ),
        (lambda: with_fault(4, "unison"), "key of a unison fault: got 4"),
        (lambda: KeyFault(key=40, kind="wobble"), "kind: got 'wobble'"),  # type: ignore[arg-type]
        (
            lambda: KeyFault(key=40, kind="short_sustain", amount=3.0),
            "amount of short_sustain, key 40: got 3",
        ),
        (lambda: KeyFault(key=40, kind="buzz", amount=float("nan")), "amount of buzz, key 40: got nan"),
        (lambda: KeyFault(key=40, kind="buzz", manner="hiss"), "manner: got 'hiss'"),  # type: ignore[arg-type]
        (lambda: render_note(PianoModel(last_key=85), 88), "key: got 88"),
        (lambda: render_note(PianoModel(), 40, seconds=0.0), r"seconds: got 0\.0"),
        (
            lambda: render_note(PianoModel(), 88, rate_hz=8000),
            r"rate_hz: got 8000, need \d+ or more for key 88",
        ),
    ],
)
def test_impossible_values_are_refused(make, words: str) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(BadInput, match=words):
        make()


def test_a_silent_key_knocks_no_louder_than_a_sounding_one() -> None:
    """No string takes up the hammer's blow; nothing but the knock is left, at once and soon over."""
    silent, whole, without = (
        render_note(model, 40, seconds=0.3, knock=knock)
        for model, knock in ((with_fault(40, "silent"), True), (HEALTHY, True), (HEALTHY, False))
    )
    knock = whole - without
    first, rest = slice(0, round(0.1 * RATE_HZ)), slice(round(0.2 * RATE_HZ), None)
    apart_db = 10.0 * np.log10(np.sum(silent[first] ** 2) / np.sum(knock[first] ** 2))
    assert -6.0 < apart_db < 0.0
    assert np.sum(silent[rest] ** 2) < 1e-3 * np.sum(silent[first] ** 2)
