"""Adaptive difficulty against simulated listeners whose threshold is known."""

from __future__ import annotations

import numpy as np
import pytest

from pianolab.classroom import Ladder, UpDown
from pianolab.classroom.kinds import LEVELS
from pianolab.classroom.sittings import SPREAD, hardness_for_all
from pianolab.classroom.staircase import THRESHOLD_SHARE, share_right
from pianolab.errors import BadInput

RUNS, ANSWERS = 200, 40


def run(threshold: float, *, slope: float, guessing: bool = False) -> Ladder:
    """200 listeners at once, each with its own luck."""
    rng = np.random.default_rng(5)
    ladder = Ladder.start(0.3, 12.0, runs=RUNS)
    for _ in range(ANSWERS):
        level = ladder.next_level()
        chance = np.full(RUNS, 0.5) if guessing else share_right(level, threshold, slope=slope)
        ladder = ladder.answered(level, right=rng.random(RUNS) < chance)
    return ladder


@pytest.mark.parametrize("threshold", [0.8, 1.5, 3.0, 6.0])
@pytest.mark.parametrize("slope", [2.0, 2.5, 3.5])
def test_a_known_threshold_is_found_within_twenty_percent(threshold: float, slope: float) -> None:
    error = np.abs(run(threshold, slope=slope).next_level() / threshold - 1.0)
    assert np.median(error) < 0.20


def test_the_stated_interval_holds_the_true_threshold() -> None:
    ladder = run(1.5, slope=2.5)
    low, high = (
        np.array([np.interp(q, np.cumsum(w), ladder.thresholds) for w in ladder.weight])
        for q in (0.025, 0.975)
    )
    assert np.mean((low <= 1.5) & (high >= 1.5)) > 0.90


def test_the_check_has_teeth() -> None:
    """A listener who guesses, or whose threshold is another one, is not found at the threshold claimed."""
    guessed = run(1.5, slope=2.5, guessing=True).next_level()
    assert np.median(np.abs(guessed / 1.5 - 1.0)) > 0.5
    assert np.median(np.abs(run(2.2, slope=2.5).next_level() / 1.5 - 1.0)) > 0.20


def test_four_of_five_are_right_at_the_threshold() -> None:
    assert pytest.approx(0.797, abs=0.001) == THRESHOLD_SHARE
    assert share_right(2.0, 2.0) == pytest.approx(THRESHOLD_SHARE)


def test_a_threshold_is_unknown_after_few_answers_and_beyond_the_levels() -> None:
    ladder = Ladder.start(0.3, 12.0)
    assert ladder.result("cents").why_missing == "0 answers, 12 are needed"
    for _ in range(40):
        ladder = ladder.answered(ladder.next_level(), right=True)
    assert ladder.result("cents").value is None
    assert "beyond the levels" in ladder.result("cents").why_missing
    # A threshold in the middle of the levels, of which few answers leave both ends open.
    few = Ladder.start(0.3, 12.0)
    for right in (True, False, True, False, True, True, False, True, True, False, True, True):
        few = few.answered(few.next_level(), right=right)
    assert few.result("cents").why_missing == "12 answers don't tell it yet"


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
    """200 listeners who all get the same levels, whatever they answer."""
    rng, (low, high) = np.random.default_rng(5), LEVELS["which is further out"]
    ladder = Ladder.start(low, high, runs=RUNS)
    for hardness in hardnesses:
        level = np.full(RUNS, high * (low / high) ** hardness)
        ladder = ladder.answered(level, right=rng.random(RUNS) < share_right(level, threshold))
    return ladder


@pytest.mark.parametrize("threshold", [0.8, 1.5, 3.0, 5.0])
def test_a_set_that_is_the_same_for_all_tells_thresholds_too(threshold: float) -> None:
    """Levels from plain to fine in place of a staircase: median over 200 runs within 25 %, intervals hold the truth."""
    ladder = same_for_all(threshold, [hardness_for_all(["which is further out"], n) for n in range(ANSWERS)])
    assert np.median(np.abs(ladder.next_level() / threshold - 1.0)) < 0.25
    low, high = (
        np.array([np.interp(q, np.cumsum(w), ladder.thresholds) for w in ladder.weight])
        for q in (0.025, 0.975)
    )
    assert np.mean((low <= threshold) & (high >= threshold)) >= 0.90
    assert np.median(high / low) < 3.5


def test_one_level_for_all_would_tell_none() -> None:
    ladder = same_for_all(3.0, [SPREAD[0]] * ANSWERS)
    assert np.median(np.abs(ladder.next_level() / 3.0 - 1.0)) > 0.4
