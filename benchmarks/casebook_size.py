"""How a large casebook behaves: 1,000 pianos and 100,000 findings. Run: python benchmarks/casebook_size.py"""

from __future__ import annotations

import statistics
import tempfile
import time
from dataclasses import replace
from datetime import date
from pathlib import Path

from pianolab.casebook import create_casebook, open_casebook
from pianolab.model import Finding, Piano, Visit

PIANOS, FINDINGS_EACH, SAVES = 1000, 100, 200


def build(folder: Path) -> None:
    with create_casebook(folder) as book, book.editing(by="bench") as edit:
        for number in range(PIANOS):
            piano = edit.add(Piano(name=f"piano {number}"))
            visit = edit.add(Visit(piano_id=piano.id, day=date(2026, 1, 1)))
            for point in range(FINDINGS_EACH):
                edit.add(Finding(visit_id=visit.id, point=f"point {point}", grade=1 + point % 5))


def main() -> None:
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary) / "case"
        start = time.perf_counter()
        build(folder)
        print(f"built in {time.perf_counter() - start:.1f} s")
        start = time.perf_counter()
        book = open_casebook(folder)
        piano = book.pianos()[PIANOS // 2]
        print(
            f"opened, with its list of {PIANOS} pianos, in {time.perf_counter() - start:.3f} s (goal: under 1 s)"
        )
        start = time.perf_counter()
        findings = book.current_findings(piano.id)
        print(f"{len(findings)} findings of one piano in {time.perf_counter() - start:.3f} s")
        times_s = []
        for number in range(SAVES):
            start = time.perf_counter()
            with book.editing(by="bench") as edit:
                edit.change(replace(findings[0], grade=1 + number % 5))
            times_s.append(time.perf_counter() - start)
        median, worst = statistics.median(times_s), max(times_s)
        print(
            f"a change saved in {1000 * median:.1f} ms (median), {1000 * worst:.1f} ms (worst); goal: under 50 ms"
        )
        start = time.perf_counter()
        book.undo(by="bench")
        print(f"undo in {1000 * (time.perf_counter() - start):.1f} ms")
        start = time.perf_counter()
        print(f"verified: {book.verify().ok} in {time.perf_counter() - start:.1f} s")
        book.close()


if __name__ == "__main__":
    main()
