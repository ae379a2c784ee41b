"""What is said of the panel's instruments, beside what a technician would say: ``python -m benchmarks.panel``.

Every case of ``tests/compare/panel/`` goes through the one road to a decision, then every pair of
``pairs.toml``; a table of each, with sums below it. ``--cases o15 o16`` runs those whose ids begin so, ``--words``
prints the verdict's sentences too. It measures, and fails over nothing that was said.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Iterable, Sequence
from pathlib import Path

from tests.compare.panel_cases import load_cases, load_pairs
from tests.compare.panel_entries import PANEL
from tests.compare.panel_run import NOT_PASSED_ON, Outcome, PairOutcome, disputed, run_case, run_pair

SHORT = {"open_with": "open", "aim_at": "aim", "walk_above": "walk"}
MARKS = ("right", "tolerable", "missed", "foolish")


def case_row(o: Outcome) -> list[str]:
    """One case as cells: ids, verdicts, what was named, what comes next, jobs, sums."""
    e = o.case.expected
    assert e is not None
    return [
        o.case.id,
        o.said,
        e.verdict,
        ", ".join(e.tolerable) or "-",
        o.mark if o.mark != "foolish" else "FOOLISH",
        _told((name, {"verdict": "+", "elsewhere": "~", "missing": "-"}[where]) for name, where in o.reasons),
        _told((name, "+" if told else "-") for name, told in o.next_steps),
        _told([*((name, "+" if told else "-") for name, told in o.jobs), *((job, "!") for job in o.wishes)]),
        price_cell(o),
    ]


def price_cell(o: Outcome) -> str:
    """The sums told, with the technician's range where they lie outside it or are missing."""
    e = o.case.expected
    assert e is not None
    if e.walk_above is None:
        early = [f"{SHORT[name]} {o.sums[name]:.0f}" for name, place in o.prices if place == "told too early"]
        return f"too early: {', '.join(early)}" if early else "rightly none"
    ranges = {"open_with": e.open_with, "aim_at": e.aim_at, "walk_above": e.walk_above}
    cells = []
    for name, place in o.prices:
        low, high = ranges[name] or (0.0, 0.0)
        told = "none" if o.sums[name] is None else f"{o.sums[name]:.0f} {place}"
        cells.append(f"{SHORT[name]} {told} ({low:.0f}-{high:.0f})")
    return "; ".join(cells)


def pair_row(p: PairOutcome) -> list[str]:
    return [
        p.pair.id,
        "above" if p.pair.strict else "not below",
        "holds" if not p.broken else "BROKEN",
        f"{p.better.said} / {p.worse.said}",
        f"{p.share_better:.0%} / {p.share_worse:.0%}",
        "; ".join(p.broken) or "-",
    ]


def sums_of(outcomes: Sequence[Outcome]) -> list[str]:
    """The lines under the table of cases."""
    marks = Counter(o.mark for o in outcomes)
    reasons = Counter(where for o in outcomes for _, where in o.reasons)
    places = {name: Counter(dict(o.prices)[name] for o in outcomes) for name in SHORT}
    steps = [told for o in outcomes for _, told in o.next_steps]
    jobs = [told for o in outcomes for _, told in o.jobs]
    wishes = Counter(job for o in outcomes for job in o.wishes)
    unread = sorted({kind for o in outcomes for kind in o.unread})
    return [
        f"{len(outcomes)} cases: " + ", ".join(f"{marks[mark]} {mark}" for mark in MARKS),
        f"reasons: {reasons['verdict']} of {reasons.total()} named in the verdict, {reasons['elsewhere']} only "
        f"elsewhere on the page, {reasons['missing']} missing",
        f"next steps: {sum(steps)} of {len(steps)}; needed jobs: {sum(jobs)} of {len(jobs)}, besides as needed "
        + (", ".join(f"{job} ({count})" for job, count in wishes.most_common()) or "none"),
        *(
            f"{SHORT[name]}: " + ", ".join(f"{count} {place}" for place, count in found.most_common())
            for name, found in places.items()
        ),
        f"statements in verdicts that name no reason and no step: {', '.join(unread) or 'none'}",
    ]


def as_text(rows: Sequence[Sequence[str]], header: Sequence[str]) -> str:
    """Columns as wide as their widest cell, two spaces between."""
    widths = [max(len(row[i]) for row in (header, *rows)) for i in range(len(header))]
    lines = ("  ".join(cell.ljust(w) for cell, w in zip(row, widths, strict=True)) for row in (header, *rows))
    return "\n".join(line.rstrip() for line in lines)


def _told(entries: Iterable[tuple[str, str]]) -> str:
    return " ".join(f"{sign}{name}" for name, sign in entries) or "."


def _chosen(ids: Iterable[str], wanted: Sequence[str]) -> list[str]:
    return [name for name in ids if not wanted or any(name.startswith(start) for start in wanted)]


def _other_order(back: Outcome, o: Outcome, points: Sequence[str]) -> str:
    """What is said where the last word at a point is another's; the same, if who found it counts and not when."""
    same = "the same" if (back.said, back.sums, back.named) == (o.said, o.sums, o.named) else "NOT the same"
    return f"{o.case.id}, {', '.join(points)} entered in the other order: {back.said} ({back.mark}), {same}"


def print_cases(path: Path, asked: argparse.Namespace) -> None:
    cases = load_cases(path)
    outcomes = [run_case(cases[name], seed=asked.seed) for name in _chosen(cases, asked.cases)]
    header = ["case", "said", "technician", "tolerable", "", "reasons", "next", "needed", "price"]
    print(
        "+ told (a reason: in the verdict), ~ only elsewhere on the page, - missing, ! told as needed and only a wish\n"
    )
    print(as_text([case_row(o) for o in outcomes], header))
    print("\n" + "\n".join(sums_of(outcomes)))
    for o in outcomes:
        if points := disputed(o.case):
            print(_other_order(run_case(o.case, seed=asked.seed, backwards=True), o, points))
    for o in outcomes if asked.words else ():
        print(f"\n{o.case.id}: " + " ".join(o.sentences))


def print_pairs(pairs: Path, cases: Path, asked: argparse.Namespace) -> None:
    known = load_pairs(pairs, cases)
    outcomes = [run_pair(known[name], seed=asked.seed) for name in _chosen(known, asked.pairs)]
    header = ["pair", "order", "", "verdicts better / worse", "first", "what does not hold"]
    print("\n" + as_text([pair_row(p) for p in outcomes], header))
    print(f"\n{sum(not p.broken for p in outcomes)} of {len(outcomes)} pairs hold")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", nargs="*", default=[], help="ids, or how they begin; all if not given")
    parser.add_argument("--pairs", nargs="*", default=[], help="likewise")
    parser.add_argument("--without-pairs", action="store_true")
    files = [PANEL / f"{name}.toml" for name in ("open", "second", "third")]
    parser.add_argument(
        "--file", type=Path, nargs="*", default=files, help="files of cases; all three if not given"
    )
    parser.add_argument(
        "--pair-file", type=Path, default=PANEL / "pairs.toml", help="pairs made of its cases"
    )
    parser.add_argument("--words", action="store_true", help="print the sentences of the verdicts")
    parser.add_argument("--seed", type=int, default=0)
    asked = parser.parse_args()
    print(f"Not passed on, for want of a place in the records: {', '.join(NOT_PASSED_ON)}.")
    for path in asked.file:
        print_cases(path, asked)
    if not asked.without_pairs:
        print_pairs(asked.pair_file, files[0], asked)


if __name__ == "__main__":
    main()
