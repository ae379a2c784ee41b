"""Strings, stiffness and coupling against figures from outside the project."""

import numpy as np
import pytest

from pianolab.errors import BadInput
from pianolab.sound_model import PianoModel
from pianolab.sound_model.strings import (
    coupled_modes,
    inharmonicity_line,
    octave_stretch_cents,
    partial_hz,
    stretch_curve_cents,
)

# Two equal strings on a resistive bridge, coupling 1/s, half the detuning in rad/s: rates (1/s) and beat (Hz).
# Weinreich, JASA 62, 1474 (1977): eigenvalues -eta ± sqrt(eta² - delta²); figures by hand from that formula.
COUPLED = [
    (0.0, 2.0, 0.0, 0.0),
    (0.3, 1.9539392, 0.0460608, 0.0),
    (0.6, 1.8, 0.2, 0.0),
    (0.9, 1.43588989, 0.56411011, 0.0),
    (1.25, 1.0, 1.0, 0.238732414637843),
    (2.0, 1.0, 1.0, 0.5513288954217921),
    (5.0, 1.0, 1.0, 1.559393602467352),
]


def rates_and_beat(delta: float, *, coupling: float = 1.0) -> tuple[float, float, float]:
    poles, _ = coupled_modes([delta, -delta], coupling_per_s=coupling)
    fast, slow = sorted(-poles.real, reverse=True)
    return float(fast), float(slow), float(abs(poles[0].imag - poles[1].imag) / (2 * np.pi))


@pytest.mark.parametrize(("delta", "fast", "slow", "beat"), COUPLED)
def test_two_coupled_strings(delta: float, fast: float, slow: float, beat: float) -> None:
    assert rates_and_beat(delta) == pytest.approx((fast, slow, beat), abs=1e-7)


@pytest.mark.parametrize(("delta", "fast", "slow", "beat"), COUPLED[1:])
def test_uncoupled_strings_fail_that_check(delta: float, fast: float, slow: float, beat: float) -> None:
    assert rates_and_beat(delta, coupling=0.0) != pytest.approx((fast, slow, beat), abs=0.01)


def dips(delta: float) -> np.ndarray:
    """Times of the minima of the bridge's movement when both strings are struck alike."""
    poles, shares = coupled_modes([delta, -delta], coupling_per_s=1.0)
    t = np.arange(0.0, 12.0, 0.001)
    level = np.log(np.abs((shares * np.exp(np.multiply.outer(t, poles))).sum(axis=1)))
    inside = (level[1:-1] < level[:-2]) & (level[1:-1] < level[2:])
    return t[1:-1][inside]


def test_strings_inside_the_coupling_do_not_beat() -> None:
    """At most one dip, where the quick stage gives way to the slow one; detuned strings dip again and again."""
    assert dips(0.3).size <= 1
    assert dips(0.9).size <= 1
    assert dips(2.0).size > 3


def test_beat_of_the_sum_is_slower_than_the_detuning() -> None:
    measured = 1.0 / np.diff(dips(2.0)).mean()
    assert measured == pytest.approx(0.5513288954217921, abs=0.002)
    assert abs(measured - 0.63662) > 0.05  # 2 / pi Hz, what the strings do without the bridge


def test_equal_strings_leave_no_aftersound_but_uneven_blows_on_detuned_ones_do() -> None:
    _, shares = coupled_modes([0.0, 0.0], coupling_per_s=1.0, excitation=[1.1, 0.9])
    assert sorted(np.abs(shares)) == pytest.approx([0.0, 2.0], abs=1e-12)
    _, shares = coupled_modes([0.3, -0.3], coupling_per_s=1.0)
    assert np.abs(shares).min() > 0.01


def test_mean_of_the_poles_is_the_mean_of_the_strings() -> None:
    """The trace: whatever the coupling, the modes' mean pull is that of the strings less the reactance."""
    detuning = np.array([1.0, -0.4, 0.3])
    poles, _ = coupled_modes(detuning, coupling_per_s=0.7 + 0.1j, loss_per_s=0.2)
    assert poles.imag.mean() == pytest.approx(detuning.mean() - 0.1, abs=1e-12)
    assert -poles.real.mean() == pytest.approx(0.9, abs=1e-12)


# Two-line model, treble 9.26e-2 and -13.64, bass -8.47e-2 and -5.82 over the MIDI number (Rigaud, David,
# Daudet 2011, constants as printed in open research code); values by hand.
TWO_LINES = {
    21: 5.094e-4,
    33: 2.067e-4,
    45: 1.425e-4,
    60: 3.269e-4,
    69: 7.183e-4,
    84: 2.849e-3,
    108: 2.627e-2,
}


@pytest.mark.parametrize(("midi", "expected"), TWO_LINES.items())
def test_inharmonicity_over_the_compass(midi: int, expected: float) -> None:
    assert inharmonicity_line(midi - 20) == pytest.approx(expected, rel=3e-4)
    assert inharmonicity_line(midi - 19) != pytest.approx(expected, rel=3e-4)


def test_middle_c_agrees_with_six_measured_pianos() -> None:
    """Young 1952: about 1.2 cents at partial 2 of middle C, doubling every 8 semitones."""
    young = 1.2 / 4 * np.log(2.0) / 600.0
    assert inharmonicity_line(40) == pytest.approx(young, rel=0.07)
    assert inharmonicity_line(40) != pytest.approx(1.5 * young, rel=0.07)
    doubling = np.log(2.0) * 12.0 / np.log(float(inharmonicity_line(64) / inharmonicity_line(52)))
    assert doubling == pytest.approx(8.0, abs=0.6)


def test_partials_of_a_stiff_string() -> None:
    """d 1.00 mm, L 0.400 m, 440 Hz, plain steel: B and partials by hand from Fletcher's formula (1964)."""
    b = 7.927473374035064e-4
    expected = [440.17436986326373, 881.3941309949489, 1324.7005498021906, 1771.126711005584]
    assert partial_hz(expected[0], inharmonicity=b, numbers=[1, 2, 3, 4]) == pytest.approx(expected, abs=1e-9)
    wrong = partial_hz(expected[0], inharmonicity=1.1 * b, numbers=[1, 2, 3, 4])
    assert abs(wrong[3] - expected[3]) > 0.5


# Stretch of octaves from partial 1 to partial 1, in cents, with the two-line model: by hand from
# f_hi / f_lo = 2 sqrt((1 + 4 r² B_lo) / (1 + r² B_hi)).
OCTAVES = [
    (37, 49, (0.668, 1.472, 2.804)),
    (49, 61, (1.862, 3.693, 6.685)),
    (61, 73, (5.577, 10.794, 18.994)),
]


@pytest.mark.parametrize(("low", "high", "expected"), OCTAVES)
def test_octaves_that_do_not_beat(low: int, high: int, expected: tuple[float, ...]) -> None:
    found = octave_stretch_cents(inharmonicity_line(low), inharmonicity_line(high), partial=[1, 2, 3])
    assert found == pytest.approx(expected, abs=0.001)
    swapped = octave_stretch_cents(inharmonicity_line(high), inharmonicity_line(low), partial=[1, 2, 3])
    assert swapped != pytest.approx(expected, abs=0.1)


def test_stretch_curve_gives_each_octave_its_stretch() -> None:
    """The curve's octaves must lie between the 2:1 and the 6:3 octave; equal temperament doesn't."""
    for low in (25, 37, 49, 61):
        width = float(np.diff(stretch_curve_cents([low, low + 12]))[0])
        narrow, wide = octave_stretch_cents(
            inharmonicity_line(low), inharmonicity_line(low + 12), partial=[0.9, 3.3]
        )
        assert narrow < width < wide
    assert stretch_curve_cents([1, 88], scale=0.0) == pytest.approx([0.0, 0.0])


def test_stretch_at_the_ends_is_that_of_real_pianos() -> None:
    """About -30 to -10 cents at A0, 20 to 45 at C8 (Railsback 1938 from memory; a band, not a value)."""
    ends = stretch_curve_cents([1, 88])
    assert -32 < ends[0] < -8
    assert 20 < ends[1] < 45


# Beats per second of the intervals above F3 ... in equal temperament: J. Neurosci. 32(35), 12251 (2012),
# table 1; the intervals of ideal strings at A4 = 440 Hz.
BEATS = {
    (4, 5, 4): "6.9 7.3 7.8 8.2 8.7 9.2 9.8 10.4 11.0 11.7 12.3",
    (5, 4, 3): "0.8 0.8 0.9 0.9 1.0 1.1 1.1 1.2 1.3 1.3",
    (7, 3, 2): "0.6 0.6 0.7 0.7 0.7 0.8 0.8 0.9",
    (9, 5, 3): "7.9 8.4 8.9 9.4 10.0 10.6",
    (3, 6, 5): "9.4 10.0 10.6 11.2 11.9 12.6 13.3 14.1",
    (8, 8, 5): "11.0 11.7 12.3 13.1 13.9 14.7 15.6",
}
EQUAL = PianoModel(inharmonicity_scale=0.0, tuning_spread_cents=0.0, unison_spread_cents=0.0)


def beats(model: PianoModel, semitones: int, lower: int, upper: int, count: int) -> list[float]:
    """Difference of the partials that meet, for the intervals upwards from F3 (key 33)."""
    found = []
    for key in range(33, 33 + count):
        low = model.partials(key, np.array([lower]))[0].mean()
        high = model.partials(key + semitones, np.array([upper]))[0].mean()
        found.append(round(float(abs(high - low)), 1))
    return found


@pytest.mark.parametrize(("interval", "printed"), BEATS.items())
def test_temperament_octave(interval: tuple[int, int, int], printed: str) -> None:
    semitones, lower, upper = interval
    expected = [float(x) for x in printed.split()]
    assert beats(EQUAL, semitones, lower, upper, len(expected)) == expected


def test_a_temperament_one_cent_wider_fails_that_check() -> None:
    scattered = PianoModel(inharmonicity_scale=0.0, tuning_spread_cents=1.0, unison_spread_cents=0.0)
    expected = [float(x) for x in BEATS[(4, 5, 4)].split()]
    assert beats(scattered, 4, 5, 4, len(expected)) != expected


def test_negative_stiffness_is_refused() -> None:
    with pytest.raises(BadInput, match=r"inharmonicity: got -0\.1"):
        partial_hz(100.0, inharmonicity=-0.1, numbers=[1])
