"""Several processes at once, processes that die, and disks that fill up: nothing confirmed is lost."""

import os
import random
import subprocess
import sys
import time

import pytest

from pianolab.casebook import open_casebook

WRITER = """
import sys
from pianolab.casebook import open_casebook
from pianolab.model import Finding
folder, name, count, size = sys.argv[1], sys.argv[2], int(sys.argv[3]), int(sys.argv[4])
book = open_casebook(folder)
visit = book.visits()[0].id
print("ready", flush=True)
for number in range(count):
    with book.editing(by=name) as edit:
        for part in range(2):
            edit.add(Finding(id=f"{name}-{number}-{part}", visit_id=visit, point="p", count=number, note="x" * size))
    print(number, flush=True)
book.close()
"""


def start(folder, name, count, size=10):
    command = [sys.executable, "-c", WRITER, str(folder), name, str(count), str(size)]
    return subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


def write_together(folder, writers, count):
    processes = [start(folder, f"w{number}", count) for number in range(writers)]
    for process in processes:
        _, errors = process.communicate(timeout=600)
        assert process.returncode == 0, errors
    with open_casebook(folder) as book:
        ids = [f.id for f in book.findings() if f.id.startswith("w")]
        expected = {f"w{w}-{n}-{p}" for w in range(writers) for n in range(count) for p in range(2)}
        assert set(ids) == expected
        assert len(ids) == len(expected)
        log = [c.record_id for c in book.log() if c.by.startswith("w")]
        assert sorted(log) == sorted(expected)
        assert book.verify().ok


def test_two_processes_write_at_once(case):
    write_together(case.book.folder, writers=2, count=40)


@pytest.mark.slow
def test_eight_processes_write_a_thousand_changes_each(case):
    write_together(case.book.folder, writers=8, count=500)  # two records in each block


def kill_at_random(folder, times, seed):
    """Start a writer, kill it somewhere, check; all in one casebook that grows."""
    rng = random.Random(seed)
    confirmed = {}
    for turn in range(times):
        process = start(folder, f"k{turn}", 100_000, size=rng.choice([10, 5_000]))
        assert process.stdout.readline() == "ready\n"
        time.sleep(rng.uniform(0.0, 0.25))
        process.kill()
        output, _ = process.communicate()
        assert process.returncode == -9
        lines = output.splitlines(keepends=True)
        confirmed[turn] = [int(line) for line in lines if line.endswith("\n")]
        with open_casebook(folder) as book:
            there = {f.id for f in book.findings()}
            assert {f"k{turn}-{n}-{p}" for n in confirmed[turn] for p in range(2)} <= there
            halves = [i for i in there if i.startswith("k") and f"{i[:-1]}{1 - int(i[-1])}" not in there]
            assert halves == []
            assert book.verify().ok
    return confirmed


def test_killed_writers_lose_nothing_confirmed(case):
    confirmed = kill_at_random(case.book.folder, times=3, seed=1)
    assert sum(map(len, confirmed.values())) > 3


@pytest.mark.slow
def test_many_killed_writers_lose_nothing_confirmed(case):
    """Forty kills; PIANOLAB_KILLS=200 takes the time for more."""
    kills = int(os.environ.get("PIANOLAB_KILLS", "40"))
    confirmed = kill_at_random(case.book.folder, times=kills, seed=2)
    assert sum(map(len, confirmed.values())) > 5 * kills


FILLED = """
import resource, sys
from pianolab.casebook import open_casebook
from pianolab.errors import CasebookError
from pianolab.model import Finding
book = open_casebook(sys.argv[1])
visit = book.visits()[0].id
resource.setrlimit(resource.RLIMIT_FSIZE, (2_000_000, resource.RLIM_INFINITY))
confirmed = 0
try:
    for number in range(1000):
        with book.editing(by="Ana") as edit:
            edit.add(Finding(id=f"f{number}", visit_id=visit, point="p", count=1, note="x" * 20_000))
        confirmed += 1
except CasebookError as error:
    print(error)
resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
print(confirmed, len([f for f in book.findings() if f.id.startswith("f")]), book.verify().ok)
with book.editing(by="Ana") as edit:
    edit.add(Finding(id="after", visit_id=visit, point="p", count=1))
book.close()
"""


def test_a_full_disk_is_said_clearly_and_loses_nothing_confirmed(case):
    command = [sys.executable, "-c", FILLED, str(case.book.folder)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    line, counts = done.stdout.splitlines()
    confirmed, kept, sound = counts.split()
    assert "everything saved before is safe" in line
    assert "disk" in line
    assert int(confirmed) == int(kept) > 3
    assert sound == "True"
    with open_casebook(case.book.folder) as book:
        assert len(book.findings()) == 1 + int(kept) + 1


def test_database_errors_in_plain_words():
    from sqlalchemy.exc import OperationalError

    from pianolab.casebook.engine import clear_errors
    from pianolab.errors import CasebookError

    for text, said in (("attempt to write a readonly database", "write-protected"),
                       ("database is locked", "held by another program"),
                       ("database disk image is malformed", "damaged database"),
                       ("something else", "a database error")):  # fmt: skip
        with pytest.raises(CasebookError, match=said), clear_errors("case"):
            raise OperationalError("INSERT", {}, Exception(text))


def test_a_writer_that_waits_too_long_is_told(case, monkeypatch):
    from pianolab.casebook import engine
    from pianolab.casebook import opening as module
    from pianolab.errors import CasebookError

    monkeypatch.setattr(engine, "WAIT_S", 0.1)
    with (
        module.open_casebook(case.book.folder) as other,
        case.book.editing(by="Ana"),
        pytest.raises(CasebookError, match="held by another program"),
        other.editing(by="Ben"),
    ):
        pass
