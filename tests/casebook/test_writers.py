"""Several processes at once, processes that die, and disks that fill up: nothing confirmed is lost."""

import os
import random
import subprocess
import sys
import threading
import time
from dataclasses import replace

import pytest

from pianolab.casebook import open_casebook
from pianolab.checklist import load_checklist
from pianolab.model import Finding
from tests.casebook.places import Folders, Schemas, server_url
from tests.casebook.writers import Forker


@pytest.fixture(scope="module")
def forker(tmp_path_factory):
    forker = Forker(tmp_path_factory.mktemp("writers"))
    yield forker
    forker.close()


def write_together(forker, place, *, writers, blocks):
    """All at once, one change in each block; says how many blocks a second went through."""
    begun = time.monotonic()
    running = {f"w{number}": forker.start(place, f"w{number}", blocks=blocks) for number in range(writers)}
    assert [writer.wait() for writer in running.values()] == [0] * writers
    seconds = time.monotonic() - begun
    for writer in running.values():
        assert writer.confirmed() == list(range(blocks))
    expected = sorted(f"{name}-{n}-0" for name in running for n in range(blocks))
    with open_casebook(place) as book:
        assert sorted(f.id for f in book.findings() if f.id.startswith("w")) == expected
        log = [c for c in book.log() if c.by in running]
        assert sorted(c.record_id for c in log) == expected
        assert len({c.uid for c in log}) == len({c.seq for c in log}) == len(expected)
        for name in running:  # each writer's own changes in the order in which they were made
            assert [c.after["count"] for c in log if c.by == name] == list(range(blocks))
        assert book.verify().ok
    return writers * blocks / seconds


def test_two_processes_write_at_once(case, forker):
    write_together(forker, case.place, writers=2, blocks=40)


@pytest.mark.slow
def test_eight_processes_write_hundreds_of_changes_each(case, forker):
    rate = write_together(forker, case.place, writers=8, blocks=300)
    print(f"{rate:.0f} changes a second")


def kill_at_random(forker, case, places, *, kills, seed, kills_each=20):
    """Start a writer, kill it somewhere between opening and the twelfth block, look; a fresh casebook at times.

    Some writers are killed while opening, some in the middle of large blocks that empty the write-ahead log.
    """
    rng = random.Random(seed)
    confirmed = 0
    for turn in range(kills):
        if turn % kills_each == 0:
            place = places.copy(case.place, f"killed{seed}-{turn}")
        name = f"k{seed}-{turn}"
        writer = forker.start(place, name, blocks=100_000, parts=2, size=rng.choice([10, 5_000, 100_000]))
        writer.wait_for(rng.choice([0, 0, 1, 2, 3, 5, 8, 12]))
        time.sleep(rng.uniform(0.0, 0.015))
        assert writer.kill() == -9
        said = writer.confirmed()
        confirmed += len(said)
        with open_casebook(place) as book:
            there = {f.id for f in book.findings() if f.id.startswith(f"{name}-")}
            expected = {f"{name}-{n}-{p}" for n in said for p in range(2)}
            begun = {f"{name}-{len(said)}-{p}" for p in range(2)}  # kept, but killed before saying so
            assert there in (expected, expected | begun)
            assert book.verify().ok
    return confirmed


def test_killed_writers_lose_nothing_confirmed(case, places, forker):
    assert kill_at_random(forker, case, places, kills=6, seed=1) > 6


@pytest.mark.slow
def test_many_killed_writers_lose_nothing_confirmed(folder_case, forker, tmp_path):
    kills = int(os.environ.get("PIANOLAB_KILLS", "200"))
    assert kill_at_random(forker, folder_case, Folders(tmp_path), kills=kills, seed=2) > 2 * kills


@pytest.mark.slow
def test_killed_writers_on_a_server_lose_nothing_confirmed(server_case, forker):
    places = Schemas(server_url())
    try:
        assert kill_at_random(forker, server_case, places, kills=40, seed=3) > 2 * 40
    finally:
        places.close()


def test_two_people_record_one_visit_at_once(case):
    """Each with the casebook open in a program of their own; they grade the same points and correct themselves."""
    points = [point.id for point in load_checklist() if point.record == "grade"][:15]
    problems = []

    def record(name):
        try:
            with open_casebook(case.place) as book:
                for number, point in enumerate(points):
                    with book.editing(by=name) as edit:
                        seen = edit.add(
                            Finding(visit_id=case.visit.id, point=point, grade=1 + number % 5, examiner=name)
                        )
                    with book.editing(by=name) as edit:
                        edit.change(replace(seen, note=f"seen by {name}"), was=seen)
                    if number % 3 == 0:
                        book.undo(by=name)
        except Exception as error:
            problems.append(error)

    people = [threading.Thread(target=record, args=(name,)) for name in ("Ana", "Ben")]
    for person in people:
        person.start()
    for person in people:
        person.join()
    assert problems == []
    for name in ("Ana", "Ben"):
        own = [f for f in case.book.findings(case.visit.id) if f.examiner == name]
        assert [f.point for f in own] == points
        assert [f.grade for f in own] == [1 + number % 5 for number in range(15)]
        assert [f.note for f in own] == ["" if n % 3 == 0 else f"seen by {name}" for n in range(15)]
        assert [c.action for c in case.book.log() if c.by == name].count("undo") == 5
    assert case.book.verify().ok


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
            edit.add(Finding(id=f"f{number}", visit_id=visit, point="papers-moves", count=1, note="x" * 20_000))
        confirmed += 1
except CasebookError as error:
    print(error)
resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
print(confirmed, len([f for f in book.findings() if f.point == "papers-moves"]), book.verify().ok)
with book.editing(by="Ana") as edit:
    edit.add(Finding(id="after", visit_id=visit, point="papers-moves", count=1))
book.close()
"""


@pytest.mark.slow
def test_a_full_disk_is_said_clearly_and_loses_nothing_confirmed(folder_case):
    command = [sys.executable, "-c", FILLED, str(folder_case.book.folder)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    line, counts = done.stdout.splitlines()
    confirmed, kept, sound = counts.split()
    assert "everything saved before is safe" in line
    assert "disk" in line
    assert int(confirmed) == int(kept) > 3
    assert sound == "True"
    with open_casebook(folder_case.book.folder) as book:
        assert len(book.findings()) == 1 + int(kept) + 1


def test_database_errors_in_plain_words():
    from sqlalchemy.exc import OperationalError

    from pianolab.casebook.troubles import clear_errors
    from pianolab.errors import CasebookError

    for text, said in (
        ("attempt to write a readonly database", "write-protected"),
        ("database is locked", "held by another program"),
        ("database disk image is malformed", "damaged database"),
        ("something else", "a database error"),
    ):
        with pytest.raises(CasebookError, match=said), clear_errors("case"):
            raise OperationalError("INSERT", {}, Exception(text))


def test_a_writer_that_waits_too_long_is_told(case, monkeypatch):
    from pianolab.casebook import engine
    from pianolab.casebook import opening as module
    from pianolab.errors import CasebookError

    monkeypatch.setattr(engine, "WAIT_S", 0.1)
    with (
        module.open_casebook(case.place) as other,
        case.book.editing(by="Ana"),
        pytest.raises(CasebookError, match="held by another program"),
        other.editing(by="Ben"),
    ):
        pass


def longest_absence(names, writers):
    """How many turns of others any writer had to let pass, while all of them wanted to write."""
    last_of_all = min(len(names) - 1 - names[::-1].index(name) for name in writers)
    seen, longest = dict.fromkeys(writers, 0), 0
    for place, name in enumerate(names[: last_of_all + 1]):
        longest, seen[name] = max(longest, place - seen[name]), place
    return longest


def test_an_absence_is_seen():
    assert longest_absence(list("abababab"), "ab") == 2
    assert longest_absence(list("aaaaaaabab"), "ab") == 7


def test_writers_wait_in_turn(case):
    """Whoever wants to write again stands at the end of the queue, on whatever kind of place."""
    writers, count = ("Ana", "Ben", "Cem", "Dan"), 15
    ready = threading.Barrier(len(writers))

    def write(name):
        with open_casebook(case.place) as book:
            ready.wait(60)
            for number in range(count):
                with book.editing(by=name) as edit:
                    edit.add(Finding(visit_id=case.visit.id, point="papers-moves", count=number))

    people = [threading.Thread(target=write, args=(name,)) for name in writers]
    for person in people:
        person.start()
    for person in people:
        person.join()
    names = [
        c.by for c in sorted(case.book.log(), key=lambda c: c.seq) if c.after.get("point") == "papers-moves"
    ]
    assert len(names) == len(writers) * count
    assert longest_absence(names, writers) <= 4 * len(writers)
