"""The strikes that are measured, one per key, and batches of them that fit into memory side by side."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pianolab.units import FloatArray

LONGEST_S = 6.0


@dataclass(frozen=True)
class Strikes:
    """The strikes that are measured, one per key: ``onset_s``, ``next_s`` (when something else begins)."""

    key: NDArray[np.int64]
    onset_s: FloatArray
    next_s: FloatArray
    f1_hz: FloatArray
    b_factor: FloatArray

    @property
    def interval_s(self) -> FloatArray:
        return self.next_s - self.onset_s

    def pick(self, rows: NDArray[np.int64]) -> Strikes:
        return Strikes(
            self.key[rows], self.onset_s[rows], self.next_s[rows], self.f1_hz[rows], self.b_factor[rows]
        )


def batches(strikes: Strikes, *, most: int = 24) -> Iterator[NDArray[np.int64]]:
    """Rows of neighbouring keys with about the same length, few enough to keep memory small."""
    length = np.minimum(strikes.interval_s, LONGEST_S)
    octave = np.ceil(np.log2(np.maximum(length, 0.25)) * 2).astype(int)
    order = np.lexsort((strikes.key, octave))
    start = 0
    for i in range(1, len(order) + 1):
        full = i - start >= most
        if i == len(order) or full or octave[order[i]] != octave[order[start]]:
            yield order[start:i]
            start = i
