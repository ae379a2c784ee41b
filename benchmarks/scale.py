"""What a large casebook costs: time and memory of every step, each in a process of its own.

Run: ``python -m benchmarks.scale [--pianos 1000] [--findings 130]``. Memory is the peak of the process and how much of
it came on top of what Python with pianolab loaded takes. Times are of this computer, which may be busy; look at them
beside each other. Goal: writing and reading the zip takes 300 MB or less on top, whatever the number of pianos.

``--recordings 200 [--backend loky dask]``: a night's listening with `survey_many`: after a quarter one worker is
killed, after a half the whole work is interrupted and then taken up again. Memory is what the process and its workers
hold together at a tenth of the way and at the end. Goal: every recording has its survey, none is listened to twice
but what a killed or interrupted worker was at, and memory doesn't grow with the number of recordings.

``--writers 8``: so many processes save into one casebook at once, each as fast as it can, and how long each save took
from the wish to the confirmation. Goal: none waits more than 2 s.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import signal
import subprocess
import sys
import tempfile
import threading
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


RATE_HZ, FIRST_KEY, LAST_KEY = 22050, 45, 46
CHECKED_EVERY_S = 0.2
SAVES_EACH = 60


def make_recordings(folder: Path, count: int) -> list[Path]:
    """Recordings of two keys, each with noise of its own."""
    import numpy as np

    from pianolab.io import write_sound
    from pianolab.sound_model import PianoModel, render_scale

    keys = {"first_key": FIRST_KEY, "last_key": LAST_KEY, "hold_s": 0.7, "gap_s": 0.3}
    scale = render_scale(PianoModel(seed=6), rate_hz=RATE_HZ, snr_db=60.0, **keys)
    paths = []
    for n in range(count):
        noise = 1e-4 * np.random.default_rng(n).standard_normal(scale.samples.shape)
        path = folder / f"{n:03}.wav"
        paths.append(
            path
            if path.exists()
            else write_sound(path, scale.samples + noise, rate_hz=RATE_HZ, subtype="PCM_16")
        )
    return paths


def below(pid: int) -> dict[int, float]:
    """MB that each process below one holds (Linux)."""
    parents, held = {}, {}
    for place in Path("/proc").glob("[0-9]*"):
        try:
            status = dict(line.split(":", 1) for line in (place / "status").read_text().splitlines())
            parents[int(place.name)] = int(status["PPid"])
            held[int(place.name)] = int(status.get("VmRSS", "0").split()[0]) / 1024
        except (OSError, ValueError):
            continue
    family = {pid}
    while more := {child for child, parent in parents.items() if parent in family} - family:
        family |= more
    return {child: held[child] for child in family - {pid}}


class Night(threading.Thread):
    """Watches the work from beside it: measures, kills a worker after a quarter, interrupts after a half."""

    def __init__(self, kept: Path, count: int) -> None:
        super().__init__(daemon=True)
        self.kept, self.count, self.held, self.killed, self.done = kept, count, dict[int, float](), 0, False

    def run(self) -> None:
        while not self.done:
            finished = len(list(self.kept.glob("*.json")))
            workers = below(os.getpid())
            own = float(Path("/proc/self/status").read_text().partition("VmRSS:")[2].split()[0]) / 1024
            self.held[finished] = own + sum(workers.values())
            if not self.killed and finished >= self.count // 4 and workers:
                self.killed = max(workers, key=lambda pid: workers[pid])
                os.kill(self.killed, signal.SIGKILL)
            if finished >= self.count // 2 and self.count // 2 > 0:
                self.count = -1
                os.kill(os.getpid(), signal.SIGINT)
            time.sleep(CHECKED_EVERY_S)


def night(folder: Path, count: int, backend: str) -> None:
    """A night's work in this process; prints what came of it."""
    from contextlib import nullcontext

    from pianolab.workflow import survey_many

    signal.signal(signal.SIGINT, signal.default_int_handler)  # a shell's background work ignores it
    paths = make_recordings(folder, count)
    kept = folder / f"kept {backend}"
    client: object = nullcontext()
    if backend == "dask":
        from distributed import Client, LocalCluster

        client = Client(LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None))
    given = {"jobs": 2, "backend": backend, "progress": False, "keep": kept}
    begun = time.perf_counter()
    with client:  # type: ignore[attr-defined]
        watch = Night(kept, count)
        watch.start()
        first = survey_many(paths, first_key=FIRST_KEY, last_key=LAST_KEY, **given)  # type: ignore[arg-type]
        before = {p.name: p.stat().st_mtime_ns for p in kept.glob("*.json")}
        second = survey_many(paths, first_key=FIRST_KEY, last_key=LAST_KEY, **given)  # type: ignore[arg-type]
        watch.done = True
        watch.join()
    after = {p.name: p.stat().st_mtime_ns for p in kept.glob("*.json")}
    early = [held for n, held in watch.held.items() if count // 10 <= n < count // 4]
    late = [held for n, held in watch.held.items() if n >= count * 9 // 10]
    print(
        json.dumps(
            {
                "seconds": time.perf_counter() - begun,
                "killed": bool(watch.killed),
                "interrupted": first.interrupted,
                "first": len(first.surveys),
                "kept": len(before),
                "again": sum(after[n] != before[n] for n in before),
                "surveys": len(second.surveys),
                "failed": len(second.failed),
                "early": max(early, default=0.0),
                "late": max(late, default=0.0),
            }
        )
    )


def measure_nights(folder: Path, count: int, backends: list[str]) -> None:
    """The night with each backend; prints the table."""
    columns = (
        "backend",
        "recordings",
        "s",
        "worker killed",
        "interrupted",
        "back by then",
        "kept",
        "of these heard again",
        "surveys in the end",
        "without one",
        "MB early",
        "MB late",
    )
    print("| " + " | ".join(columns) + " |\n" + "| --- " * len(columns) + "|")
    for backend in backends:
        command = [sys.executable, "-m", "benchmarks.scale", "--night", backend, "--in", str(folder)]
        done = subprocess.run(
            [*command, "--recordings", str(count)], stdout=subprocess.PIPE, text=True, check=True
        )
        f = json.loads(done.stdout.splitlines()[-1])
        yes = {True: "yes", False: "no"}
        cells = [backend, str(count), f"{f['seconds']:.0f}", yes[f["killed"]], yes[f["interrupted"]]]
        cells += [str(f[name]) for name in ("first", "kept", "again", "surveys", "failed")]
        print("| " + " | ".join([*cells, f"{f['early']:.0f}", f"{f['late']:.0f}"]) + " |", flush=True)


def write(folder: Path, name: str) -> None:
    """A writer in this process: begins when the file ``go`` is there; prints the seconds that each save took."""
    from pianolab.casebook import open_casebook
    from pianolab.checklist import load_checklist
    from pianolab.model import Finding

    point = next(point.id for point in load_checklist() if point.record == "grade")
    took = []
    with open_casebook(folder / "casebook") as book:
        visit = book.visits()[0].id
        (folder / f"ready {name}").touch()
        while not (folder / "go").exists():
            time.sleep(0.01)
        for number in range(SAVES_EACH):
            begun = time.perf_counter()
            with book.editing(by=name) as edit:
                edit.add(Finding(visit_id=visit, point=point, grade=1 + number % 5))
            took.append(time.perf_counter() - begun)
    print(json.dumps(took))


def measure_writers(folder: Path, count: int) -> None:
    """All writers at once; prints the table."""
    subprocess.run([sys.executable, "-c", BUILD, str(folder / "casebook"), "5", "130"], check=True)
    command = [sys.executable, "-m", "benchmarks.scale", "--in", str(folder), "--write"]
    names = [f"writer {n}" for n in range(count)]
    people = [subprocess.Popen([*command, name], stdout=subprocess.PIPE, text=True) for name in names]
    while len(list(folder.glob("ready *"))) < count and all(p.poll() is None for p in people):
        time.sleep(0.05)
    begun = time.perf_counter()
    (folder / "go").touch()
    took = [json.loads(p.communicate()[0] or "[]") for p in people]
    seconds = time.perf_counter() - begun
    every = sorted(s for own in took for s in own)
    half, most = every[len(every) // 2], every[-1 - len(every) // 100]
    print("| writers | load | saves | in all, s | half within, s | 99 % within, s | longest, s |")
    print("| --- " * 7 + "|")
    print(
        f"| {count} | {os.getloadavg()[0]:.1f} | {len(every)} of {count * SAVES_EACH} | {seconds:.1f} | "
        f"{half:.2f} | {most:.2f} | {every[-1]:.2f} |"
    )


def main() -> None:
    """Parse and run."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--pianos", type=int, default=1000)
    parser.add_argument("--findings", type=int, default=130)
    parser.add_argument("--recordings", type=int, default=0, help="a night's listening in place of the table")
    parser.add_argument("--backend", nargs="+", choices=("loky", "dask"), default=["loky", "dask"])
    parser.add_argument("--writers", type=int, default=0, help="so many at once, in place of the table")
    parser.add_argument("--write", help=argparse.SUPPRESS)
    parser.add_argument("--night", help=argparse.SUPPRESS)
    parser.add_argument("--do", type=int, help=argparse.SUPPRESS)
    parser.add_argument("--in", dest="folder", type=Path, help=argparse.SUPPRESS)
    args = parser.parse_args()
    if args.do is not None:
        do(args.folder, args.do)
        return
    if args.write is not None:
        write(args.folder, args.write)
        return
    if args.night is not None:
        night(args.folder, args.recordings, args.night)
        return
    with tempfile.TemporaryDirectory() as folder:
        if args.writers:
            measure_writers(Path(folder), args.writers)
            return
        if args.recordings:
            measure_nights(Path(folder), args.recordings, args.backend)
            return
        measure(Path(folder), args.pianos, args.findings)


if __name__ == "__main__":
    main()
