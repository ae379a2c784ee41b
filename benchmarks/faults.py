"""Small faults of the kinds that people make, drawn by chance for a whole tree: what `benchmarks.mutants` tries.

Nothing is put into type hints, docstrings, decorators, `__repr__` and the casebook's migrations.
"""

from __future__ import annotations

import ast
import copy
import random
from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

FLIPPED: dict[type, tuple[type, ...]] = {
    ast.Lt: (ast.GtE, ast.LtE),
    ast.LtE: (ast.Gt, ast.Lt),
    ast.Gt: (ast.LtE, ast.GtE),
    ast.GtE: (ast.Lt, ast.Gt),
    ast.Eq: (ast.NotEq,),
    ast.NotEq: (ast.Eq,),
    ast.Is: (ast.IsNot,),
    ast.IsNot: (ast.Is,),
    ast.In: (ast.NotIn,),
    ast.NotIn: (ast.In,),
}
SWAPPED: dict[type, type] = {ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult}
TEXT = (ast.JoinedStr, ast.List, ast.Tuple, ast.ListComp)
FUNCTIONS = (ast.FunctionDef, ast.AsyncFunctionDef)


@dataclass(frozen=True)
class Mutant:
    """One fault: what of which file is replaced by what."""

    file: str
    line: int
    kind: str
    start: int
    end: int
    before: str
    after: str


def _text(node: ast.AST) -> bool:
    return isinstance(node, TEXT) or (isinstance(node, ast.Constant) and isinstance(node.value, str))


def _constant(node: ast.Constant) -> ast.AST | None:
    if isinstance(node.value, bool):
        return ast.Constant(not node.value)
    if isinstance(node.value, int | float):
        return ast.Constant(
            node.value + 1 if isinstance(node.value, int) or not node.value else node.value * 1.5
        )
    return None


def _off_by_one(node: ast.expr) -> ast.expr:
    return (
        ast.Constant(node.value + 1)
        if isinstance(node, ast.Constant)
        else ast.BinOp(node, ast.Add(), ast.Constant(1))
    )


def _index(node: ast.Subscript) -> ast.AST | None:
    changed = copy.deepcopy(node)
    if isinstance(changed.slice, ast.Slice):
        side = "lower" if changed.slice.lower is not None else "upper"
        bound = getattr(changed.slice, side)
        if bound is None:
            return None
        setattr(changed.slice, side, _off_by_one(bound))
        return changed
    number = changed.slice.operand if isinstance(changed.slice, ast.UnaryOp) else changed.slice
    if not (isinstance(number, ast.Constant) and type(number.value) is int):
        return None
    changed.slice = _off_by_one(changed.slice)
    return changed


def faults(node: ast.AST, rng: random.Random) -> Iterator[tuple[str, ast.AST, ast.AST]]:
    """Kind, place and replacement of the faults that one node of the tree can have."""
    if isinstance(node, ast.Compare) and len(node.ops) == 1:
        yield (
            "comparison",
            node,
            ast.Compare(node.left, [rng.choice(FLIPPED[type(node.ops[0])])()], node.comparators),
        )
    elif (
        isinstance(node, ast.BinOp)
        and type(node.op) in SWAPPED
        and not (_text(node.left) or _text(node.right))
    ):
        yield "arithmetic", node, ast.BinOp(node.left, SWAPPED[type(node.op)](), node.right)
    elif isinstance(node, ast.BoolOp):
        yield "and/or", node, ast.BoolOp(ast.Or() if isinstance(node.op, ast.And) else ast.And(), node.values)
    elif isinstance(node, ast.Constant) and (new := _constant(node)) is not None:
        yield "constant", node, new
    elif isinstance(node, ast.Subscript) and (new := _index(node)) is not None:
        yield "index", node, new
    if isinstance(node, ast.Return) and node.value is not None and not isinstance(node.value, ast.Constant):
        yield "return", node.value, ast.Constant(None)
    tests = node.ifs if isinstance(node, ast.comprehension) else [getattr(node, "test", None)]
    for test in tests:
        if isinstance(test, ast.expr) and not (isinstance(test, ast.Name) and test.id == "TYPE_CHECKING"):
            yield "condition", test, ast.UnaryOp(ast.Not(), test)


def _left_out(node: ast.AST) -> bool:
    name = getattr(node, "name", "") if isinstance(node, FUNCTIONS) else ""
    target = node.targets[0] if isinstance(node, ast.Assign) else None
    # Places within an f-string are not told before Python 3.12.
    return (
        isinstance(node, ast.JoinedStr)
        or name == "__repr__"
        or (isinstance(target, ast.Name) and target.id == "__all__")
    )


def walk(node: ast.AST) -> Iterator[ast.AST]:
    """All nodes but those of type hints, decorators and what is left out."""
    yield node
    for name, value in ast.iter_fields(node):
        if name in ("annotation", "returns", "decorator_list"):
            continue
        for child in value if isinstance(value, list) else [value]:
            if isinstance(child, ast.AST) and not _left_out(child):
                yield from walk(child)


def mutants_of(file: str, source: str, rng: random.Random) -> list[Mutant]:
    """All faults that one file can have."""
    starts = [0]
    for line in source.encode().splitlines(keepends=True):
        starts.append(starts[-1] + len(line))
    found = []
    for node in walk(ast.parse(source)):
        for kind, place, new in faults(node, rng):
            assert isinstance(place, ast.expr)
            assert place.end_lineno is not None
            assert place.end_col_offset is not None
            start, end = (
                starts[place.lineno - 1] + place.col_offset,
                starts[place.end_lineno - 1] + place.end_col_offset,
            )
            after = f"({ast.unparse(ast.fix_missing_locations(new))})"
            found.append(
                Mutant(file, place.lineno, kind, start, end, source.encode()[start:end].decode(), after)
            )
    return found


def choose(tree: Path, seed: int, count: int) -> list[Mutant]:
    """The mutants of a run, in the order in which they are tried."""
    rng = random.Random(seed)
    lines: Counter[str] = Counter()
    found: dict[str, dict[str, list[Mutant]]] = defaultdict(lambda: defaultdict(list))
    for path in sorted((tree / "pianolab").rglob("*.py")):
        file, source = path.relative_to(tree).as_posix(), path.read_text(encoding="utf-8")
        if "/migrations/" in file:
            continue
        package = file.split("/")[1]
        lines[package if not package.endswith(".py") else "root"] += source.count("\n")
        for mutant in mutants_of(file, source, rng):
            found[package if not package.endswith(".py") else "root"][mutant.kind].append(mutant)
    shares = {package: count * n / lines.total() for package, n in lines.items()}
    number = {package: int(share) for package, share in shares.items()}
    for package in sorted(shares, key=lambda p: number[p] - shares[p])[: count - sum(number.values())]:
        number[package] += 1
    chosen = []
    for package in sorted(number):
        for _ in range(number[package]):
            kind = found[package][rng.choice(sorted(k for k, left in found[package].items() if left))]
            chosen.append(kind.pop(rng.randrange(len(kind))))
    rng.shuffle(chosen)
    return chosen
