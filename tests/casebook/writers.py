"""Writers in processes of their own, forked from one that has loaded everything: quick to start and to kill.

A writer enters blocks of records and, after each block is confirmed, writes its number into a file; what is
in the file outlives the process.
"""

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

FORKER = """
import json, os, sys
import alembic, pianolab.casebook
try:
    import psycopg
except ImportError:
    pass
from pianolab.casebook import open_casebook
from pianolab.checklist import read_checklist
from pianolab.model import Finding

COUNTED = read_checklist('''
[[point]]
id = "blocks"
area = "Blocks"
title = "Blocks"
why = "w"
how = "h"
record = "count"
''', file="blocks.toml")

def write(place, name, blocks, parts, size, confirmed):
    out = os.open(confirmed, os.O_WRONLY | os.O_APPEND | os.O_CREAT)
    with open_casebook(place) as book:
        visit = book.visits()[0].id
        for number in range(blocks):
            with book.editing(by=name, checklist=COUNTED) as edit:
                for part in range(parts):
                    edit.add(Finding(id=f"{name}-{number}-{part}", visit_id=visit, point="blocks", count=number,
                                     note="x" * size))
            os.write(out, b"%d\\n" % number)

print("ready", flush=True)
for line in sys.stdin:
    order = json.loads(line)
    if "wait" in order:
        print(os.waitstatus_to_exitcode(os.waitpid(order["wait"], 0)[1]), flush=True)
        continue
    pid = os.fork()
    if pid == 0:
        code = 1
        try:
            write(**order)
            code = 0
        finally:
            sys.stderr.flush()
            os._exit(code)
    print(pid, flush=True)
"""


class Forker:
    """A process that starts writers."""

    def __init__(self, folder: Path) -> None:
        self.folder, self._started = folder, 0
        self._process = subprocess.Popen(
            [sys.executable, "-c", FORKER], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )
        assert self._answer() == "ready"

    def _answer(self) -> str:
        assert self._process.stdout is not None
        return self._process.stdout.readline().strip()

    def _ask(self, **order: object) -> str:
        assert self._process.stdin is not None
        self._process.stdin.write(json.dumps(order) + "\n")
        self._process.stdin.flush()
        return self._answer()

    def start(self, place: object, name: str, *, blocks: int, parts: int = 1, size: int = 10) -> "Writer":
        self._started += 1
        confirmed = self.folder / f"{self._started}-{name}.confirmed"
        confirmed.touch()
        order = {"place": str(place), "name": name, "blocks": blocks, "parts": parts, "size": size}
        return Writer(self, int(self._ask(**order, confirmed=str(confirmed))), confirmed)

    def wait(self, pid: int) -> int:
        """Exit code of a writer; minus the signal where it was killed."""
        return int(self._ask(wait=pid))

    def close(self) -> None:
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.close()
        self._process.wait(timeout=60)
        self._process.stdout.close()


class Writer:
    """One writer; `kill` ends only this very process."""

    def __init__(self, forker: Forker, pid: int, confirmed: Path) -> None:
        self._forker, self._pid, self._confirmed = forker, pid, confirmed

    def confirmed(self) -> list[int]:
        return [int(number) for number in self._confirmed.read_text().split()]

    def wait_for(self, blocks: int, *, at_most_s: float = 60.0) -> None:
        """Until so many blocks are confirmed."""
        end = time.monotonic() + at_most_s
        while self._confirmed.read_bytes().count(b"\n") < blocks:
            assert time.monotonic() < end, f"{len(self.confirmed())} of {blocks} blocks in {at_most_s} s"
            time.sleep(0.002)

    def kill(self) -> int:
        os.kill(self._pid, signal.SIGKILL)
        return self.wait()

    def wait(self) -> int:
        return self._forker.wait(self._pid)
