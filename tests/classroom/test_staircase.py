"""Adaptive difficulty against simulated listeners whose threshold is known."""

from __future__ import annotations

import numpy as np
import pytest

from pianolab.classroom import Ladder, UpDown, staircase
from pianolab.classroom.kinds import LEVELS
from pianolab.classroom.making import SPREAD, hardness_for_all
from pianolab.classroom.staircase import THRESHOLD_SHARE, share_right
from pianolab.errors import BadInput

RUNS, ANSWERS = 80, 40


def run(threshold: float, *, slope: float, lapse: float = 0.0, guessing: bool = False) -> Ladder:
    """Many listeners at once, each with its own luck."""
    rng = np.random.default_rng(5)
    ladder = Ladder.start(0.6, 12.0, runs=RUNS)
    for _ in range(ANSWERS):
        level = ladder.next_level()
        chance = np.full(RUNS, 0.5) if guessing else share_right(level, threshold, slope=slope, lapse=lapse)
        ladder = ladder.answered(level, right=rng.random(RUNS) < chance)
    return ladder


@pytest.mark.parametrize("threshold", [1.5, 3.0, 6.0])
@pytest.mark.parametrize("slope", [2.0, 2.5, 3.5])
def test_a_known_threshold_is_found_within_a_quarter(threshold: float, slope: float) -> None:
    error = np.abs(run(threshold, slope=slope).interval()[1] / threshold - 1.0)
    assert np.median(error) < 0.25


AT_LEAST = 0.92 - 0.018
"""Of the intervals that shall hold the truth, less what 240 draws may miss by chance."""


def share_held(*, slope: float, lapse: float) -> tuple[float, float]:
    """Of three thresholds, 80 listeners each: how many intervals hold the true one, and how many of half their width."""
    held, halved = [], []
    for threshold in (1.5, 3.0, 6.0):
        low, middle, high = run(threshold, slope=slope, lapse=lapse).interval()
        held += list((low <= threshold) & (threshold <= high))
        halved += list((np.sqrt(low * middle) <= threshold) & (threshold <= np.sqrt(high * middle)))
    return float(np.mean(held)), float(np.mean(halved))


@pytest.mark.parametrize("lapse", [0.0, 0.05, 0.15])
@pytest.mark.parametrize("slope", [1.2, 2.5, 5.0])
def test_the_stated_interval_holds_the_true_threshold(
    slope: float, lapse: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The twins: intervals half as wide hold it too seldom, and so do those of a procedure that knows of no lapses, where
    one answer in seven is a lapse."""
    held, halved = share_held(slope=slope, lapse=lapse)
    assert held >= AT_LEAST
    assert halved < AT_LEAST
    if lapse == 0.15:
        monkeypatch.setattr(staircase, "LAPSE_PRIOR", np.array([1.0 - 6e-9, *[1e-9] * 6]))
        assert share_held(slope=slope, lapse=lapse)[0] < AT_LEAST


def test_the_check_has_teeth() -> None:
    """A listener who guesses, or whose threshold is another one, is not found at the threshold claimed."""
    guessed = run(1.5, slope=2.5, guessing=True).interval()[1]
    assert np.median(np.abs(guessed / 1.5 - 1.0)) > 0.5
    assert np.median(np.abs(run(2.4, slope=2.5).interval()[1] / 1.5 - 1.0)) > 0.25


def test_four_of_five_are_right_at_the_threshold() -> None:
    assert pytest.approx(0.816, abs=0.001) == THRESHOLD_SHARE
    assert share_right(2.0, 2.0) == pytest.approx(THRESHOLD_SHARE)


def test_a_threshold_is_unknown_after_few_answers_and_beyond_the_levels() -> None:
    ladder = Ladder.start(0.6, 12.0)
    assert ladder.result("cents").why_missing == "0 answers, 12 are needed"
    for _ in range(40):
        ladder = ladder.answered(ladder.next_level(), right=True)
    assert ladder.result("cents").value is None
    assert ladder.result("cents").why_missing.startswith(
        "finer than the levels that were asked, from 0.6 cents: under "
    )
    for _ in range(80):
        ladder = ladder.answered(ladder.next_level(), right=False)
    assert (
        "it lies beyond the levels that were asked, up to 12 cents: over "
        in ladder.result("cents").why_missing
    )


def test_up_down_settles_where_seven_of_ten_are_right() -> None:
    """levitt1971: two right in a row against one wrong settles at the square root of one half."""
    rng, rule, seen = np.random.default_rng(2), UpDown(step=0.02), []
    for n in range(4000):
        right = bool(rng.random() < 1.0 - 0.5 * rule.hardness)
        rule = rule.answered(right)
        seen += [right] if n > 500 else []
    assert np.mean(seen) == pytest.approx(np.sqrt(0.5), abs=0.03)
    assert np.mean(seen) != pytest.approx(0.75, abs=0.03)


def test_bad_levels() -> None:
    with pytest.raises(BadInput, match="levels: got 3 to 1, need two positive levels"):
        Ladder.start(3, 1)


def same_for_all(threshold: float, hardnesses: list[float]) -> Ladder:
    """Listeners who all get the same levels, whatever they answer."""
    rng, (low, high) = np.random.default_rng(5), LEVELS["which is further out"]
    ladder = Ladder.start(low, high, runs=RUNS)
    for hardness in hardnesses:
        level = np.full(RUNS, high * (low / high) ** hardness)
        ladder = ladder.answered(level, right=rng.random(RUNS) < share_right(level, threshold))
    return ladder


@pytest.mark.parametrize("threshold", [1.5, 3.0, 5.0])
def test_a_set_that_is_the_same_for_all_tells_thresholds_too(threshold: float) -> None:
    """Levels from plain to fine in place of a staircase: median within 30 %, intervals hold the truth."""
    ladder = same_for_all(threshold, [hardness_for_all(["which is further out"], n) for n in range(ANSWERS)])
    low, middle, high = ladder.interval()
    assert np.median(np.abs(middle / threshold - 1.0)) < 0.3
    assert np.mean((low <= threshold) & (high >= threshold)) >= 0.92
    assert np.median(high / low) < 6.0


def test_one_level_for_all_would_tell_none() -> None:
    ladder = same_for_all(3.0, [SPREAD[0]] * ANSWERS)
    low, _, high = ladder.interval()
    assert np.median(high / low) > 6.0
