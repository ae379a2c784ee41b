"""Eight writers at one casebook: how long each waits for its turn, and whether anybody waits much longer than the others.

Run: ``python -m benchmarks.turns [--writers 8] [--writes 300] [--url postgresql://…]``. A wait is from asking for an
editing block to being in it. Goal: the worst wait of all is 2 s or less.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

WRITER = """
import json, sys, time
from pianolab.casebook import open_casebook
from pianolab.model import Piano
place, name, writes = sys.argv[1], sys.argv[2], int(sys.argv[3])
with open_casebook(place) as book:
    print("ready", flush=True)
    sys.stdin.readline()
    waits = []
    for number in range(writes):
        begun = time.perf_counter()
        with book.editing(by=name) as edit:
            waits.append(time.perf_counter() - begun)
            edit.add(Piano(name=f"{name} {number}"))
print(json.dumps(waits))
"""


def waits_of(place: str | Path, writers: int, writes: int) -> np.ndarray:
    """Seconds waited, by writer and write."""
    processes = [
        subprocess.Popen(
            [sys.executable, "-c", WRITER, str(place), f"w{n}", str(writes)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        for n in range(writers)
    ]
    for process in processes:
        assert process.stdout is not None
        assert process.stdout.readline().strip() == "ready"
    for process in processes:
        assert process.stdin is not None
        process.stdin.write("\n")
        process.stdin.flush()
    return np.array([json.loads(process.communicate()[0]) for process in processes])


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--writers", type=int, default=8)
    parser.add_argument("--writes", type=int, default=300)
    parser.add_argument("--url", help="an empty database; it is left filled")
    args = parser.parse_args()
    from pianolab.casebook import create_casebook, open_casebook

    with tempfile.TemporaryDirectory() as folder:
        place = args.url or str(Path(folder) / "case")
        create_casebook(place).close()
        waits = waits_of(place, args.writers, args.writes)
        with open_casebook(place) as book:
            there = len(book.pianos())
    worst = waits.max(axis=1)
    print(f"{there} of {waits.size} writes kept")
    print(
        f"wait: median {np.median(waits) * 1000:.1f} ms, 99 % {np.percentile(waits, 99) * 1000:.0f} ms, worst {waits.max():.2f} s"
    )
    print(f"worst of each writer: {', '.join(f'{w:.2f}' for w in worst)} s")


if __name__ == "__main__":
    main()
