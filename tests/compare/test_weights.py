"""Weights: even over all that the ranges allow, against drawing and throwing away; ranges that exclude each other."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pianolab.compare import compare_pianos
from pianolab.compare.weights import draw_weights, draw_within, evenly_filled, middle_weights, weight_ranges
from pianolab.errors import BadInput
from pianolab.model import ASPECTS, Buyer, load_profiles

LOW, HIGH = np.array([0.1, 0.0, 0.2]), np.array([0.6, 0.5, 0.9])


def thrown_away(low: np.ndarray, high: np.ndarray, *, draws: int) -> np.ndarray:
    """The other way: draw evenly from all weights that sum to 1, and keep those within the ranges."""
    points = np.random.default_rng(11).dirichlet(np.ones(len(low)), draws)
    return points[np.all((points >= low) & (points <= high), axis=1)]


def test_drawn_weights_are_even_over_what_the_ranges_allow() -> None:
    mine = draw_within(LOW, HIGH, draws=100_000, rng=np.random.default_rng(0))
    other = thrown_away(LOW, HIGH, draws=400_000)
    assert mine.mean(axis=0) == pytest.approx(other.mean(axis=0), abs=0.002)
    assert mine.std(axis=0) == pytest.approx(other.std(axis=0), abs=0.002)
    for column in range(3):
        quantiles = np.linspace(0.05, 0.95, 19)
        gap = np.quantile(mine[:, column], quantiles) - np.quantile(other[:, column], quantiles)
        assert np.max(np.abs(gap)) < 0.006


def test_scaling_to_the_sum_afterwards_would_be_noticed() -> None:
    """Drawing each weight by itself and scaling leaves the ranges and is not even: the check has teeth."""
    rng = np.random.default_rng(0)
    scaled = LOW + (HIGH - LOW) * rng.random((100_000, 3))
    scaled /= scaled.sum(axis=1, keepdims=True)
    other = thrown_away(LOW, HIGH, draws=400_000)
    assert np.max(np.abs(scaled.std(axis=0) - other.std(axis=0))) > 0.01


def test_seven_weights_forget_their_start() -> None:
    """More sweeps change nothing that can be seen, from a corner of the ranges too."""
    low, high = np.zeros(7), np.full(7, 0.5)
    mine = draw_within(low, high, draws=60_000, rng=np.random.default_rng(0))
    other = thrown_away(low, high, draws=60_000)
    assert mine.std(axis=0) == pytest.approx(other.std(axis=0), abs=0.003)
    assert np.quantile(mine, 0.9) == pytest.approx(np.quantile(other, 0.9), abs=0.004)


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10_000))
def test_every_draw_stays_within_its_range_and_sums_to_one(seed: int) -> None:
    rng = np.random.default_rng(seed)
    middle = rng.dirichlet(np.ones(7))
    low, high = middle * rng.random(7), np.minimum(1.0, middle + rng.random(7) * 0.3)
    drawn = draw_within(low, high, draws=200, rng=rng)
    assert drawn.sum(axis=1) == pytest.approx(np.ones(200))
    assert np.all(drawn >= low - 1e-12)
    assert np.all(drawn <= high + 1e-12)
    assert evenly_filled(low, high).sum() == pytest.approx(1.0)


@pytest.mark.parametrize("name", sorted(load_profiles()))
def test_shipped_profiles_can_be_used(name: str) -> None:
    profile = load_profiles()[name]
    low, high = weight_ranges(profile)
    drawn = draw_weights(profile, draws=500, rng=np.random.default_rng(0))
    assert np.all((drawn >= low - 1e-12) & (drawn <= high + 1e-12))
    assert 0.95 < 0.5 * (low + high).sum() < 1.05, "ranges whose middles add up to the whole read best"
    assert middle_weights(profile).sum() == pytest.approx(1.0)


EVEN = Buyer(name="even")


@pytest.mark.parametrize(
    ("more", "line"),
    [
        (
            {"weights": dict.fromkeys(ASPECTS, (0.3, 0.4))},
            r"weights of even: got 185 % at least, need shares that can add up to 100 %.*exclude each other: lower",
        ),
        (
            {"weights": dict.fromkeys(ASPECTS, (0.0, 0.05)), "money_weight": (0.0, 0.1)},
            r"got 40 % at most.*exclude each other: raise",
        ),
    ],
)
def test_what_cannot_be_used_is_refused_in_one_line(more, line) -> None:
    profile = replace(EVEN, **more)
    for use in (lambda: compare_pianos([], profile=profile), lambda: middle_weights(profile)):
        with pytest.raises(BadInput, match=line) as caught:
            use()
        assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("more", "line"),
    [
        (
            {"weights": {**EVEN.weights, "tone": (0.4, 0.2)}},
            r"weight of tone: got 0.4 to 0.2, need the low end not above",
        ),
        ({"years_of_use": 0.0}, r"years_of_use: got 0.0, need 1 to 100 years"),
        ({"weights": {**EVEN.weights, "tone": (-0.1, 0.2)}}, r"weights, tone: got -0.1, need a share"),
        ({"weights": {"tone": (0.1, 0.2)}}, r"weights: got tone, need all of tone"),
        ({"currency": "euro"}, r"currency: got 'euro', need a three-letter code"),
        ({"touch_taste": {"weight": (4, 2)}}, r"taste of weight: got 4 to 2, need the low end"),
    ],
)
def test_what_means_nothing_is_never_recorded(more, line) -> None:
    with pytest.raises(BadInput, match=line):
        replace(EVEN, **more)
