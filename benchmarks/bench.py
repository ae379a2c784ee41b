"""The whole bench in one table: ``python -m benchmarks.bench [--family F …] [--case C …] [--quick] [--out DIR]``.

Takes of many families are made, listened to and scored on all cores. The result of each is kept in ``DIR/results``
under a name made of its recipe and of all code behind it, so a run that was stopped goes on, and after a change only
what it can have changed is measured again. ``DIR`` gets ``takes.csv``, ``keys.csv`` and ``table.md``.

Times of listening are taken with ``--jobs`` takes at once: compare them within one run only (`benchmarks.speed`
measures it alone).
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import sys
import time
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from benchmarks import bench_quick, bench_store
from benchmarks.bench_table import as_markdown, as_text, count_words, per_take, tables
from benchmarks.families import FAMILIES, SEEDS, Recipe, build
from benchmarks.takes import Take
from pianolab.errors import BadInput

MISSING = (ImportError, OSError, BadInput)
"""What a source raises whose tool or sound is not on this machine."""


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What became of one recipe: ``state`` is ``done``, ``missing`` (no tool) or ``broken`` (a defect of the bench)."""

    name: str
    recipe: Recipe
    state: str
    says: str


def one_take(recipe: Recipe, folder: Path, name: str) -> Outcome:
    """Makes, measures and keeps one take under a name; runs in a process of its own."""

    begun = time.perf_counter()
    try:
        take = build(recipe)
    except MISSING as error:
        return Outcome(name=name, recipe=recipe, state="missing", says=f"{type(error).__name__}: {error}")
    except Exception as error:
        return Outcome(
            name=name, recipe=recipe, state="broken", says=f"making it: {type(error).__name__}: {error}"
        )
    try:
        from benchmarks.independent_rules import excludes
        from benchmarks.scoring import measure

        heard, without = second_opinion(recipe, take, folder)
        about, keys = measure(take, heard=heard, excludes=excludes)
    except Exception as error:
        return Outcome(
            name=name, recipe=recipe, state="broken", says=f"scoring it: {type(error).__name__}: {error}"
        )
    bench_store.save(folder / f"{name}.json", about | {"without_opinion": without}, keys)
    says = f"{in_short(about, keys)}; {take.seconds:.0f} s of sound in {time.perf_counter() - begun:.0f} s"
    return Outcome(name=name, recipe=recipe, state="done", says=says)


def second_opinion(recipe: Recipe, take: Take, folder: Path) -> tuple[pd.DataFrame | None, str]:
    """The independent analysis of a take, from the disk where the same sound was analysed before; why there is none."""
    from benchmarks.independent import analyse

    path = folder / f"{bench_store.name_of(recipe, measured=False)}.heard.json"
    try:
        if not path.exists():
            bench_store.save_frame(path, analyse(take))
    except Exception as error:
        # Its defects must not hide what the listening does; the run fails for them at its end.
        return None, f"{type(error).__name__}: {error}"
    # Always as it comes from the disk, so that a first run and the next can't differ.
    return bench_store.load_frame(path), ""


def in_short(about: dict[str, Any], keys: list[dict[str, Any]]) -> str:
    """One take in a few words."""
    if about["refused"] or about["crashed"]:
        return f"refused: {about['refused']}" if about["refused"] else f"CRASHED: {about['crashed']}"
    frame = bench_store.with_columns(keys, ("lies", "false"))
    sounding = frame["status_true"] == "sounds"
    right = int((frame["outcome"] == "right").sum())
    wrong, lies, false = (
        int(frame["wrong_unflagged"].sum()),
        count_words(frame["lies"]),
        count_words(frame["false"]),
    )
    return (
        f"{right} of {int(sounding.sum())} right, {wrong} wrong unflagged, {lies} lies, {false} false faults"
    )


def recipes_of(families: Iterable[str], *, seeds: str) -> tuple[list[Recipe], list[str]]:
    """Recipes of families, and a line for each family that this machine can't make."""
    recipes, left_out = [], []
    for family in families:
        try:
            recipes += FAMILIES[family](seeds=seeds)
        except MISSING as error:
            left_out.append(f"{family} is left out: {type(error).__name__}: {error}")
    return recipes, left_out


def run(recipes: Sequence[Recipe], folder: Path, *, jobs: int, fresh: bool) -> Iterator[Outcome]:
    """Every recipe's outcome as it comes; what was measured before by the same code comes first."""
    todo = []
    for recipe in recipes:
        name = bench_store.name_of(recipe)
        if not fresh and (folder / f"{name}.json").exists():
            yield Outcome(name=name, recipe=recipe, state="done", says="kept from before")
        else:
            # Named before any process starts: a file that is edited meanwhile can't lend its name to older code.
            todo.append((recipe, folder, name))
    if not todo:
        return
    # Linear algebra of several processes on the same cores would only wait for one another.
    for variable in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(variable, "1")
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(min(jobs, len(todo)), mp_context=context) as pool:
        waiting = [pool.submit(one_take, *job) for job in todo]
        try:
            for future in as_completed(waiting):
                yield future.result()
        except BaseException:
            pool.shutdown(wait=False, cancel_futures=True)
            raise


def progress(outcomes: Iterable[Outcome], count: int) -> list[Outcome]:
    """All outcomes; a line for each, and how long the rest will take."""
    begun, out, kept = time.perf_counter(), [], 0
    for outcome in outcomes:
        out.append(outcome)
        kept += outcome.says == "kept from before"
        measured = len(out) - kept
        if not measured:
            continue
        rest = (time.perf_counter() - begun) / measured * (count - len(out))
        r = outcome.recipe
        word = "" if outcome.state == "done" else f"{outcome.state}: "
        print(
            f"[{len(out)}/{count}, {rest:.0f} s left] {r.family}, {r.case}, {r.name}: {word}{outcome.says}",
            flush=True,
        )
    if kept:
        print(f"{kept} of {count} takes kept from before")
    return out


def left_out(outcomes: Iterable[Outcome]) -> list[str]:
    """A line per family of which something could not be made here."""
    first: dict[str, list[Outcome]] = {}
    for outcome in outcomes:
        if outcome.state == "missing":
            first.setdefault(outcome.recipe.family, []).append(outcome)
    return [f"{len(some)} takes of {family} are left out: {some[0].says}" for family, some in first.items()]


def report(outcomes: Sequence[Outcome], out: Path) -> tuple[Any, Any]:
    """Writes the three files and prints the table; gives takes and keys."""
    done = {o.name: o for o in outcomes if o.state == "done"}
    order = sorted(done.values(), key=lambda o: [*FAMILIES, o.recipe.family].index(o.recipe.family))
    told = ((o.name, o.recipe, *bench_store.load(out / "results" / f"{o.name}.json")) for o in order)
    takes, keys = bench_store.frames(told)
    if len(takes):
        shown = tables(takes, keys)
        print("\n" + as_text(shown), flush=True)
        bench_store.write(out / "table.md", as_markdown(shown))
        bench_store.write(out / "takes.csv", per_take(takes, keys).to_csv(index=False))
        bench_store.write(out / "keys.csv", keys.to_csv(index=False))
    return takes, keys


def arguments_of(given: list[str] | None) -> argparse.Namespace:
    """The command line, read."""
    parser = argparse.ArgumentParser(
        prog="python -m benchmarks.bench", description=(__doc__ or "").split("\n")[0]
    )
    parser.add_argument(
        "--family", nargs="+", choices=list(FAMILIES), metavar="FAMILY", help=", ".join(FAMILIES)
    )
    parser.add_argument("--case", nargs="+", help="only these cases (as the table names them)")
    parser.add_argument(
        "--seeds", choices=list(SEEDS), default="open", help="drawn pianos that may be looked at, or not"
    )
    parser.add_argument(
        "--quick", action="store_true", help="a thinned set held against benchmarks/quick_floor.toml"
    )
    parser.add_argument(
        "--record", action="store_true", help="with --quick: write what was measured into that file"
    )
    parser.add_argument(
        "--out", type=Path, default=Path("bench-out"), help="folder of results (default: bench-out)"
    )
    parser.add_argument("--jobs", type=int, default=cores(), help="takes at once (default: all cores)")
    parser.add_argument("--fresh", action="store_true", help="measure again what is kept from before")
    read = parser.parse_args(given)
    if read.jobs < 1:
        parser.error(f"--jobs {read.jobs}: 1 or more")
    if read.record and (not read.quick or read.family or read.case):
        parser.error("--record needs --quick, and all of its families and cases")
    return read


def cores() -> int:
    """Processor cores that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def chosen(read: argparse.Namespace) -> tuple[list[Recipe], list[str]]:
    """The recipes that the command line asks for, and what this machine can't make."""
    if read.quick:
        recipes, missing = bench_quick.recipes(), []
        recipes = [r for r in recipes if not read.family or r.family in read.family]
    else:
        recipes, missing = recipes_of(read.family or FAMILIES, seeds=read.seeds)
    return [r for r in recipes if not read.case or r.case in read.case], missing


def defects(outcomes: Iterable[Outcome], takes: pd.DataFrame) -> list[str]:
    """A line for each take that could not be made or scored, at which the listening crashed, or without second opinion."""
    lines = [
        f"broken: {o.recipe.family}, {o.recipe.case}, {o.recipe.name}: {o.says}"
        for o in outcomes
        if o.state == "broken"
    ]
    for t in takes.to_dict("records"):
        if t["crashed"]:
            lines.append(f"crashed: {t['family']}, {t['case']}, {t['name']}: {t['crashed']}")
        if t["without_opinion"]:
            lines.append(
                f"no independent analysis: {t['family']}, {t['case']}, {t['name']}: {t['without_opinion']}"
            )
    return lines


def main(arguments: list[str] | None = None) -> int:
    """Command line."""
    read = arguments_of(arguments)
    recipes, missing = chosen(read)
    for line in missing:
        print(line, flush=True)
    if not recipes:
        print("bench: no take of that family and case", file=sys.stderr)
        return 2
    try:
        outcomes = progress(
            run(recipes, read.out / "results", jobs=read.jobs, fresh=read.fresh), len(recipes)
        )
    except KeyboardInterrupt:
        print("bench: stopped; the same command goes on from here", file=sys.stderr)
        return 130
    takes, keys = report(outcomes, read.out)
    missing += left_out(outcomes)
    for line in missing:
        print(line)
    broken = defects(outcomes, takes)
    for line in broken:
        print(line, file=sys.stderr)
    in_ci = os.environ.get("CI") == "true"
    failed = bool(broken) or not len(takes) or bool(missing and (read.quick or in_ci))
    if read.quick and len(takes) and not read.case:
        if read.record and failed:
            print("not recorded: the set is not whole", file=sys.stderr)
        worse = bench_quick.against_floor(takes, keys, record=read.record and not failed)
        failed |= bool(worse)
        print("\n".join(worse) or "quick bench: no family is worse than its floor")
    return int(failed)


if __name__ == "__main__":
    sys.exit(main())
