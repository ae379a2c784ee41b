"""Adaptive difficulty: where to put the next task, and what is known of a listener's threshold.

`Ladder` is a Bayesian procedure for two-alternative tasks whose difference has a size: a grid over threshold, slope and
lapse rate, a psychometric function, and after each answer Bayes' rule [kontsevich1999]; slope and lapses are of no
interest and are summed over [prins2013]. Tasks are placed at the mean of the logarithm of the threshold [kingsmith1994],
and by turns above it: only what is easy tells how often somebody answers by mistake. `UpDown` is the transformed up-down
rule [levitt1971] for tasks that are only plain or fine.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pianolab.errors import BadInput
from pianolab.show import Row, Showable

FloatArray = NDArray[np.float64]
GRID, BEYOND = 61, 2.0
"""Steps of the grid; it goes so many times beyond the levels that can be asked, on either side."""

GUESS = 0.5
"""Chance of two alternatives."""

SLOPES = np.array([0.8, 1.2, 1.8, 2.7, 4.0, 6.0])
SLOPE_PRIOR = np.array([0.12, 0.19, 0.23, 0.22, 0.15, 0.09])
LAPSES = np.array([0.0, 0.02, 0.05, 0.1, 0.15, 0.2, 0.3])
LAPSE_PRIOR = np.array([0.2, 0.2, 0.2, 0.15, 0.12, 0.08, 0.05])
"""How steep the Weibull function over log level may be, how often an answer may be given by mistake, and how likely
each is before anything is answered [practice]."""

PLACES = (1.0, 1.0, 1.5, 1.0, 3.0)
"""Tasks lie at the threshold as it is known, by turns above it."""

PRIOR_WIDTH = 0.8
THRESHOLD_SHARE = GUESS + (1.0 - GUESS) * (1.0 - np.exp(-1.0))
"""Share of right answers at the threshold of a listener who makes no mistakes: 0.82."""

SPILL = 5.0
"""Where an end of the grid is more than one in so many times as likely as the likeliest place, no interval is stated."""

TAIL = 0.025


def share_right(
    level: ArrayLike, threshold: ArrayLike, *, slope: ArrayLike = 2.5, lapse: ArrayLike = 0.0
) -> FloatArray:
    """Share of right answers of a listener with that threshold, shapes broadcast: a Weibull function.

    Examples
    --------
    >>> share_right([0.0, 2.0, 1000.0], 2.0).round(2)
    array([0.5 , 0.82, 1.  ])
    >>> round(float(share_right(1000.0, 2.0, lapse=0.1)), 6)
    0.95
    """
    ratio = np.asarray(level, float) / np.asarray(threshold, float)
    heard = 1.0 - np.exp(-(ratio ** np.asarray(slope, float)))
    attentive = GUESS + (1.0 - GUESS) * heard
    return np.asarray((1.0 - np.asarray(lapse, float)) * attentive + np.asarray(lapse, float) * GUESS)


def two_figures(value: float | None) -> str:
    """A size in two figures, written out; that of nothing is not known.

    Examples
    --------
    >>> two_figures(4.27), two_figures(113.0)
    ('4.3', '110')
    """
    return "not known" if value is None else f"{float(f'{value:.2g}'):g}"


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
        return f"threshold {two_figures(self.value)} {self.unit} ({two_figures(self.low)} to {two_figures(self.high)}) from {self.answers} answers"

    def rows(self) -> list[Row]:
        note = (
            self.why_missing or f"95 %: {self.low:.3g} to {self.high:.3g}; {THRESHOLD_SHARE:.0%} right there"
        )
        return [("threshold", self.value, self.unit, note), ("answers", self.answers, "", "")]


@dataclass(frozen=True, eq=False)
class Ladder:
    """Thresholds on a log grid around the levels ``low`` to ``high``, how likely each is; `answered` gives the next one.

    ``log_weight`` has shape (thresholds, slopes, lapses), or (runs, …) for many listeners at once.

    Examples
    --------
    >>> ladder = Ladder.start(0.6, 12.0)
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
        places = -0.5 * (np.linspace(-1.0, 1.0, GRID) / PRIOR_WIDTH) ** 2
        prior = places[:, None, None] + np.log(SLOPE_PRIOR)[:, None] + np.log(LAPSE_PRIOR)
        return cls(low, high, prior if runs is None else np.tile(prior, (runs, 1, 1, 1)))

    @property
    def thresholds(self) -> FloatArray:
        """The grid, shape (thresholds,)."""
        return np.geomspace(self.low / BEYOND, self.high * BEYOND, GRID)

    @property
    def weight(self) -> FloatArray:
        """How likely each threshold is, whatever slope and lapses are; sums to 1."""
        w = np.exp(self.log_weight - self.log_weight.max(axis=(-3, -2, -1), keepdims=True)).sum(axis=(-2, -1))
        return np.asarray(w / w.sum(axis=-1, keepdims=True))

    def next_level(self) -> FloatArray:
        """Where to put the next task: the mean of the log threshold, or by turns above it."""
        middle = np.exp(self.weight @ np.log(self.thresholds))
        return np.asarray(np.clip(middle * PLACES[self.answers % len(PLACES)], self.low, self.high))

    def answered(self, level: ArrayLike, *, right: ArrayLike) -> Ladder:
        """What is known after an answer to a task of that level (arrays of shape (runs,) for many)."""
        grid = self.thresholds[:, None, None]
        at = np.asarray(level, float)[..., None, None, None]
        p = share_right(at, grid, slope=SLOPES[:, None], lapse=LAPSES)
        fits = np.where(np.asarray(right)[..., None, None, None], p, 1.0 - p)
        return replace(
            self, log_weight=self.log_weight + np.log(np.maximum(fits, 1e-9)), answers=self.answers + 1
        )

    def interval(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Lower end, middle and upper end of what is known, 95 %; each of shape () or (runs,)."""
        below = np.cumsum(self.weight, axis=-1)
        flat = below.reshape(-1, GRID)
        found = np.array([np.interp([TAIL, 0.5, 1.0 - TAIL], row, self.thresholds) for row in flat])
        low, middle, high = found.T.reshape(3, *below.shape[:-1])
        return low, middle, high

    def result(self, unit: str, *, least: int = 12) -> Threshold:
        """The threshold with its interval, or why it is not known yet."""
        if self.answers < least:
            return self._unknown(unit, f"{self.answers} answers, {least} are needed")
        low, middle, high = (float(v) for v in self.interval())
        if not self.stated() or not self.low <= middle <= self.high:
            return self._unknown(unit, self._beyond(unit, low, middle, high))
        return Threshold(value=middle, low=low, high=high, unit=unit, answers=self.answers)

    def stated(self) -> NDArray[np.bool_]:
        """Whether the ends of the grid are unlikely enough for an interval; shape () or (runs,)."""
        ends = np.maximum(self.weight[..., 0], self.weight[..., -1])
        return np.asarray(ends * SPILL <= self.weight.max(axis=-1))

    def _beyond(self, unit: str, low: float, middle: float, high: float) -> str:
        """What is known all the same where an end of the levels isn't left behind: on one side it is a bound."""
        if middle < self.low:
            return f"finer than the levels that were asked, from {self.low:g} {unit}: under {two_figures(high)} {unit}"
        if middle > self.high:
            return f"it lies beyond the levels that were asked, up to {self.high:g} {unit}: over {two_figures(low)} {unit}"
        return f"{self.answers} answers don't tell it yet: {two_figures(low)} to {two_figures(high)} {unit}"

    def _unknown(self, unit: str, why: str) -> Threshold:
        return Threshold(value=None, low=None, high=None, unit=unit, answers=self.answers, why_missing=why)


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
