"""Stated uncertainty of pitch and B against what happens: partials scattered about a series that is known."""

from __future__ import annotations

import numpy as np
import pytest

from pianolab.acoustics.strings.partials import cauchy_weight, fit_stiff_series, series_hz
from pianolab.acoustics.strings.scatter import (
    bent_series,
    inharmonicity_sd,
    off_line_b,
    off_series_cents,
    pitch_sd_cents,
    scatter_cents,
)
from pianolab.acoustics.strings.unison import _expected_distance
from pianolab.units import CENTS_PER_NEPER, FloatArray

KEYS = np.arange(20, 60)
B = 3e-4


def drawn(
    scatter: float, *, partials: int, seed: int
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Errors of 40 keys in cents and of B, over what is stated; each partial is off by a normal ``scatter`` in cents."""
    rng = np.random.default_rng(seed)
    true = series_hz(np.full(KEYS.size, 220.0), np.full(KEYS.size, B), partials)
    heard = true * np.exp(rng.normal(0.0, scatter, true.shape) / CENTS_PER_NEPER)
    weight = np.ones_like(heard)
    fit = fit_stiff_series(heard, weight, prior_b=np.full(KEYS.size, B))
    off = off_series_cents(heard, fit)
    size = scatter_cents(off, weight, KEYS)
    f1 = fit.f0_hz * np.sqrt(1.0 + fit.inharmonicity)
    cents = CENTS_PER_NEPER * np.log(f1 / true[:, 0])
    sd = pitch_sd_cents(off, weight, scatter=size, b=fit.inharmonicity, spread_cents=np.zeros(KEYS.size))
    b_size, bend = bent_series(off, weight, KEYS)
    b = fit.inharmonicity
    b_sd = inharmonicity_sd(off, weight, b, scatter=b_size, low_b=b, bend=bend)
    return cents, sd, fit.inharmonicity - B, b_sd


@pytest.mark.parametrize("scatter", [0.2, 1.5])
@pytest.mark.parametrize("partials", [5, 12])
def test_errors_lie_within_what_is_stated(scatter: float, partials: int) -> None:
    # A normal error lies within one sd in 68 % and within two in 95 %; what is stated must be near that, whatever
    # the size of the scatter, though nothing tells it that size but the partials.
    runs = [drawn(scatter, partials=partials, seed=seed) for seed in range(10)]
    for error, sd in ((0, 1), (2, 3)):
        ratio = np.abs(np.concatenate([run[error] for run in runs])) / np.concatenate([r[sd] for r in runs])
        assert 0.60 <= np.mean(ratio <= 1.0) <= 0.85
        assert 0.90 <= np.mean(ratio <= 2.0) <= 0.995


def test_a_fixed_uncertainty_would_not_pass() -> None:
    # The twin: the sd of the quiet piano, stated for the one whose partials scatter.
    quiet = drawn(0.2, partials=12, seed=1)[1]
    loud = np.abs(drawn(1.5, partials=12, seed=1)[0])
    assert np.mean(loud <= quiet) < 0.3


def test_a_key_with_one_partial_borrows_from_its_neighbours() -> None:
    off = np.tile(np.array([1.0, -1.0, 1.0, -1.0, 1.0, -1.0]), (3, 1))
    off[1, 1:] = np.nan
    off[1, 0] = 0.0  # a line of two numbers goes through one partial
    alone = scatter_cents(off[1:2], np.ones((1, 6)), np.array([41]))
    among = scatter_cents(off, np.ones((3, 6)), np.array([40, 41, 42]))
    assert among[1] > among[0]  # and is less sure of it
    assert among[1] > 2.0 * alone[0]


def test_one_partial_leaves_b_a_guess() -> None:
    weight = np.array([[1.0, 0.0, 0.0], [1.0, 1.0, 1.0]])
    b = np.full(2, 1e-2)
    sd = inharmonicity_sd(np.full((2, 3), 0.1), weight, b, scatter=np.full(2, 0.1), low_b=b)
    assert sd[0] >= 0.05 * b[0]
    assert sd[1] < 0.2 * sd[0]


def test_two_partials_that_ask_for_another_b_than_the_neighbours_leave_it_open() -> None:
    line = np.full(12, 1.2e-2)
    used = np.where(np.arange(12) == 0, 2, 6)
    b = line * np.exp(np.where(np.arange(12) % 2 == 0, 0.03, -0.03))
    b[0] = 5e-4
    assert 2.0 * off_line_b(b, line, used)[0] >= 0.99 * (line - b)[0]
    assert np.all(off_line_b(b, line, used)[1:] == 0.0), "six partials speak for themselves"
    b[0] = 1.04 * line[0]
    assert off_line_b(b, line, used)[0] == 0.0, "all keys of this piano lie so far off their line"
    even = np.where(np.arange(12) == 0, b, line)
    assert off_line_b(even, line, used)[0] > 0.01 * line[0], "none of them does here"


def pulled(size: FloatArray, *, seed: int) -> tuple[FloatArray, FloatArray]:
    """Errors of B of twelve bass strings and what is stated; each of 32 partials is off by a normal ``size`` in cents."""
    n, keys = np.arange(1, 33), np.arange(1, 13)
    true = series_hz(np.full(12, 50.0), np.full(12, B), 32)
    heard = true * np.exp(np.random.default_rng(seed).normal(0.0, size, true.shape) / CENTS_PER_NEPER)
    weight = np.where(n < 13, 1.0, 0.15) * np.ones_like(true)
    fit = fit_stiff_series(heard, weight, prior_b=np.full(12, B))
    off, b = off_series_cents(heard, fit), fit.inharmonicity
    scatter, bend = bent_series(off, weight, keys)
    counted = weight * cauchy_weight(off, fit.residual_cents)
    return np.abs(b - B), inharmonicity_sd(off, counted, b, scatter=scatter, low_b=b, bend=bend)


def test_partials_that_lie_close_are_believed_for_what_they_carry() -> None:
    # The lowest partials pulled by a cent, high ones by a twentieth: B is carried by the high ones. The twin has the same
    # mean square spread over all: it is much less sure, and what is stated of the first would not hold it.
    low_pulled = np.where(np.arange(1, 33) < 6, 1.0, 0.05)
    even = np.full(32, np.sqrt(np.mean(low_pulled**2)))
    runs, twins = ([pulled(size, seed=seed) for seed in range(20)] for size in (low_pulled, even))
    error, sd = (np.concatenate([run[i] for run in runs]) for i in (0, 1))
    assert 0.6 <= np.mean(error <= sd) <= 0.95
    assert np.median(sd) <= 2.0 * np.quantile(error, 0.68)
    assert np.mean(np.concatenate([run[0] for run in twins]) <= np.median(sd)) < 0.4


def test_peaks_that_follow_one_of_two_strings_leave_b_open() -> None:
    # Strings 2 cents apart: up to the twelfth partial their mean is known, above it the louder one is heard.
    n = np.arange(1, 25)
    true = series_hz(np.full(KEYS.size, 80.0), np.full(KEYS.size, B), 24)
    side = np.where(KEYS % 2 == 0, 0.9, -0.9)[:, None]
    noise = np.random.default_rng(3).normal(0.0, 0.08, true.shape)
    heard = true * np.exp((np.where(n > 12, side, 0.0) + noise) / CENTS_PER_NEPER)
    weight = np.where(n > 12, 0.15, 1.0) * np.ones_like(true)
    fit = fit_stiff_series(heard, weight, prior_b=np.full(KEYS.size, B))
    off, b = off_series_cents(heard, fit), fit.inharmonicity
    scatter, bend = bent_series(off, weight, KEYS)
    stated = {"scatter": scatter, "low_b": b, "bend": bend}
    two = inharmonicity_sd(off, weight, b, strings_cents=np.full(KEYS.size, 2.0), **stated)
    one = inharmonicity_sd(off, weight, b, **stated)
    assert np.mean(np.abs(b - B) <= 2.0 * two) >= 0.9
    assert np.mean(np.abs(b - B) <= 2.0 * one) < 0.7, "the twin that takes them for one string"


def bent(arch_cents: float, *, seed: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Strings whose partials lie on a bent line: B of all 28 partials, its sd, and B that the first 16 ask for."""
    rng = np.random.default_rng(seed)
    share = (np.arange(1, 29) / 28.0) ** 2
    arch = arch_cents * (1.0 - 8.0 * (share - 0.5) ** 2)
    heard = series_hz(np.full(KEYS.size, 55.0), np.full(KEYS.size, B), 28)
    heard *= np.exp((arch + rng.normal(0.0, 0.3, heard.shape)) / CENTS_PER_NEPER)
    weight, prior = np.ones_like(heard), np.full(KEYS.size, B)
    whole = fit_stiff_series(heard, weight, prior_b=prior)
    few = fit_stiff_series(heard[:, :16], weight[:, :16], prior_b=prior)
    low = fit_stiff_series(heard[:, :12], weight[:, :12], prior_b=prior)
    size, bend = bent_series(off_series_cents(heard, whole), weight, KEYS)
    off, b = off_series_cents(heard, whole), whole.inharmonicity
    sd = inharmonicity_sd(off, weight, b, scatter=size, low_b=low.inharmonicity, bend=bend)
    return whole.inharmonicity, sd, few.inharmonicity


@pytest.mark.parametrize("arch_cents", [2.0, 5.0])
def test_a_bent_string_is_as_sure_of_b_as_its_partials_agree(arch_cents: float) -> None:
    # Whoever fits the first sixteen partials of it gets another B; what is stated must hold that one, too.
    runs = [bent(arch_cents, seed=seed) for seed in range(3)]
    away = np.concatenate([np.abs(few - whole) / sd for whole, sd, few in runs])
    assert np.mean(away <= 2.0) >= 0.9
    assert np.median(away) > 0.3, "and is not drowned in a wide one"


def test_taken_for_scatter_the_bend_would_not_be_held() -> None:
    # The twin: the sd that a straight string with the same scatter has.
    straight = bent(0.0, seed=1)[1]
    whole, _, few = bent(5.0, seed=1)
    assert np.mean(np.abs(few - whole) <= 2.0 * straight) < 0.1


def test_weak_partials_scatter_more_than_strong_ones() -> None:
    # Three partials, a robust line through the outer two: the strong first one must not speak for the weak others.
    weight = np.array([[1.0, 0.2, 0.2]])
    off = np.array([[0.0, -14.0, 0.0]])
    size, _ = bent_series(off, weight, np.array([79]))
    even, _ = bent_series(0.05 * off, weight, np.array([79]))
    b = np.array([9e-3])
    assert inharmonicity_sd(off, weight, b, scatter=size, low_b=b)[0] > 0.15 * b[0]
    assert inharmonicity_sd(off, weight, b, scatter=even, low_b=b)[0] < 0.15 * b[0]


def test_wide_strings_make_the_pitch_less_sure() -> None:
    weight = np.ones((2, 10))
    sd = pitch_sd_cents(
        np.full((2, 10), 0.1),
        weight,
        scatter=np.full(2, 0.1),
        b=np.full(2, 1e-4),
        spread_cents=np.array([0.5, 15.0]),
    )
    assert sd[1] > 5.0 * sd[0]
    told_apart = pitch_sd_cents(
        np.full((2, 10), 0.1),
        weight,
        scatter=np.full(2, 0.1),
        b=np.full(2, 1e-4),
        spread_cents=np.full(2, 15.0),
        open_share=np.array([0.006, np.nan]),
    )
    assert told_apart[0] < 0.3 * told_apart[1], "strings that were told apart leave little open"


def test_what_can_not_be_told_apart_is_not_called_in_tune() -> None:
    # A variance of nothing give or take half a cent squared: strings up to a cent apart fit it.
    mean, sd = _expected_distance(np.zeros(2), np.array([0.01, 0.25]), np.full(2, 2.3), usual_cents=0.9)
    assert mean[1] > 0.3
    assert sd[1] > 2.0 * sd[0]
