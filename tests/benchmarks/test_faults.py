"""The faults that the mutation run puts in: of every kind, nowhere but in code, the same for the same seed."""

import importlib.util
import random
from pathlib import Path

from benchmarks import faults, mutants
from benchmarks.mutant_server import patch

SOURCE = '''"""Says 1 + 1 < 3."""
from typing import Literal

LEAST = 2.0


def told(x: Literal[1], y: "int" = 1) -> "list[int]":
    """Not 5."""
    if x > LEAST and y:
        return [x + y, f"{y + 1}"]
    return sorted([x, y])[1:]


def untold(values):
    return [v for v in values if v]
'''


def all_faults() -> list[faults.Mutant]:
    return faults.mutants_of("pianolab/a.py", SOURCE, random.Random(1))


def with_fault(mutant: faults.Mutant) -> str:
    data = SOURCE.encode()
    return (data[: mutant.start] + mutant.after.encode() + data[mutant.end :]).decode()


def test_every_kind_is_there_and_gives_code_that_differs_in_one_line() -> None:
    found = all_faults()
    assert {m.kind for m in found} == {
        "comparison",
        "arithmetic",
        "and/or",
        "constant",
        "index",
        "return",
        "condition",
    }
    for mutant in found:
        compile(with_fault(mutant), "a.py", "exec")
        lines = zip(SOURCE.splitlines(), with_fault(mutant).splitlines(), strict=True)
        assert [n for n, (a, b) in enumerate(lines, 1) if a != b] == [mutant.line]


def test_words_hints_and_what_stands_in_a_text_stay_as_they_are() -> None:
    assert not {m.line for m in all_faults()} & {1, 8}
    assert [m.before for m in all_faults() if m.line == 7] == ["1"]
    assert all('f"{y + 1}"' in with_fault(m) or m.kind == "return" for m in all_faults())


def test_the_same_seed_chooses_the_same_and_a_package_gets_its_share(tmp_path: Path) -> None:
    for name, times in (("small", 1), ("large", 4)):
        folder = tmp_path / "pianolab" / name
        folder.mkdir(parents=True)
        for n in range(times):
            (folder / f"m{n}.py").write_text(SOURCE)
    chosen = faults.choose(tmp_path, 3, 20)
    assert chosen == faults.choose(tmp_path, 3, 20) != faults.choose(tmp_path, 4, 20)
    assert sum("/large/" in m.file for m in chosen) == 16
    assert len(set(chosen)) == 20


def test_a_loaded_function_gets_the_faulty_code(tmp_path: Path) -> None:
    path = tmp_path / "loaded.py"
    path.write_text(SOURCE)
    spec = importlib.util.spec_from_file_location("loaded", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    assert module.untold([1, 0]) == [1]
    (fault,) = [m for m in all_faults() if m.kind == "condition" and m.before == "v"]
    assert patch(str(path), SOURCE, with_fault(fault))
    assert module.untold([1, 0]) == [0]
    (number,) = [m for m in all_faults() if m.before == "2.0"]
    assert not patch(str(path), SOURCE, with_fault(number)), "no function holds what stands at the top"


def test_the_cheapest_tests_come_first_and_one_is_always_taken() -> None:
    times = {"a": 5.0, "b": 1.0, "c": 7.0}
    assert mutants.cheapest({"a", "b", "c"}, times) == ["b", "a"]
    assert mutants.cheapest({"c"}, {"c": 900.0}) == ["c"]
