"""Modelled pianos drawn wide: what they say about themselves is measured again by other means."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import uniform_filter1d

from benchmarks.takes import TRUTH_COLUMNS
from benchmarks.third_generator import draw_third
from benchmarks.third_parts import KINDS, draw_design
from benchmarks.wide_plain import draw_plain
from benchmarks.wide_second import draw_second
from pianolab.errors import BadInput


def long_window_hz(sound: np.ndarray, near_hz: float, rate_hz: int) -> float:
    """The highest line within 30 cents, by a parabola through a zero-padded spectrum of the whole."""
    power = np.log(np.abs(np.fft.rfft(sound * np.blackman(sound.size), 1 << 21)) + 1e-12)
    f = np.fft.rfftfreq(1 << 21, 1 / rate_hz)
    near = np.flatnonzero(np.abs(np.log2(np.maximum(f, 1e-9) / near_hz)) < 30 / 1200)
    top = near[np.argmax(power[near])]
    a, b, c = power[top - 1 : top + 2]
    return float(f[top] + 0.5 * (a - c) / (a - 2 * b + c) * f[1])


def falls_20_db_s(sound: np.ndarray, rate_hz: int) -> float:
    """Time to fall 20 dB for good, from a running mean of the power; shape (frames, channels)."""
    power = uniform_filter1d(
        np.mean(sound.astype(float) ** 2, axis=1), round(0.03 * rate_hz), mode="constant"
    )
    top = int(np.argmax(power))
    return float((np.flatnonzero(power > 0.01 * power[top])[-1] - top) / rate_hz)


@pytest.mark.parametrize("seed", [2, 4, 6, 12])
def test_single_strings_of_the_third_kind_lie_where_the_truth_says(seed: int) -> None:
    piano = draw_third(seed)
    key = piano.design.last_single
    f1 = float(piano.truth(key)["f1_hz"])  # type: ignore[arg-type]
    sound = piano.note(key, hold_s=4.0)[4000 : 4 * piano.rate_hz, 0].astype(float)
    error = 1200 * np.log2(long_window_hz(sound, f1, piano.rate_hz) / f1)
    assert abs(error) < 0.3
    wrong = f1 * 2 ** (1 / 1200)
    assert abs(1200 * np.log2(long_window_hz(sound, wrong, piano.rate_hz) / wrong)) > 0.7


@pytest.mark.parametrize(("seed", "key"), [(1, 30), (2, 5), (3, 52), (5, 70), (6, 44), (7, 84)])
def test_notes_of_the_third_kind_fall_as_long_as_the_truth_says(seed: int, key: int) -> None:
    piano = draw_third(seed)
    truth = float(piano.truth(key)["decay_20_s"])  # type: ignore[arg-type]
    held = piano.note(key, hold_s=3 * truth + 1)[: round((3 * truth + 1) * piano.rate_hz)]
    found = falls_20_db_s(held, piano.rate_hz)
    assert found == pytest.approx(truth, rel=0.03)
    assert found != pytest.approx(1.1 * truth, rel=0.03)


def test_the_time_to_fall_is_that_of_the_blow_it_is_asked_for() -> None:
    piano, how = draw_third(6), {"blow_db": 9.0, "seed": 3}
    truth = float(piano.truth(44, **how)["decay_20_s"])  # type: ignore[arg-type]
    held = piano.note(44, hold_s=3 * truth + 1, **how)[: round((3 * truth + 1) * piano.rate_hz)]  # type: ignore[arg-type]
    assert falls_20_db_s(held, piano.rate_hz) == pytest.approx(truth, rel=0.01)
    assert piano.truth(44)["decay_20_s"] != truth


def test_the_third_kind_gives_the_same_sound_again_and_another_blow_for_another_seed() -> None:
    first, again = (draw_third(9).note(40, hold_s=0.3) for _ in range(2))
    assert np.array_equal(first, again)
    assert first.dtype == np.float32
    piano = draw_third(9)
    other, harder = piano.note(40, hold_s=0.3, seed=1), piano.note(40, hold_s=0.3, blow_db=6.0)
    n = 10000
    same = np.corrcoef(first[:n, 0], other[:n, 0])[0, 1]
    assert 0.8 < same < 0.9999
    raised_db = 10 * np.log10(np.mean(harder[:n] ** 2) / np.mean(first[:n] ** 2))
    assert raised_db == pytest.approx(6.0, abs=2.0)
    assert not np.array_equal(draw_third(10).note(40, hold_s=0.3)[:n], first[:n])


def test_dampers_stop_what_has_one_unless_the_pedal_is_down() -> None:
    piano = draw_third(4)
    rate = piano.rate_hz

    def left_db(key: int, **how: bool) -> float:
        sound = piano.note(key, hold_s=0.4, **how)  # type: ignore[arg-type]
        power = [np.mean(sound[round(at * rate) : round((at + 0.1) * rate)] ** 2) for at in (0.3, 0.8)]
        return float(10 * np.log10(power[1] / power[0] + 1e-12))

    assert left_db(45) < -30
    assert left_db(45, pedal=True) > -20
    top = piano.last_damped + 1
    assert not piano.truth(top)["damped"]
    assert left_db(top) > -30


def test_faults_are_two_of_each_and_change_only_their_own_keys() -> None:
    sound, faulty = draw_third(4), draw_third(4, healthy=False)
    faults = {k: str(faulty.truth(k)["faults"]) for k in faulty.design.faults}
    assert sorted(faults.values()) == sorted(KINDS * 2)
    assert not sound.design.faults
    for key, kind in faults.items():
        was, now = sound.truth(key), faulty.truth(key)
        notes = [p.note(key, hold_s=0.5) for p in (sound, faulty)]
        n = min(len(one) for one in notes)
        assert not np.array_equal(notes[0][:n], notes[1][:n]), kind
        if kind == "silent":
            assert np.isnan(now["f1_hz"])  # type: ignore[call-overload]
            assert np.mean(notes[1][:n] ** 2) < 0.1 * np.mean(notes[0][:n] ** 2)
        if kind == "off_pitch":
            assert abs(now["cents"] - was["cents"]) > 1.9  # type: ignore[operator]
        if kind == "short_sustain":
            assert now["decay_20_s"] < 0.75 * was["decay_20_s"]  # type: ignore[operator]
    plain = next(k for k in range(30, 60) if k not in faults)
    assert np.array_equal(*(p.note(plain, hold_s=0.3) for p in (sound, faulty)))


def test_draws_of_the_third_kind_reach_far_and_their_rows_are_complete() -> None:
    designs = [draw_design(seed) for seed in range(60)]
    assert {d.wide for d in designs} == {True, False}
    assert max(abs(d.offset_cents) for d in designs) > 80
    assert max(abs(d.offset_cents) for d in designs if not d.wide) <= 20
    assert max(d.stiffness for d in designs) / min(d.stiffness for d in designs) > 5
    assert min(d.band_hz for d in designs) < 2 * 4186 < max(d.band_hz for d in designs)
    assert {len(d.keys) for d in designs} == {85, 88}
    assert set(draw_third(2).truth(40)) == set(TRUTH_COLUMNS)


def test_a_key_that_is_not_there_is_refused() -> None:
    with pytest.raises(BadInput, match="key: got 89"):
        draw_third(2).note(89, hold_s=0.1)


def partials_off_cents(sound: np.ndarray, truth: dict[str, object], rate_hz: int) -> float:
    """Median distance of partials 4 to 12 from the series of the truth: the board pulls them to and fro."""
    f1, b = float(truth["f1_hz"]), float(truth["inharmonicity"])  # type: ignore[arg-type]
    series = [f1 * n * np.sqrt((1 + b * n**2) / (1 + b)) for n in range(4, 13)]
    return float(np.median([1200 * np.log2(long_window_hz(sound, f, rate_hz) / f) for f in series]))


@pytest.mark.slow
def test_a_drawn_second_piano_sounds_as_its_truth_says() -> None:
    piano = draw_second(4)
    key, truth = 5, dict(piano.truth(5))
    assert truth["strings"] == 1
    assert set(truth) == set(TRUTH_COLUMNS)
    fall_s = float(truth["decay_20_s"])  # type: ignore[arg-type]
    sound = piano.note(key, hold_s=2 * fall_s)[: round(2 * fall_s * piano.rate_hz)]
    assert falls_20_db_s(sound, piano.rate_hz) == pytest.approx(fall_s, rel=0.03)
    off = partials_off_cents(sound[4000:, 0].astype(float), truth, piano.rate_hz)
    assert abs(off) < 0.3
    wrong = {**truth, "inharmonicity": 1.2 * float(truth["inharmonicity"])}  # type: ignore[arg-type]
    assert abs(partials_off_cents(sound[4000:, 0].astype(float), wrong, piano.rate_hz)) > 0.3


def test_another_blow_of_the_second_kind_is_the_same_string_struck_anew() -> None:
    piano = draw_second(2)
    first, again, other = (piano.note(52, hold_s=0.3, seed=s) for s in (0, 0, 7))
    assert np.array_equal(first, again)
    n = 12000
    assert 0.9 < np.corrcoef(first[:n, 0], other[:n, 0])[0, 1] < 0.99999
    louder = piano.note(52, hold_s=0.3, blow_db=6.0)
    assert 10 * np.log10(np.mean(louder[:n] ** 2) / np.mean(first[:n] ** 2)) == pytest.approx(6.0, abs=2.5)
    ringing = piano.note(52, hold_s=0.3, pedal=True)
    late = slice(round(0.5 * piano.rate_hz), round(0.6 * piano.rate_hz))
    assert np.mean(ringing[late] ** 2) > 100 * np.mean(first[late] ** 2)


def test_faults_of_the_second_kind_are_those_of_the_scenes_and_can_be_heard() -> None:
    sound, faulty = draw_second(4), draw_second(4, healthy=False)
    at = faulty.drawn.faults
    assert {kind: len(keys) for kind, keys in at.items()} == dict.fromkeys(KINDS, 2)
    key = next(iter(at["silent"]))
    assert faulty.truth(key)["faults"] == "silent"
    notes = [p.note(key, hold_s=0.3)[:12000] for p in (sound, faulty)]
    assert np.mean(notes[1] ** 2) < 0.2 * np.mean(notes[0] ** 2)
    plain = next(k for k in range(40, 60) if not any(k in keys for keys in at.values()))
    assert np.array_equal(*(p.note(plain, hold_s=0.3) for p in (sound, faulty)))


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_every_register_of_a_drawn_second_piano_is_stable(seed: int) -> None:
    piano = draw_second(seed)
    assert piano.wide == bool(seed % 2)
    for key in (1, 27, 64, 88):
        sound = piano.note(key, hold_s=0.2)
        assert sound.shape[1] == piano.channels
        assert np.isfinite(sound).all()
        assert 0.01 < np.abs(sound).max() < 3.0


def test_the_plain_modelled_piano_sounds_as_its_truth_says() -> None:
    piano = draw_plain(2)
    truth = piano.truth(50)
    fall_s = float(truth["decay_20_s"])  # type: ignore[arg-type]
    held = piano.note(50, hold_s=3 * fall_s)[: round(3 * fall_s * piano.rate_hz)]
    found = falls_20_db_s(held, piano.rate_hz)
    assert found == pytest.approx(fall_s, rel=0.03)
    assert found != pytest.approx(1.1 * fall_s, rel=0.03)
    assert set(truth) == set(TRUTH_COLUMNS)
