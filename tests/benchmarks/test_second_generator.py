"""The second generator's truth is checked by other means than the one that made it."""

import numpy as np
import pytest

from benchmarks import fd_string, shoebox
from benchmarks.second_generator import Faults, build_scale, time_to_fall


def bare_string(f1_hz: float, inharmonicity: float, *, seconds: float) -> tuple[fd_string.Grid, np.ndarray]:
    """A string on a bridge that can't move, plucked by a short soft push, nearly without loss; its sound."""
    grid = fd_string.fit_grid(f1_hz, inharmonicity, k_s=1 / 88200, loss_per_s=0.05, loss_per_hz2=0.0)
    grid = fd_string.retuned(grid, f1_hz)
    n, push = grid.n, np.zeros(grid.n + 1)
    push[n // 9] = 1.0
    listener = fd_string.run_strings(
        int(seconds / grid.k_s),
        10**9,
        1,
        np.array([[grid.a, grid.b, grid.c, grid.e, grid.g]]),
        np.array([1e-3 / grid.k_s**2]),
        np.array([1e-9]),
        np.array([1.0]),
        np.array([0]),
        push,
        np.array([1e7, 1.0, 4e-3 / grid.k_s**2, grid.k_s]),
        np.zeros(1),
        np.zeros(n + 1),
        np.array([[2.0], [1.0], [grid.k_s**2]]),
        np.array([1.0]),
        np.ones((2, 1)),
    )
    return grid, np.diff(listener[0].astype(np.float64))


def measured_hz(sound: np.ndarray, near_hz: float, rate_hz: float) -> float:
    """Frequency of one line from the phase advance between two halves of the sound."""
    half, t = sound.size // 2, np.arange(sound.size // 2) / rate_hz
    window = np.blackman(half) * np.exp(-2j * np.pi * near_hz * t)
    first, second = np.sum(sound[:half] * window), np.sum(sound[half : 2 * half] * window)
    turn = np.angle(second / first) - 2 * np.pi * near_hz * half / rate_hz
    turn = (turn + np.pi) % (2 * np.pi) - np.pi
    return near_hz + turn / (2 * np.pi * half / rate_hz)


@pytest.mark.slow
@pytest.mark.parametrize(("f1_hz", "inharmonicity"), [(110.3, 1.1e-4), (440.0, 7e-4), (1870.0, 6e-3)])
def test_partials_of_a_long_run_are_those_of_the_dispersion_relation(
    f1_hz: float, inharmonicity: float
) -> None:
    grid, sound = bare_string(f1_hz, inharmonicity, seconds=3.0)
    mode = np.arange(1.0, 5.0)
    truth, _rate = fd_string.partials(grid, mode)
    found = np.array([measured_hz(sound, f, 1 / grid.k_s) for f in truth])
    assert np.abs(1200 * np.log2(found / truth)).max() < 0.005
    off = np.array([measured_hz(sound, f, 1 / grid.k_s) for f in truth * 2 ** (0.02 / 1200)])
    assert off == pytest.approx(found, rel=1e-7)  # what the measurement starts from doesn't draw it


def test_the_tuned_partial_is_exact_and_the_series_is_stiff() -> None:
    grid = fd_string.retuned(
        fd_string.fit_grid(523.0, 9e-4, k_s=1 / 176400, loss_per_s=0.2, loss_per_hz2=1.5e-7), 523.2
    )
    mode = np.arange(1.0, 9.0)
    f, rate = fd_string.partials(grid, mode)
    assert f[0] == pytest.approx(523.2, rel=1e-10)
    assert rate[0] == pytest.approx(0.2 + 1.5e-7 * 523.2**2, rel=1e-2)
    tighter = 9e-4 * (523.0 / 523.2) ** 2  # B goes with one over the tension
    design = fd_string.stiff_series(523.2, tighter, mode)
    assert np.abs(1200 * np.log2(f / design)).max() < 0.1
    assert fd_string.fitted_inharmonicity(f, mode) == pytest.approx(tighter, rel=2e-3)
    assert fd_string.fitted_inharmonicity(design, mode) == pytest.approx(tighter, rel=1e-9)


def test_time_to_fall_of_a_known_decay() -> None:
    t = np.arange(0, 2.0, 1 / 44100)
    noise = np.random.default_rng(0).standard_normal(t.size)
    sound = noise * 10 ** (-15.0 * t / 20)
    assert time_to_fall(sound, until_s=2.0) == pytest.approx(20 / 15, rel=0.04)
    assert np.isnan(time_to_fall(sound, until_s=1.2))


@pytest.mark.parametrize("name", ["home", "hall"])
def test_the_room_has_the_reverberation_it_says(name: str) -> None:
    rng = np.random.default_rng(2)
    room = shoebox.room_of(name, rng)
    response = shoebox.impulse_response(room, 0, rate_hz=44100, rng=rng)
    assert shoebox.measured_t60(response, rate_hz=44100) == pytest.approx(room.t60_s, rel=0.08)
    assert response[0] == pytest.approx(1.0, abs=0.25)


FEW = {
    "first_key": 47,
    "last_key": 53,
    "room": "dry",
    "hold_s": 1.0,
    "faults": Faults(at={"silent": {48: 1.0}, "off_pitch": {52: 6.0}}, skipped=(50,)),
}


@pytest.fixture(scope="module")
def few_keys():  # type: ignore[no-untyped-def]
    return build_scale(5, **FEW)


def test_a_scale_has_a_row_per_key_and_says_what_was_not_struck(few_keys) -> None:  # type: ignore[no-untyped-def]
    truth = few_keys.truth.set_index("key")
    assert list(truth.index) == list(range(47, 54))
    assert not truth.loc[50, "struck"]
    assert truth.loc[48, "faults"] == "silent"
    assert np.isnan(truth.loc[[48, 50], "f1_hz"]).all()
    assert truth.loc[52, "unison_cents"] > 5.0
    step = truth["onset_s"].diff()
    assert step[49] == pytest.approx(1.5, abs=0.06)
    assert truth.loc[51, "onset_s"] - truth.loc[49, "onset_s"] == pytest.approx(1.5, abs=0.06)


def test_the_sound_has_its_partial_where_the_truth_says(few_keys) -> None:  # type: ignore[no-untyped-def]
    row = few_keys.truth.set_index("key").loc[49]
    start = int((row["onset_s"] + 0.1) * few_keys.rate_hz)
    piece = few_keys.samples[start : start + int(0.8 * few_keys.rate_hz)].astype(float)
    power = np.abs(np.fft.rfft(piece * np.hanning(piece.size), 1 << 19)) ** 2
    f = np.fft.rfftfreq(1 << 19, 1 / few_keys.rate_hz)
    near = np.abs(f - 440) < 8
    peak = f[near][np.argmax(power[near])]
    assert 1200 * np.log2(peak / row["f1_hz"]) == pytest.approx(0.0, abs=3.0)


def test_the_same_arguments_give_the_same_sound(few_keys) -> None:  # type: ignore[no-untyped-def]
    again = build_scale(5, **FEW)
    assert np.array_equal(again.samples, few_keys.samples)
    other = build_scale(6, first_key=49, last_key=49, room="dry", hold_s=1.0)
    assert not np.array_equal(other.samples[:40000], few_keys.samples[:40000])
