"""What twenty minutes at a piano are worth against sixty, on the panel of cases: ``python -m benchmarks.short_walk``.

Of each case only what the walk of that length would have shown is kept (`pianolab.checklist.hour`), with its recording,
and the verdict is given anew. Printed are the verdicts by length, how often the shorter walks decide as the hour and as
everything that a layman can see, and the stops and areas that each length covers.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

from pianolab.checklist import load_checklist
from pianolab.checklist.hour import order_walk
from pianolab.model import Piano
from tests.compare.panel_cases import Case, load_cases
from tests.compare.panel_entries import PANEL
from tests.compare.panel_run import run_case

LENGTHS: tuple[float | None, ...] = (20, 40, 60, None)
CHECKLIST = load_checklist()


def within(case: Case, minutes: float | None) -> Case:
    """The case as somebody knows it who walked so long."""
    seen = {s.point.id for s in order_walk(CHECKLIST, case.piano, minutes=minutes).steps}
    kept = tuple(f for f in case.findings if f.point in seen)
    return replace(case, findings=kept, listed=case.listed & seen)


def coverage() -> list[str]:
    """Stops and areas that each length reaches, of an upright and a grand of which nothing is known."""
    lines = []
    for kind in ("upright", "grand"):
        for minutes in LENGTHS:
            order = order_walk(CHECKLIST, Piano(name=kind, kind=kind), minutes=minutes)  # type: ignore[arg-type]
            stops = sum(bool(s.point.vetoes) for s in order.steps)
            areas = len({s.point.area for s in order.steps})
            lines.append(
                f"{kind}, {name_of(minutes)}: {len(order.steps)} points in {order.taken:.1f} min, {stops} stops of "
                f"{stops + len(order.stops_left)}, {areas} areas of {len(CHECKLIST.areas)}"
            )
    return lines


def name_of(minutes: float | None) -> str:
    return "all" if minutes is None else f"{minutes:g} min"


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", nargs="*", default=[], help="ids that begin so")
    parser.add_argument("--seed", type=int, default=0)
    asked = parser.parse_args(arguments)
    print("\n".join(coverage()))
    cases = {
        i: c
        for i, c in load_cases(PANEL / "open.toml").items()
        if not asked.cases or any(i.startswith(start) for start in asked.cases)
    }
    said = {
        i: [run_case(within(case, m), seed=asked.seed).said for m in LENGTHS] for i, case in cases.items()
    }
    for i, verdicts in said.items():
        print(f"{i:34} " + "  ".join(f"{v:14}" for v in verdicts))
    for n, minutes in enumerate(LENGTHS):
        print(f"{name_of(minutes)}: {dict(Counter(v[n] for v in said.values()))}")
    for other, name in ((2, "60 min"), (3, "all")):
        alike = [sum(v[n] == v[other] for v in said.values()) for n in range(other)]
        words = ", ".join(f"{name_of(LENGTHS[n])} {count}" for n, count in enumerate(alike))
        print(f"decides as {name} in, of {len(said)}: {words}")


if __name__ == "__main__":
    main()
