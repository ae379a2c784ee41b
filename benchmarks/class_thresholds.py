"""How often the stated 95 % interval of a threshold holds the true one, for listeners who lapse and of other slopes.

::

    python -m benchmarks.class_thresholds [--runs 400] [--answers 40]

Simulated listeners answer as the staircase asks, ``own``, or a set that is the same for all, ``same``. Each row: share
of all intervals that hold the truth, share of runs in which the threshold is stated, median of the ratio of the
interval's ends. Goal: 92 % at no, 5 and 15 % lapses, whatever the slope. The twin ``no lapses known`` is the same
procedure with the lapse rate fixed at 0.
"""

from __future__ import annotations

import argparse

import numpy as np
import pandas as pd

from pianolab.classroom import staircase
from pianolab.classroom.kinds import LEVELS
from pianolab.classroom.making import SPREAD
from pianolab.classroom.staircase import Ladder, share_right

LOW, HIGH = LEVELS["which is further out"]
THRESHOLDS, SLOPES, LAPSES = (1.0, 2.0, 4.0, 7.0), (1.2, 2.5, 5.0), (0.0, 0.05, 0.15)
GOAL = 0.92


def run(
    threshold: float, *, slope: float, lapse: float, runs: int, answers: int, own: bool, seed: int = 5
) -> Ladder:
    """So many listeners at once, each with its own luck."""
    rng, ladder = np.random.default_rng(seed), Ladder.start(LOW, HIGH, runs=runs)
    for n in range(answers):
        hardness = SPREAD[n % len(SPREAD)]
        level = ladder.next_level() if own else np.full(runs, HIGH * (LOW / HIGH) ** hardness)
        chance = share_right(level, threshold, slope=slope, lapse=lapse)
        ladder = ladder.answered(level, right=rng.random(runs) < chance)
    return ladder


def held(ladder: Ladder, threshold: float) -> tuple[float, float, float]:
    """Share of stated intervals that hold the truth, share stated, median ratio of their ends."""
    low, _, high = ladder.interval()
    known = ladder.stated()
    inside = (low <= threshold) & (threshold <= high)
    return float(inside.mean()), float(known.mean()), float(np.median(high / low))


def table(*, runs: int, answers: int, own: bool) -> pd.DataFrame:
    """A row per lapse rate and slope, over all thresholds."""
    rows = []
    for lapse in LAPSES:
        for slope in SLOPES:
            found = [
                held(run(t, slope=slope, lapse=lapse, runs=runs, answers=answers, own=own, seed=n), t)
                for n, t in enumerate(THRESHOLDS)
            ]
            rows.append(
                {
                    "lapses": lapse,
                    "slope": slope,
                    "coverage": np.mean([f[0] for f in found]),
                    "worst threshold": min(f[0] for f in found),
                    "stated": np.mean([f[1] for f in found]),
                    "ends' ratio": np.median([f[2] for f in found]),
                }
            )
    return pd.DataFrame(rows)


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description="Coverage of stated thresholds.")
    parser.add_argument("--runs", type=int, default=400)
    parser.add_argument("--answers", type=int, default=40)
    given = parser.parse_args()
    for own in (True, False):
        print("\nown levels" if own else "\nthe same levels for all")
        print(
            table(runs=given.runs, answers=given.answers, own=own).to_string(
                index=False, float_format=lambda x: f"{x:.3f}"
            )
        )
    kept = staircase.LAPSE_PRIOR.copy()
    staircase.LAPSE_PRIOR[:] = [1.0 - 6e-9, *[1e-9] * 6]
    print("\nno lapses known, own levels")
    print(
        table(runs=given.runs, answers=given.answers, own=True).to_string(
            index=False, float_format=lambda x: f"{x:.3f}"
        )
    )
    staircase.LAPSE_PRIOR[:] = kept


if __name__ == "__main__":
    main()
