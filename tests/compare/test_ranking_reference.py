"""Ranking against a published example, an independent library, and what can be worked out by hand.

The library is pymcdm. Two of its habits to know: its TOPSIS scales by smallest and largest where the book (and
this example) scales by vector length, so the normalisation has to be named; and its ``rankdata`` gives the
smallest value rank 1, so that preferences need ``rrankdata``. Named so, its values are the book's.
"""

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pymcdm import normalizations
from pymcdm.helpers import rrankdata
from pymcdm.methods import TOPSIS, WSM

from pianolab.compare.standings import (
    STOPPED,
    central_weights,
    confidence,
    dominators,
    rank_shares,
    weighted_sum,
)

# Four alternatives, three criteria, all better when larger, weights .3 .4 .3: the worked example of G.-H.
# Tzeng and J.-J. Huang, Multiple Attribute Decision Making (2011), as it stands in an open test suite for
# multi-criteria methods. Weighted sums raw and after dividing by the column's maximum: computed by hand.
VALUES = [[5, 8, 4], [7, 6, 8], [8, 8, 6], [7, 4, 6]]
WEIGHTS = [0.3, 0.4, 0.3]
RAW = [5.9, 6.9, 7.4, 5.5]
BY_MAXIMUM = [0.7375, 0.8625, 0.925, 0.6875]


def by_exact_fractions(weights: list[float]) -> list[float]:
    exact = [Fraction(str(w)) for w in weights]
    return [float(sum(w * v for w, v in zip(exact, row, strict=True))) for row in VALUES]


def test_weighted_sum_of_the_published_example() -> None:
    assert weighted_sum(VALUES, WEIGHTS) == pytest.approx(RAW, abs=1e-12)
    assert by_exact_fractions(WEIGHTS) == pytest.approx(RAW, abs=1e-12)
    scaled = np.array(VALUES) / np.max(VALUES, axis=0)
    assert weighted_sum(scaled, WEIGHTS) == pytest.approx(BY_MAXIMUM, abs=1e-12)
    assert list(np.argsort(-weighted_sum(VALUES, WEIGHTS))) == [2, 1, 0, 3]


def test_the_weighted_sum_check_has_teeth() -> None:
    """Weights in another order give another answer, by far more than the tolerance."""
    wrong = weighted_sum(VALUES, [0.4, 0.3, 0.3])
    assert np.max(np.abs(wrong - np.array(RAW))) > 0.25


TOPSIS_OF_THE_BOOK = [0.50371966, 0.65808477, 0.74824866, 0.33399744]
"""Closeness to the ideal in the same example (Tzeng and Huang 2011), vector normalisation, eight digits."""


def test_the_library_itself_gives_the_books_values() -> None:
    """Before it serves as a reference: its TOPSIS, with the book's normalisation named."""
    method = TOPSIS(normalization_function=normalizations.vector_normalization)
    found = method(np.array(VALUES, float), np.array(WEIGHTS), np.ones(3))
    assert found == pytest.approx(TOPSIS_OF_THE_BOOK, abs=1e-8)
    by_its_default = TOPSIS()(np.array(VALUES, float), np.array(WEIGHTS), np.ones(3))
    assert np.max(np.abs(by_its_default - TOPSIS_OF_THE_BOOK)) > 0.01, (
        "the normalisation need not be named any more"
    )


def by_library(values: np.ndarray, weights: np.ndarray) -> np.ndarray:
    """Its weighted sum over columns divided by their largest value, all criteria to be maximised."""
    return WSM(normalization_function=normalizations.max_normalization)(
        values, weights, np.ones(len(weights))
    )


def test_weighted_sum_agrees_with_the_library() -> None:
    scaled = np.array(VALUES) / np.max(VALUES, axis=0)
    other = by_library(np.array(VALUES, float), np.array(WEIGHTS))
    assert weighted_sum(scaled, WEIGHTS) == pytest.approx(other, abs=1e-12)
    assert other == pytest.approx(BY_MAXIMUM, abs=1e-12)
    shares = rank_shares(weighted_sum(scaled, WEIGHTS)[:, None])
    assert list(shares.argmax(axis=1) + 1) == list(rrankdata(other))


def test_the_library_check_has_teeth() -> None:
    other = by_library(np.array(VALUES, float), np.array([0.4, 0.3, 0.3]))
    assert np.max(np.abs(other - BY_MAXIMUM)) > 0.005


@settings(max_examples=40, deadline=None)
@pytest.mark.filterwarnings("ignore:Alternatives with indices:UserWarning")
@given(st.integers(0, 10_000))
def test_weighted_sum_and_ranks_agree_with_the_library_on_any_table(seed: int) -> None:
    rng = np.random.default_rng(seed)
    values = rng.uniform(0.5, 10.0, (rng.integers(2, 9), rng.integers(2, 8)))
    weights = rng.dirichlet(np.ones(values.shape[1]))
    mine = weighted_sum(values / values.max(axis=0), weights)
    other = by_library(values, weights)
    assert mine == pytest.approx(other, abs=1e-12)
    assert list(rank_shares(mine[:, None]).argmax(axis=1) + 1) == list(rrankdata(other))


def test_pareto_front_of_the_published_example() -> None:
    """A0 is dominated by A2; A3 by A1 and A2; the front is A1 and A2 (by hand)."""
    found = dominators(VALUES, VALUES)
    assert {(int(i), int(j)) for i, j in np.argwhere(found)} == {(2, 0), (1, 3), (2, 3)}


def test_the_dominance_check_has_teeth() -> None:
    lowered = [list(row) for row in VALUES]
    lowered[2][1] = 7
    assert not dominators(lowered, lowered)[2, 0]


def test_wide_intervals_dominate_nothing() -> None:
    low, high = np.array(VALUES) - 2.0, np.array(VALUES) + 2.0
    assert not dominators(low, high).any()


def test_nothing_dominates_itself() -> None:
    assert not np.diag(dominators(VALUES, VALUES)).any()


def simplex_draws(criteria: int, draws: int) -> np.ndarray:
    return np.random.default_rng(5).dirichlet(np.ones(criteria), draws)


def test_rank_shares_of_a_case_with_a_known_answer() -> None:
    """Two alternatives (1, 0) and (0.4, 0.4), weights even over w1 + w2 = 1.

    The first wins where w1 > 0.4, so in 60 % of the cases; its central weight is the middle of 0.4 to 1,
    0.7; the second's is 0.2. Worked out by hand.
    """
    weights = simplex_draws(2, 200_000)
    utility = np.stack([weighted_sum(weights, x) for x in ([1.0, 0.0], [0.4, 0.4])])
    shares = rank_shares(utility)
    assert shares[0, 0] == pytest.approx(0.6, abs=0.005)
    assert shares.sum(axis=0) == pytest.approx([1.0, 1.0])
    assert shares.sum(axis=1) == pytest.approx([1.0, 1.0])
    first, second = central_weights(utility, weights)
    assert first is not None
    assert second is not None
    assert first[0] == pytest.approx(0.7, abs=0.005)
    assert second[0] == pytest.approx(0.2, abs=0.005)


def test_the_rank_share_check_has_teeth() -> None:
    weights = simplex_draws(2, 200_000)
    utility = np.stack([weighted_sum(weights, x) for x in ([1.0, 0.0], [0.45, 0.45])])
    assert abs(rank_shares(utility)[0, 0] - 0.6) > 0.04


def test_who_never_comes_first_has_no_central_weights() -> None:
    weights = simplex_draws(2, 1000)
    utility = np.stack([weighted_sum(weights, x) for x in ([1.0, 1.0], [0.5, 0.5])])
    assert central_weights(utility, weights)[1] is None


def test_confidence_is_one_where_nothing_is_unknown() -> None:
    criteria = [np.full((2, 50), 1.0), np.full((2, 50), 0.5)]
    besides = np.zeros((2, 50))
    assert confidence(criteria, besides, 0, np.array([0.5, 0.5])) == 1.0
    besides[0, :25] = STOPPED
    assert confidence(criteria, besides, 0, np.array([0.5, 0.5])) == 0.5
