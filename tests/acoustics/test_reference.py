"""Listening against figures from outside the project; each with a wrong answer that fails.

Sources stand beside the values. "Worked" values were computed from the stated formula with general tools.
"""

import numpy as np
import pytest

from pianolab.acoustics.envelope.decay import NoteDecay, late_decay, note_decay
from pianolab.acoustics.envelope.levels import NoteLevel
from pianolab.acoustics.keys.compass import usual_inharmonicity
from pianolab.acoustics.strings.modes import BandSignals, Modes, find_modes
from pianolab.acoustics.strings.partials import fit_stiff_series, series_hz
from pianolab.acoustics.strings.unison import string_variance_cents2

RATE_HZ, BLOW_S = 40.0, 0.1

# H. Fletcher 1964: f_n = n f0 sqrt(1 + B n²), B = pi³ E d⁴ / (64 T L²). Worked for d = 1 mm, L = 0.4 m, 440 Hz, steel.
STRING_B, STRING_HZ = (
    7.927473374035064e-4,
    (440.17436986326373, 881.3941309949489, 1324.7005498021906, 1771.126711005584),
)

# Two equal strings on a resistive bridge (Weinreich 1977, from memory; restated by Woodhouse 2021), bridge rate 1 /s:
# half detuning in rad/s -> decay rates in 1/s, beat in Hz. Eigenvalues of [[-1+id, -1], [-1, -1-id]].
COUPLED = {
    0.3: ((0.0460608, 1.9539392), 0.0),
    0.6: ((0.2, 1.8), 0.0),
    0.9: ((0.56411011, 1.43588989), 0.0),
    1.25: ((1.0, 1.0), 0.238732414637843),
    2.0: ((1.0, 1.0), 0.5513288954217921),
    5.0: ((1.0, 1.0), 1.559393602467352),
}


def coupled_pair(
    detuning: float, *, bridge: float = 1.0, seconds: float = 6.0, noise: float = 1e-5
) -> np.ndarray:
    """What the bridge does after both strings are struck alike: solved here, by the matrix exponential's eigenvectors."""
    matrix = np.array([[-bridge + 1j * detuning, -bridge], [-bridge, -bridge - 1j * detuning]])
    values, vectors = np.linalg.eig(matrix)
    start = np.linalg.solve(vectors, np.ones(2))
    t = np.arange(int(seconds * RATE_HZ)) / RATE_HZ - BLOW_S
    sound = (vectors.sum(axis=0) * start) @ np.exp(np.outer(values, np.maximum(t, 0.0)))
    random = np.random.default_rng(1)
    return np.where(t >= 0, sound, 0.0) + noise * (
        random.standard_normal(len(t)) + 1j * random.standard_normal(len(t))
    )


def modes_of(sound: np.ndarray) -> Modes:
    bands = BandSignals(sound[None, None, None, :], np.array([[440.0]]), RATE_HZ, 20.0)
    return find_modes(
        bands, start_s=BLOW_S + 0.1, stop_s=5.9, blow_s=BLOW_S, room_guard_per_s=np.array([np.inf])
    )


def strong(modes: Modes) -> tuple[np.ndarray, np.ndarray]:
    energy = modes.energy[0, 0]
    kept = energy > 1e-4 * energy.max()
    order = np.argsort(modes.decay_per_s[0, 0][kept])
    return modes.decay_per_s[0, 0][kept][order], modes.f_hz[0, 0][kept][order]


@pytest.mark.parametrize("detuning", COUPLED)
def test_coupled_strings(detuning: float) -> None:
    """Below the coupling: no beat, fast then slow. Above it: one rate, a beat slower than the mistuning."""
    rates, beat_hz = COUPLED[detuning]
    decay, f_hz = strong(modes_of(coupled_pair(detuning)))
    assert decay == pytest.approx(rates, abs=0.02)
    assert np.ptp(f_hz) == pytest.approx(beat_hz, abs=0.004)


def test_uncoupled_strings_would_not_pass() -> None:
    decay, f_hz = strong(modes_of(coupled_pair(1.25, bridge=1e-3)))
    assert decay != pytest.approx((1.0, 1.0), abs=0.02)
    assert np.ptp(f_hz) != pytest.approx(COUPLED[1.25][1], abs=0.004)


@pytest.mark.parametrize("detuning", COUPLED)
def test_the_strings_are_found_behind_the_coupling(detuning: float) -> None:
    """Distance of the uncoupled strings: detuning / pi in Hz, also where they share one frequency."""
    modes = modes_of(coupled_pair(detuning))
    variance = float(string_variance_cents2(modes, centre_hz=np.array([[440.0]]))[0, 0])
    expected = 1200.0 * np.log2(1.0 + detuning / np.pi / 440.0)
    # Two strings lie one standard deviation to either side of their mean.
    assert 2.0 * np.sqrt(max(variance, 0.0)) == pytest.approx(expected, abs=0.03)
    if detuning < 1.0:
        apart = 1200.0 * np.log2(1.0 + np.ptp(strong(modes)[1]) / 440.0)
        assert apart != pytest.approx(expected, abs=0.1), "the modes' own distance is another number here"


def test_pitch_of_a_pair_is_its_mean_not_its_louder_string() -> None:
    t = np.arange(240) / RATE_HZ - BLOW_S
    pair = np.where(
        t >= 0, np.exp((-0.5 + 2j * np.pi * 0.8) * t) + 0.9 * np.exp((-0.5 - 2j * np.pi * 0.8) * t), 0.0
    )
    centroid = float(modes_of(pair).centroid_hz[0, 0])
    expected = 440.0 + 0.8 * (1.0 - 0.81) / (1.0 + 0.81)
    assert centroid == pytest.approx(expected, abs=0.01)
    assert abs(centroid - 440.8) > 0.5


def test_one_damped_line_reaches_the_statistical_limit() -> None:
    """Within three times the Cramér-Rao bound of a damped complex exponential (Fisher matrix worked here)."""
    errors, sigma, rate = [], 1e-3, 1.5
    t = np.arange(240) / RATE_HZ - BLOW_S
    clean = np.where(t >= 0, np.exp((-rate + 2j * np.pi * 1.234) * t), 0.0)
    for seed in range(40):
        random = np.random.default_rng(seed)
        noisy = clean + sigma * (
            random.standard_normal(len(t)) + 1j * random.standard_normal(len(t))
        ) / np.sqrt(2)
        errors.append(strong(modes_of(noisy))[1][0] - 441.234)
    used = t[(t >= 0.1) & (t < 5.8)]
    envelope = np.exp(-rate * used)
    information = (
        2.0
        / sigma**2
        * np.array(
            [
                [np.sum((2 * np.pi * used * envelope) ** 2), np.sum(2 * np.pi * used * envelope**2)],
                [np.sum(2 * np.pi * used * envelope**2), np.sum(envelope**2)],
            ]
        )
    )
    bound_hz = float(np.sqrt(np.linalg.inv(information)[0, 0]))
    assert np.sqrt(np.mean(np.square(errors))) < 3.0 * bound_hz
    assert np.sqrt(np.mean(np.square(errors))) > 0.3 * bound_hz, "better than the bound would be a mistake"


def test_string_of_known_dimensions() -> None:
    assert series_hz(np.array([440.0]), np.array([STRING_B]), 4)[0] == pytest.approx(STRING_HZ, rel=1e-12)
    fit = fit_stiff_series(np.array([STRING_HZ]), np.ones((1, 4)), prior_b=np.array([1e-3]))
    assert fit.inharmonicity[0] == pytest.approx(STRING_B, rel=5e-3)
    assert fit.inharmonicity[0] != pytest.approx(1e-3, rel=0.1)


def test_usual_inharmonicity_agrees_with_young() -> None:
    """R. W. Young 1952: 1.2 cents for mode 2 of middle C (B = 3.4657e-4), doubling every 8 semitones above."""
    young = 3.4657e-4 * 2.0 ** ((np.array([40, 49, 64, 76]) - 40) / 8.0)
    assert usual_inharmonicity(np.array([40, 49, 64, 76])) == pytest.approx(young, rel=0.11)
    assert usual_inharmonicity(40) != pytest.approx(2 * 3.4657e-4, rel=0.11)


def double_decay(*, floor: float = 1e-9) -> NoteLevel:
    """E(t) = 10^(-1.6 t) + 10^-2 10^(-0.4 t): 16 and 4 dB/s, the tail 20 dB down; -20 dB at 1.339625 s (worked)."""
    t = np.arange(0.0, 5.0, 0.005)
    return NoteLevel(t, 10.0 ** (-1.6 * t) + 1e-2 * 10.0 ** (-0.4 * t), floor)


def test_time_to_fall_twenty_decibels() -> None:
    found = note_decay(double_decay(), usable_s=5.0)
    assert (found.bound, found.decay_20_s) == ("=", pytest.approx(1.339625, abs=0.004))
    assert found.decay_20_s != pytest.approx(1.25, abs=0.03), "16 dB/s alone would be 1.25 s"


def double_modes() -> Modes:
    """The same two stages as modes of one partial: amplitude decay is ln(10) / 20 of the dB per second."""
    rate = np.array([16.0, 4.0]) * np.log(10.0) / 20.0
    f_hz, amplitude = np.array([440.0, 440.3]), np.array([1.0, 0.1])
    one = np.ones((1, 1))
    return Modes(
        f_hz=f_hz[None, None],
        decay_per_s=rate[None, None],
        amplitude=amplitude[None, None, None].astype(complex),
        energy=amplitude[None, None] ** 2,
        centroid_hz=440.0 * one,
        centroid_energy=one,
        mean_decay_per_s=one,
        fit_db=40.0 * one,
    )


def late(*, held_s: float, floor: float = 1e-9) -> NoteDecay:
    level = double_decay(floor=floor)
    early = note_decay(level, usable_s=held_s)
    return late_decay(double_modes(), [early], [level], weight=np.ones((1, 1)), held_s=np.array([held_s]))[0]


def test_the_late_fall_is_that_of_the_slow_mode() -> None:
    found = late(held_s=5.0)
    assert found.late_db_per_s == pytest.approx(4.0, rel=0.12)
    assert found.early_db_per_s > 12.0


@pytest.mark.parametrize(
    ("held_s", "floor", "why"),
    [(2.0, 1e-9, "still bends"), (0.8, 1e-9, "too soon"), (5.0, 1e-3, "noise too near")],
)
def test_a_late_fall_that_can_not_be_seen_says_why(held_s: float, floor: float, why: str) -> None:
    found = late(held_s=held_s, floor=floor)
    assert np.isnan(found.late_db_per_s)
    assert why in found.why_no_late


def test_a_note_let_go_gives_a_lower_bound() -> None:
    found = note_decay(double_decay(), usable_s=1.0)
    assert found.bound == ">"
    assert found.decay_20_s == pytest.approx(1.0, abs=0.01)


def test_a_note_drowned_in_noise_gives_a_lower_bound() -> None:
    found = note_decay(double_decay(floor=0.02), usable_s=5.0)
    assert found.bound == ">"
    assert 0.3 < found.decay_20_s < 1.34
