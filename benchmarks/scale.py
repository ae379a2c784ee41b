"""What a large casebook costs: time and memory of every step, each in a process of its own.

Run: ``python -m benchmarks.scale [--pianos 1000] [--findings 130]``. Memory is the peak of the process and how much of
it came on top of what Python with pianolab loaded takes. Times are of this computer, which may be busy; look at them
beside each other. Goal: writing and reading the zip takes 300 MB or less on top, whatever the number of pianos.
"""

from __future__ import annotations

import argparse
import json
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

STEPS = (
    "open and list the pianos",
    "read all findings",
    "first change of the day (with a copy)",
    "a change",
    "undo",
    "redo",
    "the whole log",
    "verify",
    "export to a zip",
    "import from the zip",
    "gather into a new one",
    "gather again",
)


def steps(folder: Path) -> dict[str, Callable[[], object]]:
    """What each step does; every one finds what the earlier ones left."""
    from pianolab.casebook import export_zip, gather, import_zip, open_casebook

    place = folder / "casebook"

    def change() -> None:
        with open_casebook(place) as book, book.editing(by="bench") as edit:
            piano = book.pianos()[-1]
            edit.change(replace(piano, note=f"{piano.note}."[-100:]))

    return dict(
        zip(
            STEPS,
            (
                lambda: open_casebook(place).pianos(),
                lambda: open_casebook(place).findings(),
                change,
                change,
                lambda: open_casebook(place).undo(by="bench"),
                lambda: open_casebook(place).redo(by="bench"),
                lambda: open_casebook(place).log(),
                lambda: open_casebook(place).verify().problems or None,
                lambda: export_zip(open_casebook(place), folder / "all.zip"),
                lambda: import_zip(folder / "all.zip", into=folder / "back"),
                lambda: gather([place], into=folder / "gathered"),
                lambda: gather([place], into=folder / "gathered"),
            ),
            strict=True,
        )
    )


def do(folder: Path, number: int) -> None:
    """One step, in this process; prints what it cost."""
    import pianolab.casebook

    assert pianolab.casebook
    work = steps(folder)[STEPS[number]]
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    begun, spent = time.perf_counter(), time.process_time()
    work()
    print(
        json.dumps(
            {
                "wall": time.perf_counter() - begun,
                "cpu": time.process_time() - spent,
                "peak": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
                "more": (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1024,
            }
        )
    )


BUILD = """
import sys
from benchmarks import casebook_size
casebook_size.PIANOS, casebook_size.FINDINGS_EACH = int(sys.argv[2]), int(sys.argv[3])
casebook_size.build(sys.argv[1])
"""


def measure(folder: Path, pianos: int, findings: int) -> None:
    """Build a casebook, do every step, print the table."""
    # Not in this process: one that was forked from a large one counts the other's memory as its own.
    built = [sys.executable, "-c", BUILD, str(folder / "casebook"), str(pianos), str(findings)]
    subprocess.run(built, check=True)
    size = (folder / "casebook" / "casebook.sqlite").stat().st_size / 1024**2
    print(f"{pianos:,} pianos with {findings} findings each, database of {size:.0f} MB\n")
    print(
        "| step | wall, s | processor, s | peak, MB | on top of pianolab, MB |\n| --- | --- | --- | --- | --- |"
    )
    for number, name in enumerate(STEPS):
        done = subprocess.run(
            [sys.executable, "-m", "benchmarks.scale", "--do", str(number), "--in", str(folder)],
            capture_output=True,
            text=True,
            check=True,
        )
        cost = json.loads(done.stdout)
        print(
            f"| {name} | {cost['wall']:.2f} | {cost['cpu']:.2f} | {cost['peak']:.0f} | {cost['more']:.0f} |",
            flush=True,
        )


def main() -> None:
    """Parse and run."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--pianos", type=int, default=1000)
    parser.add_argument("--findings", type=int, default=130)
    parser.add_argument("--do", type=int, help=argparse.SUPPRESS)
    parser.add_argument("--in", dest="folder", type=Path, help=argparse.SUPPRESS)
    args = parser.parse_args()
    if args.do is not None:
        do(args.folder, args.do)
        return
    with tempfile.TemporaryDirectory() as folder:
        measure(Path(folder), args.pianos, args.findings)


if __name__ == "__main__":
    main()
