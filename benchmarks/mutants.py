"""Do the tests notice a fault? Small faults are put into the library, one at a time, and the tests that reach them run.

Run: ``python -m benchmarks.mutants DIR`` (``--seed 20271 --count 300``): the last commit is copied to DIR, the mutants are chosen
(a package gets its share of them by its lines; within it each kind of fault is as likely as another, then each place),
one run of the tests in a copy takes down which test reaches which mutant, and how long it takes; then mutant by mutant
the doctests of its module, the tests that reach it, shortest first, then the rest of their files, up to `MOST_S` of either, until one fails. Slow
tests, those in a browser and those that fail without a fault are left out. What is done is kept in DIR and not done again; ``--only 17 30``
runs these again, with ``--tests PATH`` on just those tests of DIR's copy.

The kept tools mutate everything, or run a whole suite or a line coverage of it; for a suite of many minutes that is days.
"""

from __future__ import annotations

import argparse
import ast
import json
import shutil
import subprocess
import sys
from collections import Counter, defaultdict
from dataclasses import asdict
from pathlib import Path

from benchmarks.faults import FUNCTIONS, Mutant, choose
from benchmarks.mutant_server import Server, pytest

ROOT = Path(__file__).resolve().parent.parent
MOST_S = 8.0
"""Most of the tests' own processor time for one mutant, in each of two lists."""

BLOCKS = ("body", "orelse", "finalbody")

HIT = """import os
SEEN = set()
def hit(number):
    key = number, os.environ.get("PYTEST_CURRENT_TEST", "")
    if key not in SEEN:
        SEEN.add(key)
        with open(f"{os.environ['MUTANTS_HITS']}/{os.getpid()}", "a") as file:
            file.write(f"{number}\\t{key[1]}\\n")
"""


def _call(number: int) -> ast.stmt:
    return ast.parse(f"_hit({number})").body[0]


def _named(node: ast.AST, names: set[str]) -> set[str]:
    used = {
        n.id if isinstance(n, ast.Name) else n.attr
        for n in ast.walk(node)
        if isinstance(n, ast.Name | ast.Attribute)
    }
    return used & names


def _place(tree: ast.Module, mutant: Mutant, starts: list[int]) -> tuple[list[ast.stmt], ast.stmt] | str:
    """The statement of a function in which the mutant stands, or the name of what it stands in at the top of its module."""
    inside, top, function = None, "", False

    def within(node: ast.AST) -> bool:
        a = starts[node.lineno - 1] + node.col_offset  # type: ignore[attr-defined]
        return a <= mutant.start and mutant.end <= starts[node.end_lineno - 1] + node.end_col_offset  # type: ignore[attr-defined]

    block: list[ast.stmt] | None = tree.body
    while block is not None:
        stmt = next((s for s in block if within(s)), None)
        if stmt is None:
            break
        if function:
            inside = block, stmt
        elif not top:
            target = stmt.targets[0] if isinstance(stmt, ast.Assign) else getattr(stmt, "target", None)
            top = getattr(stmt, "name", "") or getattr(target, "id", "")
        function = function or isinstance(stmt, FUNCTIONS)
        parts = [stmt, *getattr(stmt, "handlers", []), *getattr(stmt, "cases", [])]
        blocks = [b for part in parts for name in BLOCKS if isinstance(b := getattr(part, name, None), list)]
        block = next((b for b in blocks if any(within(s) for s in b)), None)
    return inside or top


def instrument(tree: Path, chosen: list[Mutant]) -> None:
    """Every mutant's statement says that it was reached; what stands at the top of a module, the functions that name it."""
    names: dict[str, list[int]] = defaultdict(list)
    parsed = {p: ast.parse(p.read_text(encoding="utf-8")) for p in sorted((tree / "pianolab").rglob("*.py"))}
    todo = []
    for number, mutant in enumerate(chosen):
        path = tree / mutant.file
        starts = [0]
        for line in path.read_bytes().splitlines(keepends=True):
            starts.append(starts[-1] + len(line))
        place = _place(parsed[path], mutant, starts)
        if isinstance(place, str):
            names[place].append(number)
        else:
            todo.append((number, *place))
    for module in parsed.values():
        for node in ast.walk(module):
            if isinstance(node, FUNCTIONS):
                todo += [
                    (n, node.body, node.body[0])
                    for name in sorted(_named(node, set(names)))
                    for n in names[name]
                ]
    for number, block, stmt in todo:
        doc = isinstance(stmt, ast.Expr) and isinstance(stmt.value, ast.Constant)
        block.insert(block.index(stmt) + doc, _call(number))
    for path, module in parsed.items():
        first = sum(
            isinstance(s, ast.Expr) or getattr(s, "module", "") == "__future__" for s in module.body[:2]
        )
        module.body[first:first] = ast.parse("from pianolab._hits import hit as _hit").body
        path.write_text(ast.unparse(ast.fix_missing_locations(module)), encoding="utf-8")
    (tree / "pianolab" / "_hits.py").write_text(HIT, encoding="utf-8")


def reached(home: Path) -> tuple[dict[int, set[str]], dict[str, float]]:
    """For each mutant the tests that reach it; for each test that holds without a fault its seconds."""
    rows = [json.loads(line) for line in (home / "times.jsonl").read_text().splitlines()]
    times = {name: cpu for name, passed, _, cpu in rows if passed}
    by: dict[int, set[str]] = defaultdict(set)
    for file in (home / "hits").iterdir():
        for line in file.read_text().splitlines():
            number, test = line.split("\t")
            if (name := test.rsplit(" (", 1)[0]) in times:
                by[int(number)].add(name)
    return by, times


def cheapest(names: set[str], times: dict[str, float]) -> list[str]:
    """The shortest of these tests, together at most `MOST_S`."""
    chosen, total = [], 0.0
    for name in sorted(names, key=lambda n: (times[n], n)):
        total += times[name]
        if chosen and total > MOST_S:
            break
        chosen.append(name)
    return chosen


def tried(mutant: Mutant, lists: list[list[str]], server: Server) -> tuple[str, str]:
    """What became of one mutant under lists of tests, one list after another: killed, hung or survived, and by what."""
    path = server.tree / mutant.file
    sound = path.read_bytes()
    same_lines = b"\n" * sound[mutant.start : mutant.end].count(b"\n")
    faulty = sound[: mutant.start] + b"(" + same_lines + mutant.after[1:].encode() + sound[mutant.end :]
    try:
        path.write_bytes(faulty)
        for number, names in enumerate(lists):
            forget(path)
            code = server.tests(mutant.file, sound, faulty, names)
            if code != 0:
                return ("hung" if code is None else "killed"), f"{number + 1}: {server.failed()}"
    finally:
        path.write_bytes(sound)
        forget(path)
    return "survived", f"{sum(map(len, lists))} tests"


def forget(path: Path) -> None:
    """The compiled form of a file goes: it is told from another by the second in which it was written."""
    for compiled in (path.parent / "__pycache__").glob(f"{path.stem}.*"):
        compiled.unlink()


def prepare(home: Path, seed: int, count: int) -> list[Mutant]:
    """The copies, the mutants and the map of what reaches them, where they are not there yet."""
    tree, marked = home / "tree", home / "marked"
    if not (home / "mutants.json").exists():
        tree.mkdir(exist_ok=True)
        archive = subprocess.run(["git", "archive", "HEAD"], cwd=ROOT, capture_output=True, check=True).stdout
        subprocess.run(["tar", "-x", "-C", tree], input=archive, check=True)
        rows = [asdict(mutant) for mutant in choose(tree, seed, count)]
        (home / "mutants.json").write_text(json.dumps(rows, indent=1))
    chosen = [Mutant(**row) for row in json.loads((home / "mutants.json").read_text())]
    if not (home / "mapped").exists():
        shutil.rmtree(marked, ignore_errors=True)
        shutil.copytree(tree, marked)
        instrument(marked, chosen)
        (home / "hits").mkdir(exist_ok=True)
        if pytest(marked, ["-p", "benchmarks.mutant_server"], home) not in (0, 1):
            sys.exit(f"the tests of the marked copy did not run: {home / 'pytest.log'}")
        (home / "mapped").touch()
    return chosen


def main() -> None:
    """All mutants, or some of them again."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("home", type=Path)
    parser.add_argument("--seed", type=int, default=20271)
    parser.add_argument("--count", type=int, default=300)
    parser.add_argument("--only", type=int, nargs="+")
    parser.add_argument("--tests", nargs="+")
    args = parser.parse_args()
    home = args.home.resolve()
    home.mkdir(parents=True, exist_ok=True)
    chosen = prepare(home, args.seed, args.count)
    server = Server(home / "tree", home)
    results = home / "results.tsv"
    done = last_rows(results)
    for number in args.only or [n for n in range(len(chosen)) if n not in done]:
        by, times = reached(home)
        hit = by[number]
        files = {name.split("::")[0] for name in hit}
        rest = {name for name in times if name.split("::")[0] in files} - hit
        lists = (
            [args.tests]
            if args.tests
            else [[f"{chosen[number].file}::"], *(cheapest(names, times) for names in (hit, rest))]
        )
        what, how = tried(chosen[number], [names for names in lists if names], server)
        mutant = chosen[number]
        row = f"{number}\t{what}\t{mutant.file}:{mutant.line}\t{mutant.kind}\t{mutant.before!r} -> {mutant.after!r}\t{how}"
        print(row, flush=True)
        with results.open("a") as file:
            file.write(row + "\n")
    print(Counter(last_rows(results).values()))


def last_rows(results: Path) -> dict[int, str]:
    """What became of each mutant when it was tried last."""
    lines = results.read_text().splitlines() if results.exists() else []
    return {int(line.split("\t")[0]): line.split("\t")[1] for line in lines}


if __name__ == "__main__":
    main()
