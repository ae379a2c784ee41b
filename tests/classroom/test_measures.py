"""Measures of learning against worked examples from outside, and twins that show a wrong answer fails."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from scipy.stats import norm

from pianolab.classroom import (
    sensitivities_by_day,
    sensitivity,
    sensitivity_of,
    share_of,
    shares_by_day,
    shares_by_kind,
    threshold_of,
    thresholds_by_day,
)
from pianolab.classroom.psychometrics import RECENT, ladder_of
from pianolab.classroom.staircase import Ladder, share_right
from pianolab.errors import BadInput
from pianolab.model import Answer

# The documentation of the R package statpsych prints for signal(82, 46, 100, 100), with 0.5 added to the counts and
# 1 to the numbers: d' 1.002793, bias -0.4019603. Read there.
STATPSYCH = {"hits": 82, "signals": 100, "false_alarms": 46, "noises": 100}

# The manual of the program dprime (part of a statistics collection of 1985) prints for rates .7 and .4: d' 0.78. Read there.
MANUAL_1985 = (0.70, 0.40, 0.78)


def test_sensitivity_and_bias_of_a_worked_example() -> None:
    found = sensitivity(**STATPSYCH)
    assert found.d_prime == pytest.approx(1.002793, abs=1e-6)
    assert found.bias == pytest.approx(-0.4019603, abs=1e-6)


def test_no_bias_has_no_sign_of_its_own() -> None:
    """Half of both kinds right: the bias is 0, not a little under it."""
    even = sensitivity(hits=6, signals=12, false_alarms=6, noises=12)
    assert even.headline().endswith("bias +0.00")
    assert "-0.00" not in repr(even.rows())


def test_the_worked_example_has_teeth() -> None:
    uncorrected = norm.ppf(0.82) - norm.ppf(0.46)
    assert uncorrected != pytest.approx(1.002793, abs=1e-3)
    assert sensitivity(hits=82, signals=100, false_alarms=45, noises=100).d_prime != pytest.approx(
        1.002793, abs=1e-3
    )


def test_many_answers_come_near_the_plain_formula() -> None:
    h, f, d = MANUAL_1985
    n = 1_000_000
    found = sensitivity(hits=round(h * n), signals=n, false_alarms=round(f * n), noises=n)
    assert found.d_prime == pytest.approx(d, abs=0.005)


def test_intervals_of_sensitivity_hold_the_truth() -> None:
    rng, true_d, true_c, inside = np.random.default_rng(3), 1.2, 0.3, []
    for _ in range(400):
        hits = rng.binomial(40, norm.cdf(true_d / 2 - true_c))
        alarms = rng.binomial(40, norm.cdf(-true_d / 2 - true_c))
        found = sensitivity(hits=int(hits), signals=40, false_alarms=int(alarms), noises=40)
        assert found.d_low is not None
        inside.append((found.d_low <= true_d <= found.d_high, found.bias_low <= true_c <= found.bias_high))
    shares = np.mean(inside, axis=0)
    assert np.all(np.abs(shares - 0.95) < 0.035), shares


def test_rates_of_nought_and_one_stay_finite() -> None:
    found = sensitivity(hits=10, signals=10, false_alarms=0, noises=10)
    assert found.d_prime == pytest.approx(2 * norm.ppf(10.5 / 11))


def test_nothing_is_known_without_both_sorts_of_task() -> None:
    assert sensitivity(hits=3, signals=4, false_alarms=0, noises=0).d_prime is None
    assert "both sorts" in sensitivity(hits=3, signals=4, false_alarms=0, noises=0).headline()


def test_wilson_interval_by_its_own_equation() -> None:
    """wilson1927: the ends are where the true share would lie just 1.96 of its own standard deviations away."""
    found = share_of(8, 10)
    assert found.low is not None
    assert found.high is not None
    for end in (found.low, found.high):
        assert abs(0.8 - end) == pytest.approx(1.959963985 * np.sqrt(end * (1 - end) / 10), rel=1e-6)
    naive = 0.8 - 1.959963985 * np.sqrt(0.8 * 0.2 / 10)
    assert abs(0.8 - naive) != pytest.approx(1.959963985 * np.sqrt(naive * (1 - naive) / 10), rel=1e-2)


@pytest.mark.parametrize(("right", "answers"), [(-1, 3), (4, 3)])
def test_more_right_than_answered(right: int, answers: int) -> None:
    with pytest.raises(BadInput, match="right answers: got"):
        share_of(right, answers)


def answer(n: int, **more: object) -> Answer:
    values = {
        "pupil": "7",
        "kind": "same or different",
        "task": f"t{n}",
        "at": datetime(2026, 3, 1, tzinfo=UTC) + timedelta(days=n),
    }
    return Answer(**{**values, **more})  # type: ignore[arg-type]


def test_shares_by_kind_and_day_leave_out_grades() -> None:
    told = [
        answer(0, correct=True),
        answer(0, correct=False),
        answer(1, correct=True),
        answer(1, kind="grade", grade=3),
    ]
    assert shares_by_kind(told)["same or different"].headline().startswith("2 of 3 right")
    assert [s.right for s in shares_by_day(told).values()] == [1, 1]
    assert "grade" not in shares_by_kind(told)


def test_sensitivity_of_answers() -> None:
    told = [
        answer(n, truth="different", given="different" if n < 8 else "same", correct=n < 8) for n in range(10)
    ]
    told += [
        answer(n, truth="same", given="different" if n < 2 else "same", correct=n >= 2) for n in range(10)
    ]
    assert sensitivity_of(told).d_prime == pytest.approx(
        sensitivity(hits=8, signals=10, false_alarms=2, noises=10).d_prime
    )


def test_a_threshold_goes_on_where_it_was_left() -> None:
    rng, told = np.random.default_rng(8), []
    for n in range(60):
        level = float(ladder_of(told, kind="which is further out").next_level())
        right = bool(rng.random() < share_right(level, 2.0))
        told.append(answer(n, kind="which is further out", level=level, correct=right, unit="cents"))
    found = threshold_of(told, kind="which is further out")
    assert found.low is not None
    assert found.low <= 2.0 <= found.high
    assert found.unit == "cents"
    with pytest.raises(BadInput, match="kind: got 'name the fault'"):
        threshold_of(told, kind="name the fault")


def test_a_class_of_thirty_is_recovered_within_its_intervals() -> None:
    """Shares, sensitivities and thresholds of thirty simulated pupils: 95 % intervals hold at least 26 of each."""
    rng, held = np.random.default_rng(12), {"share": 0, "d'": 0, "threshold": 0, "threshold unknown": 0}
    for _ in range(30):
        skill, d, level0 = rng.uniform(0.55, 0.95), rng.uniform(0.3, 2.5), rng.uniform(0.8, 5.0)
        found = share_of(int(rng.binomial(60, skill)), 60)
        hits, alarms = int(rng.binomial(50, norm.cdf(d / 2))), int(rng.binomial(50, norm.cdf(-d / 2)))
        told = sensitivity(hits=hits, signals=50, false_alarms=alarms, noises=50)
        ladder = ladder_of([], kind="which is further out")
        for _trial in range(50):
            level = float(ladder.next_level())
            ladder = ladder.answered(level, right=bool(rng.random() < share_right(level, level0)))
        threshold = ladder.result("cents")
        held["share"] += found.low <= skill <= found.high
        held["d'"] += told.d_low <= d <= told.d_high
        held["threshold"] += threshold.low is not None and threshold.low <= level0 <= threshold.high
        held["threshold unknown"] += threshold.low is None
    assert held.pop("threshold unknown") <= 2
    assert min(held.values()) >= 26, held


def learner(*, before: float, after: float, days: int = 6, each: int = 20) -> list[Answer]:
    """A pupil whose threshold changes after three days, in a class where each has an own set."""
    rng, told = np.random.default_rng(4), []
    for n in range(days * each):
        level = float(np.clip(ladder_of(told, kind="which is further out").next_level(), 0.6, 12.0))
        own = before if n < days * each // 2 else after
        right = bool(rng.random() < share_right(level, own))
        told.append(
            answer(
                n,
                kind="which is further out",
                level=level,
                correct=right,
                unit="cents",
                at=datetime(2026, 3, 1 + n // each, 9, 0, n % each, tzinfo=UTC),
            )
        )
    return told


def test_thresholds_over_time_follow_a_pupil_who_learns() -> None:
    told = learner(before=6.0, after=1.2)
    found = thresholds_by_day(told, kind="which is further out")
    assert [day.day for day in found] == [1, 2, 3, 4, 5, 6]
    third, last = list(found.values())[2], list(found.values())[5]
    assert third.low <= 6.0 <= third.high
    assert last.low <= 1.2 <= last.high
    assert last.value < 0.4 * third.value, "what was learnt shows"
    assert threshold_of(told, kind="which is further out") == last
    assert last.answers == RECENT
    # The twin: all answers together don't tell what is heard at present.
    ladder = Ladder.start(0.6, 12.0)
    for a in told:
        ladder = ladder.answered(a.level, right=a.correct)
    everything = ladder.result("cents")
    assert everything.value > 1.6 * 1.2


def test_the_order_of_gathering_changes_nothing() -> None:
    told = learner(before=6.0, after=1.2, days=4)
    assert threshold_of(told[::-1], kind="which is further out") == threshold_of(
        told, kind="which is further out"
    )


def test_sensitivity_over_time() -> None:
    told = []
    for n in range(80):
        truth = "different" if n % 2 else "same"
        right = n >= 40 or n % 4 < 2
        other = {"same": "different", "different": "same"}[truth]
        told.append(answer(n // 40, truth=truth, given=truth if right else other, correct=right))
    first, second = sensitivities_by_day(told).values()
    assert first.d_prime == pytest.approx(0.0)
    assert second.d_prime == pytest.approx(2 * norm.ppf(20.5 / 21))
    assert second.answers == 40
