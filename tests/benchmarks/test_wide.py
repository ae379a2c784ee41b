"""Modelled pianos drawn wide: what they say about themselves is measured again by other means."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import uniform_filter1d

from benchmarks.takes import TRUTH_COLUMNS
from benchmarks.third_generator import draw_third
from benchmarks.third_parts import KINDS, draw_design


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
    with pytest.raises(ValueError, match="key 89"):
        draw_third(2).note(89, hold_s=0.1)
