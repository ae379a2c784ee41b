"""How a large casebook behaves: 1,000 pianos and 100,000 findings.

Run: ``python -m benchmarks.casebook_size`` for a folder, ``--url postgresql://user@host/database`` for an empty
database of a server. A save is a whole editing block, from its beginning to the confirmed commit. Saves in which
SQLite also carried its write-ahead log over into the database (a checkpoint) are shown apart: they are the slow
ones. On a busy computer look at the processor times.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import uuid4

import numpy as np
import sqlalchemy as sa

from pianolab.casebook import Casebook, create_casebook, open_casebook, tables
from pianolab.casebook.codec import id_of, kind_of, references_of, to_json
from pianolab.casebook.engine import writing
from pianolab.casebook.ledger import moment_text
from pianolab.checklist import load_checklist
from pianolab.model import Finding, Piano, Visit

PIANOS, FINDINGS_EACH, SAVES = 1000, 100, 1000
BY = "bench"
GRADED = [point.id for point in load_checklist() if point.record == "grade"]


@dataclass(frozen=True, kw_only=True)
class Saves:
    """Times of many saves: wall clock and processor, in ms; which of them held a checkpoint."""

    wall_ms: np.ndarray
    cpu_ms: np.ndarray
    checkpoint: np.ndarray


def build(place: str | Path) -> None:
    """The casebook, filled as additions would fill it, but all rows of a table in one go."""
    with create_casebook(place) as book, writing(book._engine, name=book.name) as connection:
        begin = datetime.now(UTC) - timedelta(days=1)
        records = [record for number in range(PIANOS) for record in _one_piano(number)]
        rows = [_rows(r, at=moment_text(begin + timedelta(microseconds=n))) for n, r in enumerate(records)]
        for table, part in ((tables.change, 0), (tables.record, 1)):
            connection.execute(sa.insert(table), [row[part] for row in rows])


def _one_piano(number: int) -> list[Any]:
    piano = Piano(name=f"piano {number}")
    visit = Visit(piano_id=piano.id, day=date(2026, 1, 1))
    findings = [
        Finding(
            visit_id=visit.id,
            point=GRADED[number % len(GRADED)],
            place=f"place {number}",
            grade=1 + number % 5,
        )
        for number in range(FINDINGS_EACH)
    ]
    return [piano, visit, *findings]


def _rows(record: Any, *, at: str) -> tuple[dict[str, Any], dict[str, Any]]:
    kind, identity, body, uid = kind_of(record), id_of(record), to_json(record), uuid4().hex
    change = {
        "uid": uid,
        "at": at,
        "by": BY,
        "machine": BY,
        "action": "add",
        "kind": kind,
        "record_id": identity,
        "before": None,
        "after": body,
        "undoes": None,
        "purged": False,
    }
    present = {
        "id": identity,
        "kind": kind,
        "body": body,
        "deleted": False,
        "created_at": at,
        "at": at,
        "change_uid": uid,
        **references_of(record),
    }
    return change, present


def time_saves(book: Casebook, finding: Finding, *, count: int = SAVES) -> Saves:
    """Change one finding again and again, each time in a block of its own."""
    database = book.folder / "casebook.sqlite"
    times: list[tuple[float, float, bool]] = []
    for number in range(count):
        written = _written(database)
        wall, cpu = time.perf_counter(), time.process_time()
        with book.editing(by=BY) as edit:
            edit.change(replace(finding, grade=1 + number % 5, note=f"look {number}"))
        wall, cpu = time.perf_counter() - wall, time.process_time() - cpu
        # Between checkpoints only the log beside the database is written.
        times.append((1000 * wall, 1000 * cpu, _written(database) != written))
    wall_ms, cpu_ms, checkpoint = (np.array(column) for column in zip(*times, strict=True))
    return Saves(wall_ms=wall_ms, cpu_ms=cpu_ms, checkpoint=checkpoint.astype(bool))


def _written(path: Path) -> int:
    return path.stat().st_mtime_ns if path.exists() else 0


def spread(values: np.ndarray) -> str:
    """Median, 99 % and worst, in words."""
    if not len(values):
        return "none"
    return (
        f"median {np.median(values):.1f}, 99 % {np.percentile(values, 99):.1f}, worst {values.max():.1f} ms"
    )


def timed(what: str, action: Callable[[], Any]) -> Any:
    """Run something and print how long it took."""
    wall, cpu = time.perf_counter(), time.process_time()
    result = action()
    print(f"{what}: {time.perf_counter() - wall:.3f} s ({time.process_time() - cpu:.3f} s of processor)")
    return result


def measure(place: str | Path) -> None:
    """Build, open, read, save, take back, verify."""
    timed(f"building {PIANOS} pianos with {FINDINGS_EACH} findings each", lambda: build(place))
    book = timed("opening (goal: under 1 s)", lambda: open_casebook(place))
    with book:
        piano = timed("the list of all pianos", book.pianos)[PIANOS // 2]
        findings = timed("the findings of one piano", lambda: book.current_findings(piano.id))
        time_saves(book, findings[1], count=20)
        saves = time_saves(book, findings[0])
        print(f"{len(saves.wall_ms)} saves (goal: under 50 ms): {spread(saves.wall_ms)}")
        print(f"  of processor: {spread(saves.cpu_ms)}")
        print(f"  without a checkpoint: {spread(saves.wall_ms[~saves.checkpoint])}")
        print(f"  {saves.checkpoint.sum()} with one: {spread(saves.wall_ms[saves.checkpoint])}")
        timed("undo", lambda: book.undo(by=BY))
        timed("redo", lambda: book.redo(by=BY))
        timed("verifying", book.verify)


def main() -> None:
    """Measure a folder, or an empty database at a URL."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--url", help="an empty database; it is left filled")
    url = parser.parse_args().url
    if url:
        measure(url)
        return
    with tempfile.TemporaryDirectory() as temporary:
        measure(Path(temporary) / "case")


if __name__ == "__main__":
    main()
