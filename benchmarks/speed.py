"""How fast the listening is: ``python -m benchmarks.speed [--repeats 5] [--growth] [--file RECORDING]``.

All calls are warm and in this one process with the same threads; decoding is left out of the comparison and timed
by itself. ``librosa.pyin`` is timed on 20 s and scaled to the whole length. The whole command ``python -m pianolab
listen`` is held against a process that imports librosa, reads the same file and runs ``librosa.yin``: both begin from
nothing, in turn, and what counts is the median of the repeats. Processor time is told beside wall time: on a busy
machine only that compares. Memory is the peak of a fresh process that listens once, less that of one that only makes
the same samples.
"""

from __future__ import annotations

import argparse
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

PYIN_S = 20.0
LOW_HZ, HIGH_HZ, FRAME = 27.0, 4300.0, 4096
TRACKED = """
import sys, librosa, soundfile
samples, rate_hz = soundfile.read(sys.argv[1], dtype="float32", always_2d=True)
librosa.yin(samples[:, 0], sr=rate_hz, fmin=float(sys.argv[2]), fmax=float(sys.argv[3]), frame_length=int(sys.argv[4]))
"""
"""The whole command is held against this one."""
PEAK = """
import re, sys, numpy as np
from pianolab.acoustics import listen
samples = np.load(sys.argv[1])
if sys.argv[2] == "listen":
    listen(samples, rate_hz=int(sys.argv[3]))
print(int(re.search(r"VmHWM:\\s+(\\d+)", open("/proc/self/status").read()).group(1)) / 1024)
"""
"""Peak of this process alone (Linux); what ``getrusage`` tells would include the parent's size at the fork."""


def median_s(call: Callable[[], object], *, repeats: int) -> float:
    """Median wall time of a call in s, after one that isn't counted."""
    return medians_in_turn(call, repeats=repeats)[0]


def medians_in_turn(*calls: Callable[[], object], repeats: int) -> list[float]:
    """Median wall time of each call in s, made in turn so that what else the machine does meets all of them alike."""
    taken: list[list[float]] = [[] for _ in calls]
    for turn in range(repeats + 1):
        for call, own in zip(calls, taken, strict=True):
            start = time.perf_counter()
            call()
            if turn:
                own.append(time.perf_counter() - start)
    return [statistics.median(own) for own in taken]


def compared(samples: NDArray[np.float32], rate_hz: int, *, repeats: int) -> dict[str, float]:
    """Wall times in s of `listen` and of what it is measured against."""
    import librosa

    from pianolab.acoustics import listen

    piece = samples[: int(PYIN_S * rate_hz)]
    pitch: dict[str, Any] = {"fmin": LOW_HZ, "fmax": HIGH_HZ, "sr": rate_hz, "frame_length": FRAME}
    own, yin = medians_in_turn(
        lambda: listen(samples, rate_hz=rate_hz), lambda: librosa.yin(samples, **pitch), repeats=repeats
    )
    return {
        "listen": own,
        "librosa.yin": yin,
        "librosa.pyin (20 s, scaled)": median_s(lambda: librosa.pyin(piece, **pitch), repeats=min(repeats, 2))
        * samples.size
        / piece.size,
        "librosa.stft": median_s(lambda: librosa.stft(samples, n_fft=FRAME), repeats=repeats),
        "reading the file (FLAC)": _reading_s(samples, rate_hz, repeats=repeats),
    }


def _reading_s(samples: NDArray[np.float32], rate_hz: int, *, repeats: int) -> float:
    from pianolab.io import read_sound, write_sound

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "scale.flac"
        write_sound(path, samples, rate_hz=rate_hz)
        return median_s(lambda: read_sound(path), repeats=repeats)


@dataclass(frozen=True)
class Took:
    """Medians of a command's runs, s: by the clock, and of all processor cores together."""

    wall_s: float
    processor_s: float


def whole_processes(path: Path, *, repeats: int) -> dict[str, Took]:
    """The whole command and what it is held against, each from an empty process, in turn; the first run isn't counted.

    Parameters
    ----------
    path : a recording
    repeats : runs of each that count

    Returns
    -------
    dict of name to `Took`
    """
    with tempfile.TemporaryDirectory() as folder:
        table = str(Path(folder) / "table.csv")
        commands = {
            "python -m pianolab listen": ["-m", "pianolab", "listen", str(path), "--csv", table, "--replace"],
            "librosa: import, read, yin": ["-c", TRACKED, str(path), str(LOW_HZ), str(HIGH_HZ), str(FRAME)],
        }
        runs = [{name: _process(command) for name, command in commands.items()} for _ in range(repeats + 1)]
    return {
        name: Took(
            statistics.median(run[name].wall_s for run in runs[1:]),
            statistics.median(run[name].processor_s for run in runs[1:]),
        )
        for name in commands
    }


def _process(arguments: list[str]) -> Took:
    """One run of Python with these arguments; an exit code other than 0 is an error."""
    before, start = os.times(), time.perf_counter()
    subprocess.run([sys.executable, *arguments], check=True, capture_output=True)
    wall_s, after = time.perf_counter() - start, os.times()
    processor_s = after.children_user + after.children_system - before.children_user - before.children_system
    return Took(wall_s, processor_s)


def tell_processes(path: Path, *, repeats: int) -> None:
    """Prints both commands and their ratio."""
    took = whole_processes(path, repeats=repeats)
    for name, one in took.items():
        print(f"{name:30s} {one.wall_s:8.2f} s  {one.processor_s:8.2f} s of processor time")
    ours, theirs = took.values()
    print(
        f"whole command / whole librosa process: {ours.wall_s / theirs.wall_s:.2f} by the clock, "
        f"{ours.processor_s / theirs.processor_s:.2f} in processor time"
    )


def peak_mib(samples: NDArray[np.float32], rate_hz: int) -> float:
    """Memory of one `listen` over that of holding the samples, MiB."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "samples.npy"
        np.save(path, samples)
        peaks = [
            float(
                subprocess.run(
                    [sys.executable, "-c", PEAK, str(path), what, str(rate_hz)],
                    check=True,
                    capture_output=True,
                    text=True,
                ).stdout
            )
            for what in ("listen", "load")
        ]
    return peaks[0] - peaks[1]


def growth(
    samples: NDArray[np.float32], rate_hz: int, *, repeats: int, times: tuple[int, ...] = (1, 2, 4)
) -> dict[int, float]:
    """Seconds of listening to the same scale once, twice and four times in one recording."""
    from pianolab.acoustics import listen

    return {
        n: median_s(lambda n=n: listen(np.tile(samples, n), rate_hz=rate_hz), repeats=repeats)  # type: ignore[misc]
        for n in times
    }


def main(arguments: list[str] | None = None) -> int:
    """Command line."""
    parser = argparse.ArgumentParser(
        prog="python -m benchmarks.speed", description=(__doc__ or "").split("\n")[0]
    )
    parser.add_argument("--repeats", type=int, default=5)
    parser.add_argument(
        "--growth", action="store_true", help="also the scale twice and four times in one recording"
    )
    parser.add_argument("--file", type=Path, help="only the whole command, on this recording")
    given = parser.parse_args(arguments)
    if given.file:
        tell_processes(given.file, repeats=given.repeats)
        return 0
    from benchmarks.second_generator import build_scale
    from pianolab.io import write_sound

    scale = build_scale(1)
    seconds = scale.samples.size / scale.rate_hz
    print(f"{seconds:.1f} s of sound, {os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}")
    times = compared(scale.samples, scale.rate_hz, repeats=given.repeats)
    for name, took in times.items():
        share = times["listen"] / took
        print(
            f"{name:30s} {took:8.2f} s  {100 * took / seconds:6.2f} % of the length   listen / this {share:7.2f}"
        )
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "scale.flac"
        write_sound(path, scale.samples, rate_hz=scale.rate_hz)
        tell_processes(path, repeats=given.repeats)
    print(f"memory of listen over the samples: {peak_mib(scale.samples, scale.rate_hz):.0f} MiB")
    if given.growth:
        for n, took in growth(scale.samples, scale.rate_hz, repeats=min(given.repeats, 3)).items():
            print(
                f"{n} x: {n * seconds:7.1f} s of sound, {took:6.2f} s, {1000 * took / n / seconds:.1f} ms per s"
            )
    return 0


if __name__ == "__main__":
    sys.exit(main())
