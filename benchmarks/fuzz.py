"""Bad input by the thousand: every reader is given what a damaged disk or an attacker might give it.

Run: ``python -m benchmarks.fuzz [--count 3000] [--reader pictures zip]``. Each mutant is taken, or refused in one line;
anything else is counted: another exception (a traceback, at the command line), more than 10 s, more than 1 GiB in the
process, a process that ends, a file left half-written. The seeds of all mutants are numbers, so that
``--reader zip --only 17`` makes one again and shows its traceback. `benchmarks.fuzz_readers` says what each reader is.
With ``--keep rows.jsonl`` every result is appended to that file, and a run that was stopped goes on where it was.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import resource
import signal
import subprocess
import sys
import tempfile
import time
import traceback
import warnings
from collections import Counter
from contextlib import suppress
from pathlib import Path
from typing import Any

COUNT, TOO_LONG_S, MOST_MB = 3000, 10, 1024
BATCH = 250
"""Mutants in one process."""

ODD_NUMBERS = (
    b"\x00",
    b"\xff",
    b"\x7f",
    b"\x80",
    b"\xff\xff\xff\xff",
    b"\x00\x00\x00\x80",
    b"\x7f\xff\xff\xff",
    b"\x00" * 64,
)
ODD_TEXTS = (
    "9" * 400,
    "1e400",
    "nan",
    "-1",
    "null",
    "[" * 2000,
    '"',
    "\\ud800",
    "../../etc",
    "\x00",
    "2026-02-30",
    "'''",
    "=",
    "{}",
)


def mutated(data: bytes, rng: random.Random, *, text: bool = False) -> bytes:
    """The bytes with some of them changed, taken out, put in, doubled or cut off."""
    out = bytearray(data)
    for _ in range(rng.choice((1, 1, 2, 4, 16, 64))):
        at, span = rng.randrange(len(out) + 1), rng.choice((1, 2, 4, 16, 256, 4096))
        match rng.randrange(7):
            case 0 if at < len(out):
                out[at] ^= 1 << rng.randrange(8)
            case 1:
                out[at : at + 4] = rng.choice(ODD_NUMBERS)
            case 2:
                del out[at : at + span]
            case 3:
                out[at:at] = rng.choice(ODD_TEXTS).encode() if text else rng.randbytes(span)
            case 4:
                out[at:at] = out[max(0, at - span) : at]
            case 5:
                start = rng.randrange(len(out) + 1)
                out[at : at + span] = out[start : start + span]
            case 6 if rng.random() < 0.3:
                del out[at:]
    return bytes(out)


class TooLong(BaseException):
    """A mutant that took more than `TOO_LONG_S`; no reader can swallow it."""


def _alarm(*_: object) -> None:
    raise TooLong


def tried(reader: Any, number: int) -> tuple[str, str]:
    """What became of one mutant: taken, refused, traceback or hang; and the last line."""
    from pianolab.errors import PianolabError

    rng = random.Random(f"{reader.name} {number}")
    signal.alarm(TOO_LONG_S)
    try:
        with tempfile.TemporaryDirectory() as folder:
            try:
                reader.try_one(Path(folder), rng)
                outcome = "taken", ""
            except PianolabError as error:
                line = str(error)
                outcome = (
                    ("refused", line)
                    if "\n" not in line
                    else ("traceback", f"more than one line: {line[:200]}")
                )
            left = [str(p.relative_to(folder)) for p in Path(folder).rglob("*.part*")]
            return outcome if not left else ("half-written", ", ".join(left))
    except TooLong:
        return "hang", ""
    except Exception as error:
        if os.environ.get("FUZZ_SHOW"):
            traceback.print_exc()
        place = traceback.extract_tb(error.__traceback__)[-1]
        where = next(
            (
                f"{f.filename}:{f.lineno}"
                for f in reversed(traceback.extract_tb(error.__traceback__))
                if "pianolab" in f.filename
            ),
            place.filename,
        )
        return "traceback", f"{type(error).__name__}: {str(error)[:100]} at {where}"
    finally:
        signal.alarm(0)


def peak_mb() -> float:
    """The most memory this process has had; what its parent had before does not count where the system tells."""
    try:
        status = Path("/proc/self/status").read_text(encoding="utf-8")
    except OSError:
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return float(status.partition("VmHWM:")[2].split()[0]) / 1024


def do_batch(name: str, first: int, last: int) -> None:
    """Some mutants in this process; a line of JSON for each."""
    from benchmarks.fuzz_readers import READERS

    warnings.simplefilter("ignore")
    signal.signal(signal.SIGALRM, _alarm)
    with tempfile.TemporaryDirectory() as room:
        reader = READERS[name](Path(room))
        told = os.fdopen(os.dup(1), "w")
        silent = os.open(os.devnull, os.O_WRONLY)
        if not os.environ.get("FUZZ_SHOW"):
            os.dup2(silent, 1)
            os.dup2(silent, 2)
        for number in range(first, last):
            begun = time.perf_counter()
            outcome, line = tried(reader, number)
            peak = peak_mb()
            print(
                json.dumps([number, outcome, line, time.perf_counter() - begun, peak]), file=told, flush=True
            )


def done_before(keep: Path | None, name: str) -> dict[int, list[Any]]:
    """The rows of one reader that an earlier run kept, by mutant; a line that was cut off is made again."""
    rows = {}
    for line in keep.read_text(encoding="utf-8").splitlines() if keep and keep.exists() else ():
        with suppress(json.JSONDecodeError):
            reader, row = json.loads(line)
            if reader == name:
                rows[row[0]] = row
    return rows


def one_batch(name: str, first: int, last: int, keep: Path | None) -> list[list[Any]]:
    """The rows of some mutants, each made in another process; a process that ends is a row of its own."""
    command = [sys.executable, "-m", "benchmarks.fuzz", "--batch", name, str(first), str(last)]
    rows: list[list[Any]] = []
    with (
        tempfile.TemporaryFile("w+") as said,
        (keep or Path(os.devnull)).open("a", encoding="utf-8") as kept,
        subprocess.Popen(
            command,
            stdout=subprocess.PIPE,
            stderr=said,
            text=True,
            env={**os.environ, "OMP_NUM_THREADS": "1"},
        ) as process,
    ):
        assert process.stdout is not None
        print(file=kept)  # after a line that was cut off
        for line in process.stdout:
            if line.startswith("["):
                rows.append(json.loads(line))
                print(json.dumps([name, rows[-1]]), file=kept, flush=True)
        code = process.wait()
        said.seek(0)
        words = said.read()[-300:]
        if not rows and code:
            raise RuntimeError(f"{name}, mutant {first}: exit code {code}, {words}")
        if first + len(rows) < last:
            rows.append([first + len(rows), "process ended", f"({code}) {words}", 0.0, 0.0])
            print(json.dumps([name, rows[-1]]), file=kept, flush=True)
    return rows


def measure(name: str, count: int, keep: Path | None = None) -> dict[str, Any]:
    """All mutants of one reader, batch by batch; those that an earlier run kept are not made again."""
    done = {n: row for n, row in done_before(keep, name).items() if n < count}
    while missing := [n for n in range(count) if n not in done]:
        first, last = missing[0], min(missing[0] + BATCH, count, *(n for n in done if n > missing[0]))
        done |= {row[0]: row for row in one_batch(name, first, last, keep)}
    rows = [done[n] for n in sorted(done)]
    seen: dict[str, tuple[int, str]] = {}
    for number, outcome, line, _, _ in rows:
        if outcome not in ("taken", "refused"):
            seen.setdefault(f"{outcome}: {line}", (number, line))
    return {
        "counts": Counter(row[1] for row in rows),
        "seen": seen,
        "longest": max(row[3] for row in rows),
        "peak": max(row[4] for row in rows),
    }


def main() -> None:
    """Parse and run."""
    from benchmarks.fuzz_readers import READERS

    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--count", type=int, default=COUNT)
    parser.add_argument("--reader", nargs="+", choices=READERS, default=list(READERS))
    parser.add_argument("--keep", type=Path, help="a file of results to go on from")
    parser.add_argument("--only", type=int, help="one mutant, with its traceback")
    parser.add_argument("--batch", nargs=3, help=argparse.SUPPRESS)
    args = parser.parse_args()
    if args.batch:
        do_batch(args.batch[0], int(args.batch[1]), int(args.batch[2]))
        return
    if args.only is not None:
        os.environ["FUZZ_SHOW"] = "1"
        do_batch(args.reader[0], args.only, args.only + 1)
        return
    columns = ("taken", "refused", "traceback", "hang", "half-written", "process ended")
    print("| reader | mutants | " + " | ".join(columns) + " | longest, s | peak, MB |")
    print("| --- " * (len(columns) + 4) + "|")
    bad = []
    for name in args.reader:
        found = measure(name, args.count, args.keep)
        cells = [str(found["counts"][c]) for c in columns]
        print(
            f"| {name} | {sum(found['counts'].values())} | {' | '.join(cells)} | {found['longest']:.1f} | {found['peak']:.0f} |",
            flush=True,
        )
        bad += [f"{name}, mutant {number}: {what}" for what, (number, _) in found["seen"].items()]
        if found["peak"] > MOST_MB:
            bad.append(f"{name}: {found['peak']:.0f} MB")
    print(*bad, sep="\n")
    sys.exit(bool(bad))


if __name__ == "__main__":
    main()
