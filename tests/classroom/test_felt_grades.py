"""What was felt behind a rounded grade, against scipy's truncated normal distribution."""

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.stats import chi2, norm, truncnorm

from pianolab.classroom.strictness import PRIOR_ANSWERS, FittedGrades, felt_given, fit_grades


@pytest.mark.parametrize(
    ("given", "middle", "sd"),
    [(3.0, 3.0, 1.0), (2.0, 3.2, 0.7), (4.0, 2.5, 1.3), (1.0, 2.0, 0.8), (5.0, 3.0, 1.0)],
)
def test_mean_and_variance_are_those_of_a_normal_distribution_cut_at_the_edges_of_the_grade(
    given, middle, sd
) -> None:
    low = -np.inf if given == 1.0 else (given - 0.5 - middle) / sd
    high = np.inf if given == 5.0 else (given + 0.5 - middle) / sd
    mean, variance = truncnorm.stats(low, high, loc=middle, scale=sd, moments="mv")
    felt, left = felt_given(np.array([given]), np.array([middle]), np.array([sd]))
    assert felt[0] == pytest.approx(float(mean), abs=1e-6)
    assert left[0] == pytest.approx(float(variance), rel=1e-4)


MIDDLES = np.linspace(1.5, 4.5, 61)
"""Where the exhibits lie that a class of known scatter is shown."""


def information_kept(sd: float) -> tuple[float, float]:
    """What rounding to 1 to 5 leaves of Fisher's information of place and scatter: sums over the five grades, no fit."""
    ends = np.array([-np.inf, 1.5, 2.5, 3.5, 4.5, np.inf])

    def chances(middle: np.ndarray, scatter: float) -> np.ndarray:
        return np.diff(norm.cdf((ends - middle[:, None]) / scatter), axis=1)

    p, step = chances(MIDDLES, sd), 1e-4
    by_place = (chances(MIDDLES + step, sd) - chances(MIDDLES - step, sd)) / (2 * step)
    by_scatter = (chances(MIDDLES, sd * np.exp(step)) - chances(MIDDLES, sd * np.exp(-step))) / (2 * step)
    place, scatter = (
        float(np.mean(np.sum(d**2 / np.maximum(p, 1e-12), axis=1))) for d in (by_place, by_scatter)
    )
    # Of values that are not rounded: 1 / sd^2 of the place, 2 of the logarithm of the scatter.
    return place * sd**2, scatter / 2.0


def a_class(sd: float, *, pupils: int = 12) -> FittedGrades:
    rng = np.random.default_rng(5)
    felt = MIDDLES + rng.normal(0.0, 0.3, (pupils, 1)) + sd * rng.normal(size=(pupils, MIDDLES.size))
    return fit_grades(np.clip(np.round(felt), 1, 5))


@pytest.mark.parametrize("sd", [0.4, 0.5])
def test_the_intervals_rest_on_what_rounding_leaves(sd: float) -> None:
    """A shift is as sure as the mean of so many unrounded grades would be; a scatter as sure as that of so many."""
    fit, (place, scatter) = a_class(sd), information_kept(sd)
    pupils = fit.shift.size
    expected = np.sqrt(np.mean(fit.scatter**2) * (1.0 - 1.0 / pupils) / (MIDDLES.size * place))
    assert np.median(fit.shift_sd) == pytest.approx(expected, rel=0.1)

    def over(rests_on: float) -> float:
        ratio = np.median(fit.scatter_high / fit.scatter_low)
        return float(np.sqrt(chi2.ppf(0.975, rests_on) / chi2.ppf(0.025, rests_on)) - ratio)

    free = MIDDLES.size * (1.0 - 1.0 / pupils)
    assert (brentq(over, 2.0, 500.0) - PRIOR_ANSWERS) / free == pytest.approx(scatter, rel=0.15)


def test_unrounded_grades_would_make_other_intervals() -> None:
    """The twin: rounding takes far more than those limits leave open."""
    assert all(kept < 0.8 for kept in information_kept(0.4))
