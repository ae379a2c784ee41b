"""How long comparing takes: run ``python benchmarks/compare_speed.py``; goals are beside the figures.

Pianos are the invented shortlist judged in all its conditions, repeated under new ids.
"""

from __future__ import annotations

import itertools
import time
from dataclasses import replace

from pianolab.assess import Assessment, assess_piano, load_prices
from pianolab.checklist import findings_for, load_checklist, load_scenario
from pianolab.compare import compare_pianos
from pianolab.model import load_profiles

CASES = ((4, 20_000, 1.0), (10, 100_000, 2.0), (500, 20_000, 60.0))
"""Pianos, draws, goal in seconds."""


def judged() -> list[Assessment]:
    """Sixteen assessments without recordings: the four instruments in the four conditions."""
    checklist, prices, scenario = load_checklist(), load_prices(), load_scenario()
    return [
        assess_piano(
            piano,
            findings_for(condition, visit_id="v", piano=piano, checklist=checklist),
            survey=None,
            checklist=checklist,
            prices=prices,
        )
        for piano, condition in itertools.product(scenario.instruments, scenario.conditions.values())
    ]


def repeated(base: list[Assessment], count: int) -> list[Assessment]:
    """So many pianos, each with an id of its own."""
    pairs = zip(range(count), itertools.cycle(base), strict=False)
    return [replace(a, piano=replace(a.piano, id=str(i), name=f"piano {i}")) for i, a in pairs]


def main() -> None:
    base, profile = judged(), load_profiles()["first piano"]
    for count, draws, goal_s in CASES:
        pianos = repeated(base, count)
        started, cpu_started = time.perf_counter(), time.process_time()
        compare_pianos(pianos, profile=profile, draws=draws)
        took_s, cpu_s = time.perf_counter() - started, time.process_time() - cpu_started
        print(
            f"{count:4d} pianos, {draws:7d} draws: {took_s:6.2f} s, of it computing {cpu_s:.2f} s (goal {goal_s:g} s)"
        )


if __name__ == "__main__":
    main()
