"""How fast the decision is: ``python -m benchmarks.decision [--pianos 500] [--draws 20000]``.

The pianos are made up by seed: at about half of the checklist's points something was found, nobody looked at the
rest, and nothing was recorded, so that there is much to draw. Judging and comparing are timed apart. Besides
wall time there is CPU time, which other work on the same machine changes less.
"""

from __future__ import annotations

import argparse
import resource
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from pathlib import Path

import numpy as np
from threadpoolctl import threadpool_limits

from pianolab.assess import Assessment, assess_piano, load_prices
from pianolab.casebook import create_casebook
from pianolab.checklist import Checklist, load_checklist
from pianolab.checklist.points import VALUE_OF, Point
from pianolab.compare import compare_pianos
from pianolab.model import Comparable, Finding, Piano, Visit, load_profiles
from pianolab.workflow.deciding import decide

GOALS = {"4 pianos, all in": 1.0, "10 pianos, 100,000 draws": 2.0, "500 pianos": 60.0}
LIKE = tuple(
    Comparable(kind=kind, price=Decimal(price), age_years=35, condition="good", seller_kind="private")
    for kind, prices in (("upright", (1800, 2100, 2400)), ("grand", (7000, 8200, 9000)))
    for price in prices
)
"""Prices of like instruments, so that the price is worked out too."""


@dataclass(frozen=True)
class Timed:
    """Wall and CPU time of one call, s."""

    what: str
    wall_s: float
    cpu_s: float

    def line(self, goal_s: float | None = None) -> str:
        goal = f" (goal: under {goal_s:g} s)" if goal_s is not None else ""
        return f"{self.what}: {self.wall_s:.2f} s, {self.cpu_s:.2f} s of CPU{goal}"


def timed(what: str, call: Callable[[], object]) -> Timed:
    wall, cpu = time.perf_counter(), time.process_time()
    call()
    return Timed(what, time.perf_counter() - wall, time.process_time() - cpu)


def made_up(number: int, *, checklist: Checklist) -> tuple[Piano, tuple[Finding, ...]]:
    """A piano and what was found at about half of its points."""
    rng = np.random.default_rng(number)
    piano = Piano(id=f"p{number}", name=f"piano {number}", asking_price=Decimal(int(rng.integers(300, 6000))))
    seen = [p for p in checklist.for_piano(piano) if rng.random() < 0.5]
    return piano, tuple(_finding(p, rng) for p in seen if not _stops(p))


def _stops(point: Point) -> bool:
    """Points that could stop the purchase stay unseen: a piano that is out needs no ranking."""
    return bool(point.vetoes)


def _finding(point: Point, rng: np.random.Generator) -> Finding:
    value: float | int | bool
    if point.record == "grade":
        value = int(rng.integers(2, 6))
    elif point.record == "yes_no":
        value = bool(point.good_answer) if rng.random() < 0.8 else not point.good_answer
    else:
        value = float(np.mean(point.usual or (0.0, 1.0)))
    kept = int(value) if point.record == "count" else value
    return Finding(id=point.id, visit_id="v", point=point.id, **{VALUE_OF[point.record]: kept})  # type: ignore[arg-type]


def judge_all(count: int) -> list[Assessment]:
    checklist, prices, profile = load_checklist(), load_prices(), load_profiles()["first piano"]
    return [
        assess_piano(piano, findings, survey=None, checklist=checklist, prices=prices, profile=profile)
        for piano, findings in (made_up(n, checklist=checklist) for n in range(count))
    ]


def whole_decision(folder: Path) -> Timed:
    """Four pianos from casebook to verdict, prices, plan and what it hangs on; warm, as in a session at work."""
    checklist = load_checklist()
    with create_casebook(folder / "four") as book:
        with book.editing(by="benchmark") as edit:
            for number in range(4):
                piano, findings = made_up(number, checklist=checklist)
                edit.add(piano)
                visit = edit.add(Visit(piano_id=piano.id, day=date(2026, 11, 2), examiner="benchmark"))
                for finding in findings:
                    edit.add(replace(finding, id=f"{piano.id}-{finding.id}", visit_id=visit.id))
            for comparable in LIKE:
                edit.add(comparable)
        decide(book, profile="first piano")
        return timed("4 pianos, all in", lambda: decide(book, profile="first piano"))


def run(*, pianos: int, draws: int, many_draws: int) -> list[tuple[Timed, float | None]]:
    """Four pianos all in, ten with many draws, then many pianos; each with what it should take at most."""
    profile = load_profiles()["first piano"]
    ten, many = judge_all(10), []
    compare_pianos(ten, profile=profile, draws=200)
    with tempfile.TemporaryDirectory() as folder:
        all_in = whole_decision(Path(folder))
    found: list[tuple[Timed, float | None]] = [
        (all_in, GOALS["4 pianos, all in"]),
        (
            timed(f"10 pianos, {draws:,} draws", lambda: compare_pianos(ten, profile=profile, draws=draws)),
            GOALS["10 pianos, 100,000 draws"],
        ),
    ]
    found.append((timed(f"judging {pianos} pianos", lambda: many.extend(judge_all(pianos))), None))
    what = f"comparing {pianos} pianos, {many_draws:,} draws"
    found.append(
        (
            timed(what, lambda: compare_pianos(many, profile=profile, draws=many_draws)),
            GOALS["500 pianos"],
        )
    )
    return found


def main(arguments: list[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0])
    parser.add_argument("--pianos", type=int, default=500)
    parser.add_argument("--draws", type=int, default=100_000)
    parser.add_argument("--many-draws", type=int, default=20_000)
    args = parser.parse_args(arguments)
    with threadpool_limits(1):
        for found, goal in run(pianos=args.pianos, draws=args.draws, many_draws=args.many_draws):
            print(found.line(goal))
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"memory of this process at its highest: {peak:.0f} MiB")


if __name__ == "__main__":
    main(sys.argv[1:])
