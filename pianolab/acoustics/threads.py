"""Independent pieces of one recording, worked on at once on the machine's cores.

The heavy steps are transforms and small matrices of NumPy and SciPy, which let other threads run meanwhile. Whole
recordings side by side are `pianolab.workflow.many`.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

Piece = TypeVar("Piece")
Result = TypeVar("Result")
MOST_THREADS = 4
"""More gain little here and cost memory: every thread holds a batch of spectra."""


def cores() -> int:
    """How many processor cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def at_once(call: Callable[[Piece], Result], pieces: Iterable[Piece]) -> list[Result]:
    """The results of ``call`` for each piece, in order; an error in one of them is raised here.

    Examples
    --------
    >>> at_once(abs, [-1, 2, -3])
    [1, 2, 3]
    """
    pieces, count = list(pieces), min(MOST_THREADS, cores())
    if len(pieces) < 2 or count < 2:
        return [call(piece) for piece in pieces]
    with ThreadPoolExecutor(count) as pool:
        return list(pool.map(call, pieces))


def runs(count: int, *, most: int) -> list[NDArray[np.int64]]:
    """Row numbers in runs of at most so many, two runs at least.

    Examples
    --------
    >>> [len(rows) for rows in runs(5, most=2)]
    [2, 2, 1]
    """
    parts = max(2, -(-count // most))
    return [rows for rows in np.array_split(np.arange(count), parts) if len(rows)]
