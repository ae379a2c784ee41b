"""A process that has collected all tests and lends a copy of itself to `benchmarks.mutants` for each fault.

In the copy the functions of the faulty file get their other code, and the tests that are asked for run until one fails;
so neither the library is loaded nor the tests are found anew. What no loaded function has (a number at the top of a
module) is tried in a fresh process. As a plugin of pytest the module writes how long each test took.
"""

from __future__ import annotations

import functools
import gc
import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from types import CodeType, FunctionType
from typing import Any


def pytest_runtest_logstart(nodeid: str, location: Any) -> None:  # noqa: ARG001
    """As a plugin of the tests: when one began."""
    CLOCK[nodeid] = time.perf_counter(), sum(os.times()[:4])


def pytest_runtest_logreport(report: Any) -> None:
    """As a plugin of the tests: which failed."""
    if report.outcome != "passed":
        FAILED.add(report.nodeid)


def pytest_runtest_logfinish(nodeid: str, location: Any) -> None:  # noqa: ARG001
    """As a plugin of the tests: a line for each."""
    wall, cpu = CLOCK.pop(nodeid)
    row = nodeid, nodeid not in FAILED, time.perf_counter() - wall, sum(os.times()[:4]) - cpu
    with (Path(os.environ["MUTANTS_HITS"]).parent / "times.jsonl").open("a") as file:
        file.write(json.dumps(row) + "\n")


CLOCK: dict[str, tuple[float, float]] = {}
FAILED: set[str] = set()


QUICK = "not (browser or slow or soundfont)"
LIMIT_S = 300.0
"""When a fault counts as one that hangs."""
UNPATCHED, BROKEN = 99, 98


def environment(tree: Path, home: Path) -> dict[str, str]:
    """In which the tests of a copy run: as in CI, one thread, nothing of this machine's own folders."""
    return {
        **os.environ,
        "CI": "true",
        "PYTHONPATH": str(tree),
        "XDG_CACHE_HOME": str(home / "cache"),
        "MUTANTS_HITS": str(home / "hits"),
        "OMP_NUM_THREADS": "1",
        "JUPYTER_PLATFORM_DIRS": "1",
    }


def pytest(tree: Path, arguments: list[str], home: Path) -> int | None:
    """The exit code of some tests in a fresh process, None where they hung."""
    command = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "-m", QUICK, *arguments]
    with (home / "pytest.log").open("w") as log:
        own = environment(tree, home)
        process = subprocess.Popen(command, cwd=tree, env=own, stdout=log, stderr=log, start_new_session=True)
        try:
            return process.wait(LIMIT_S if "-x" in arguments else None)
        except subprocess.TimeoutExpired:
            os.killpg(process.pid, signal.SIGKILL)
            process.wait()
            return None


def codes(code: CodeType) -> Iterator[CodeType]:
    """All functions within a compiled file."""
    for part in code.co_consts:
        if isinstance(part, CodeType):
            yield part
            yield from codes(part)


def patch(path: str, sound: str, faulty: str) -> bool:
    """Every function that differs gets its other code, caches are emptied; False where no loaded function does."""
    was, now = (
        {(c.co_qualname, c.co_firstlineno): c for c in codes(compile(text, path, "exec"))}
        for text in (sound, faulty)
    )
    changed = {place: code for place, code in now.items() if was.get(place) != code}
    found = False
    for thing in gc.get_objects():
        if isinstance(thing, FunctionType) and thing.__code__.co_filename == path:
            new = changed.get((thing.__code__.co_qualname, thing.__code__.co_firstlineno))
            if new is not None:
                thing.__code__, found = new, True
        elif isinstance(thing, functools._lru_cache_wrapper):
            made_in = getattr(getattr(thing, "__wrapped__", None), "__code__", None)
            if made_in is not None and made_in.co_filename.startswith(os.getcwd()):
                thing.cache_clear()
    return found


class Loop:
    """Stands in for pytest's own loop over the tests: asked line by line, a copy of the process runs some of them."""

    def __init__(self, asked: Any, told: Any) -> None:
        self.asked, self.told, self.failed = asked, told, list[str]()

    def pytest_runtest_logreport(self, report: Any) -> None:
        """What failed, and how."""
        if report.failed:
            last = str(report.longrepr).strip().splitlines()[-1:]
            self.failed.append(f"{report.nodeid} {''.join(last)}"[:200])

    def pytest_runtestloop(self, session: Any) -> bool:
        """A fault and the names of tests come in, the exit code and what failed go out."""
        gc.freeze()
        print("ready", file=self.told, flush=True)
        for line in self.asked:
            file, sound, faulty, names, log = json.loads(line)
            Path(log).write_text("")
            if not (child := os.fork()):
                code = BROKEN
                try:
                    code = self.in_copy(session.items, file, sound, faulty, names, Path(log))
                finally:
                    os._exit(code)
            print(json.dumps(waited(child)), file=self.told, flush=True)
        return True

    def in_copy(
        self, items: list[Any], file: str, sound: str, faulty: str, names: list[str], log: Path
    ) -> int:
        """In the copy of the process: 1 where a test failed."""
        os.setsid()
        gc.unfreeze()
        if file and not patch(os.path.abspath(file), sound, faulty):
            return UNPATCHED
        known = {item.nodeid: item for item in items}
        chosen = [i for n in names for i in ([known[n]] if n in known else _within(items, n))]
        for item, following in zip(chosen, [*chosen[1:], None], strict=True):
            item.config.hook.pytest_runtest_protocol(item=item, nextitem=following)
            if self.failed:
                log.write_text(self.failed[0])
                return 1
        return 0


def _within(items: list[Any], name: str) -> list[Any]:
    return [item for item in items if item.nodeid.startswith(name)]


def waited(child: int) -> int | None:
    """The exit code of a process, None where it hung and was ended."""
    end = time.monotonic() + LIMIT_S
    while time.monotonic() < end:
        ended, status = os.waitpid(child, os.WNOHANG)
        if ended:
            return os.waitstatus_to_exitcode(status)
        time.sleep(0.02)
    os.killpg(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return None


class Server:
    """The other end of `Loop`."""

    def __init__(self, tree: Path, home: Path) -> None:
        self.tree, self.home = tree, home
        command = [sys.executable, "-m", "benchmarks.mutant_server", str(home)]
        own, pipe = environment(tree, home), subprocess.PIPE
        self._process = subprocess.Popen(command, cwd=tree, env=own, stdin=pipe, stdout=pipe, text=True)
        assert self._process.stdout is not None
        assert self._process.stdout.readline() == "ready\n", "the tests can't be collected"

    def tests(self, file: str, sound: bytes, faulty: bytes, names: list[str]) -> int | None:
        """The exit code of some tests (names, or how they begin) with a fault in a file."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        row = file, sound.decode(), faulty.decode(), names, str(self.home / "failed.txt")
        print(json.dumps(row), file=self._process.stdin, flush=True)
        code: int | None = json.loads(self._process.stdout.readline())
        assert code != BROKEN, "this program is at fault"
        if code != UNPATCHED:
            return code
        (self.home / "chosen.txt").write_text("\n".join(name.removesuffix("::") for name in names))
        code = pytest(self.tree, ["-x", f"@{self.home / 'chosen.txt'}"], self.home)
        lines = (self.home / "pytest.log").read_text(errors="replace").splitlines()
        told = [line for line in lines if line.startswith(("FAILED ", "ERROR ", "E  "))]
        (self.home / "failed.txt").write_text("".join(told[-1:])[:200])
        assert code != NOT_FOUND, told
        return 0 if code == NO_TESTS else code

    def failed(self) -> str:
        """What failed."""
        return (self.home / "failed.txt").read_text()


NOT_FOUND, NO_TESTS = 4, 5


def main() -> None:
    """Collects all tests in this folder and waits for faults."""
    import pytest

    asked, told = os.fdopen(os.dup(0)), os.fdopen(os.dup(1), "w")
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
    own = ["-q", "-p", "no:cacheprovider", "-m", QUICK, f"--basetemp={sys.argv[1]}/tmp", "tests", "pianolab"]
    pytest.main(own, plugins=[Loop(asked, told)])


if __name__ == "__main__":
    main()
