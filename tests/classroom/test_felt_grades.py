"""What was felt behind a rounded grade, against scipy's truncated normal distribution."""

import numpy as np
import pytest
from scipy.stats import truncnorm

from pianolab.classroom.strictness import felt_given


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
