"""Adaptive difficulty: where to put the next task, and what is known of a listener's threshold.

`Ladder` is a Bayesian maximum-likelihood procedure for two-alternative tasks whose difference has a size
[watsonpelli1983], placed at the mean of what is known [kingsmith1994]: a grid of thresholds, a
psychometric function of fixed slope, and after each answer Bayes' rule. `UpDown` is the transformed
up-down rule [levitt1971] for tasks that are only plain or fine.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pianolab.errors import BadInput
from pianolab.show import Row, Showable

GRID = 161
GUESS, LAPSE, SLOPE = 0.5, 0.03, 2.5
"""Chance of two alternatives; answers given by mistake; steepness of the Weibull function over log level."""

THRESHOLD_SHARE = GUESS + (1.0 - GUESS - LAPSE) * (1.0 - np.exp(-1.0))
"""Share of right answers at the threshold: 0.80."""

EDGE = 0.12
"""So near an end of the levels, in logarithms, the middle of what is known lies where the threshold is beyond them."""

FloatArray = NDArray[np.float64]


def share_right(level: ArrayLike, threshold: ArrayLike, *, slope: float = SLOPE) -> FloatArray:
    """Share of right answers of a listener with that threshold, shapes broadcast: a Weibull function.

    Examples
    --------
    >>> share_right([0.0, 2.0, 1000.0], 2.0).round(2)
    array([0.5 , 0.8 , 0.97])
    """
    ratio = np.asarray(level, float) / np.asarray(threshold, float)
    return np.asarray(GUESS + (1.0 - GUESS - LAPSE) * (1.0 - np.exp(-(ratio**slope))))


@dataclass(frozen=True, kw_only=True, repr=False)
class Threshold(Showable):
    """What is known of a threshold: the middle and a 95 % interval; None where too little was answered."""

    value: float | None
    low: float | None
    high: float | None
    unit: str
    answers: int
    why_missing: str = ""

    def headline(self) -> str:
        if self.value is None:
            return f"threshold not known: {self.why_missing}"
        return f"threshold {self.value:.2g} {self.unit} ({self.low:.2g} to {self.high:.2g}) from {self.answers} answers"

    def rows(self) -> list[Row]:
        note = (
            self.why_missing or f"95 %: {self.low:.3g} to {self.high:.3g}; {THRESHOLD_SHARE:.0%} right there"
        )
        return [("threshold", self.value, self.unit, note), ("answers", self.answers, "", "")]


@dataclass(frozen=True, eq=False)
class Ladder:
    """Thresholds on a log grid from ``low`` to ``high`` and how likely each is; `answered` gives the next one.

    ``log_weight`` has shape (grid,), or (runs, grid) for many listeners at once.

    Examples
    --------
    >>> ladder = Ladder.start(0.3, 12.0)
    >>> better = ladder.answered(ladder.next_level(), right=True)
    >>> bool(better.next_level() < ladder.next_level())
    True
    """

    low: float
    high: float
    log_weight: FloatArray
    answers: int = 0

    @classmethod
    def start(cls, low: float, high: float, *, runs: int | None = None) -> Ladder:
        """Nothing answered yet: a broad prior over the middle of the range.

        Raises
        ------
        BadInput : no range of positive levels
        """
        if not 0.0 < low < high:
            raise BadInput("levels", f"{low} to {high}", "two positive levels, the lower first")
        places = np.linspace(-1.0, 1.0, GRID)
        prior = np.asarray(-0.5 * (places / 0.6) ** 2)
        return cls(low, high, prior if runs is None else np.tile(prior, (runs, 1)))

    @property
    def thresholds(self) -> FloatArray:
        """The grid, shape (grid,)."""
        return np.geomspace(self.low, self.high, GRID)

    @property
    def weight(self) -> FloatArray:
        """How likely each threshold is; sums to 1."""
        w = np.exp(self.log_weight - self.log_weight.max(axis=-1, keepdims=True))
        return np.asarray(w / w.sum(axis=-1, keepdims=True))

    def next_level(self) -> FloatArray:
        """Where to put the next task: the mean of the log threshold."""
        return np.asarray(np.exp(self.weight @ np.log(self.thresholds)))

    def answered(self, level: ArrayLike, *, right: ArrayLike) -> Ladder:
        """What is known after an answer to a task of that level (arrays of shape (runs,) for many)."""
        p = share_right(np.asarray(level, float)[..., None], self.thresholds)
        fits = np.where(np.asarray(right)[..., None], p, 1.0 - p)
        return replace(self, log_weight=self.log_weight + np.log(fits), answers=self.answers + 1)

    def result(self, unit: str, *, least: int = 12) -> Threshold:
        """The threshold with its interval, or why it is not known yet."""
        if self.answers < least:
            why = f"{self.answers} answers, {least} are needed"
            return Threshold(
                value=None, low=None, high=None, unit=unit, answers=self.answers, why_missing=why
            )
        low, middle, high = np.interp([0.025, 0.5, 0.975], np.cumsum(self.weight), self.thresholds)
        spill = self.weight[0] * 20.0 > self.weight.max() or self.weight[-1] * 20.0 > self.weight.max()
        if spill:
            place = np.log(middle / self.low) / np.log(self.high / self.low)
            why = f"{self.answers} answers don't tell it yet"
            if not EDGE < place < 1.0 - EDGE:
                why = f"it lies beyond the levels that were asked, {self.low:g} to {self.high:g} {unit}"
            return Threshold(
                value=None, low=None, high=None, unit=unit, answers=self.answers, why_missing=why
            )
        return Threshold(
            value=float(middle), low=float(low), high=float(high), unit=unit, answers=self.answers
        )


@dataclass(frozen=True)
class UpDown:
    """Two right answers make it finer, one wrong answer plainer: settles where 71 % are right [levitt1971].

    Examples
    --------
    >>> UpDown(hardness=0.4).answered(True).answered(True).hardness
    0.5
    >>> UpDown(hardness=0.4).answered(False).hardness
    0.3
    """

    hardness: float = 0.2
    in_a_row: int = 0
    step: float = 0.1

    def answered(self, right: bool) -> UpDown:
        """The rule after one more answer."""
        if not right:
            return replace(self, hardness=round(max(0.0, self.hardness - self.step), 6), in_a_row=0)
        if self.in_a_row + 1 < 2:
            return replace(self, in_a_row=self.in_a_row + 1)
        return replace(self, hardness=round(min(1.0, self.hardness + self.step), 6), in_a_row=0)
