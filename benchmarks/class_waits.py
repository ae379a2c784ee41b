"""How long pupils wait for the next task while five work at once on one machine.

::

    python -m benchmarks.class_waits [--pupils 5] [--tasks 6] [--listens 6]

Every pupil is a process of its own with a desk in one class, as kernels are. Each asks for a task with its sounds,
listens for some seconds, answers, reads for two, and goes on. Printed: the longest and the median wait for a task after
the first, in seconds and as a share of the time it takes to make one with nobody waiting. Goal: no wait over 1 s on two
cores that have nothing else to do.
"""

from __future__ import annotations

import argparse
import multiprocessing as mp
import tempfile
import time
from pathlib import Path

import numpy as np

from pianolab.classroom import make_class, make_drill, open_class, sitting

LESSON = "what ails a note"
READS_S = 2.0


def one_pupil(folder: str, name: str, tasks: int, listens_s: float) -> list[float]:
    """The waits of one pupil, s."""
    sat, waits = sitting(open_class(folder).desk(name), LESSON), []
    for _ in range(tasks):
        begin = time.perf_counter()
        view = sat.view()
        sat.sounds()
        waits.append(time.perf_counter() - begin)
        time.sleep(listens_s)
        sat.take(view["choices"][0])
        time.sleep(READS_S)
        sat.next()
    return waits


def main() -> None:
    """Print the waits."""
    parser = argparse.ArgumentParser(description="Waits for the next task.")
    parser.add_argument("--pupils", type=int, default=5)
    parser.add_argument("--tasks", type=int, default=6)
    parser.add_argument("--listens", type=float, default=6.0)
    given = parser.parse_args()
    make_drill("find the bad key", seed=1)
    begin = time.perf_counter()
    _ = make_drill("find the bad key", seed=2).truth.confirmed
    alone_s = time.perf_counter() - begin
    with tempfile.TemporaryDirectory() as place:
        folder = str(make_class(Path(place) / "class", name="waits", seed=4, same_set=False).folder)
        asked = [(folder, str(n), given.tasks, given.listens) for n in range(given.pupils)]
        with mp.get_context("spawn").Pool(given.pupils) as pool:
            waits = np.array(pool.starmap(one_pupil, asked))
    later = waits[:, 1:]
    print(
        f"first task: {waits[:, 0].max():.2f} s at most; later: median {np.median(later):.3f} s, longest {later.max():.2f} s"
    )
    print(
        f"making one with nobody waiting: {alone_s:.2f} s; longest wait is {later.max() / alone_s:.2f} of that"
    )


if __name__ == "__main__":
    main()
