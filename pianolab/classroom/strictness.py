"""Who is strict, who is mild, who is sure: one additive model of all grades of a class.

A grade is what a pupil feels, rounded to the scale: ``felt = instrument + pupil's shift + noise``, cut off at
1 and 5. Shifts are drawn towards 0 and scatters towards the class's own (empirical Bayes), so that a pupil who
graded little is not called strict by chance. Fitted by expectation and maximisation over the rounded values,
with mixed-model equations in each step [henderson1975].
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import chi2, norm

from pianolab.errors import BadInput
from pianolab.model.records import GRADE_BEST, GRADE_WORST

FloatArray = NDArray[np.float64]
STEPS, ENOUGH = 300, 1e-4
PRIOR_ANSWERS = 2.0
"""How many answers the class's own scatter is worth against a pupil's."""

Z95 = float(norm.ppf(0.975))


@dataclass(frozen=True, kw_only=True, eq=False)
class FittedGrades:
    """Shifts (in grades; below 0 strict) and scatters of pupils, and where the class puts each exhibit.

    ``shift``, ``shift_sd``, ``scatter``, ``scatter_low``, ``scatter_high`` have shape (pupils,), ``exhibit`` and
    ``exhibit_sd`` shape (exhibits,). Shifts count from the class's own middle.
    """

    shift: FloatArray
    shift_sd: FloatArray
    scatter: FloatArray
    scatter_low: FloatArray
    scatter_high: FloatArray
    exhibit: FloatArray
    exhibit_sd: FloatArray

    def shift_interval(self) -> FloatArray:
        """95 % interval of each shift, shape (pupils, 2)."""
        return np.stack([self.shift - Z95 * self.shift_sd, self.shift + Z95 * self.shift_sd], axis=1)


def fit_grades(grades: FloatArray) -> FittedGrades:
    """Fit the model to a table of grades.

    Parameters
    ----------
    grades : array, shape (pupils, exhibits); 1 to 5, NaN where a pupil didn't grade

    Raises
    ------
    BadInput : fewer than two pupils or exhibits, a pupil or exhibit without a grade, a grade off the scale

    Examples
    --------
    >>> mild = fit_grades(np.array([[4, 3, 2, 4, 3.0], [4, 3, 2, 4, 3], [5, 4, 3, 5, 4]]))
    >>> [bool(s > 0.1) for s in mild.shift]
    [False, False, True]
    """
    table = np.asarray(grades, float)
    _check(table)
    pupil, item = np.nonzero(np.isfinite(table))
    given = table[pupil, item]
    pupils, items = table.shape
    exhibit, shift = np.nanmean(table, axis=0), np.zeros(pupils)
    scatter2, spread2 = np.full(pupils, 0.5), 0.2
    sizes = np.bincount(pupil, minlength=pupils).astype(float)
    for _ in range(STEPS):
        middle = exhibit[item] + shift[pupil]
        felt, left = felt_given(given, middle, np.sqrt(scatter2[pupil]))
        before = shift
        exhibit, shift, of_shift = _mixed(
            felt, pupil, item, shape=(pupils, items), noise2=scatter2, spread2=spread2
        )
        off = (felt - exhibit[item] - shift[pupil]) ** 2 + left
        by_pupil = np.bincount(pupil, off, minlength=pupils)
        # One exhibit is fitted from all pupils: each loses its share of the free answers.
        free = sizes - items / pupils * sizes / sizes.mean()
        common = float(by_pupil.sum() / free.sum())
        scatter2 = (by_pupil + PRIOR_ANSWERS * common) / (free + PRIOR_ANSWERS)
        spread2 = max(float(np.mean(shift**2) + np.mean(of_shift)), 1e-3)
        if np.max(np.abs(shift - before)) < ENOUGH:
            break
    return _stated(
        given, pupil, item, exhibit=exhibit, shift=shift, scatter2=scatter2, spread2=spread2, free=free
    )


def felt_given(given: FloatArray, middle: FloatArray, sd: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Mean and variance of what was felt, given the rounded grade: a normal distribution cut at its edges.

    Examples
    --------
    >>> felt, left = felt_given(np.array([5.0]), np.array([3.0]), np.array([1.0]))
    >>> bool(felt[0] > 4.5), bool(0 < left[0] < 1)
    (True, True)
    """
    low = np.where(given <= GRADE_WORST, -np.inf, (given - 0.5 - middle) / sd)
    high = np.where(given >= GRADE_BEST, np.inf, (given + 0.5 - middle) / sd)
    # Far out both tails vanish: there the edge itself is what was felt.
    mass = np.maximum(norm.cdf(high) - norm.cdf(low), 1e-12)
    at_low, at_high = norm.pdf(low), norm.pdf(high)
    edge_low = np.where(np.isfinite(low), low, 0.0) * at_low
    edge_high = np.where(np.isfinite(high), high, 0.0) * at_high
    mean = np.clip((at_low - at_high) / mass, np.maximum(low, -8.0), np.minimum(high, 8.0))
    variance = np.clip(1.0 + (edge_low - edge_high) / mass - mean**2, 1e-3, 1.0)
    return middle + sd * mean, sd**2 * variance


def _mixed(
    felt: FloatArray,
    pupil: NDArray[np.intp],
    item: NDArray[np.intp],
    *,
    shape: tuple[int, int],
    noise2: FloatArray,
    spread2: float,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Exhibits (free), shifts (drawn to 0) and the variance of each shift, for known variances."""
    left, right = _equations(pupil, item, 1.0 / noise2[pupil], felt, shape=shape)
    pupils, items = shape
    left[range(items, items + pupils), range(items, items + pupils)] += 1.0 / spread2
    found: FloatArray = np.asarray(np.linalg.solve(left, right), float)
    variance: FloatArray = np.asarray(np.diag(np.linalg.inv(left)), float)
    return found[:items], found[items:], variance[items:]


def _equations(
    pupil: NDArray[np.intp],
    item: NDArray[np.intp],
    weight: FloatArray,
    felt: FloatArray,
    *,
    shape: tuple[int, int],
) -> tuple[FloatArray, FloatArray]:
    pupils, items = shape
    design = np.zeros((pupil.size, items + pupils))
    design[np.arange(pupil.size), item] = 1.0
    design[np.arange(pupil.size), items + pupil] = 1.0
    return design.T @ (weight[:, None] * design), design.T @ (weight * felt)


def _stated(
    given: FloatArray,
    pupil: NDArray[np.intp],
    item: NDArray[np.intp],
    *,
    exhibit: FloatArray,
    shift: FloatArray,
    scatter2: FloatArray,
    spread2: float,
    free: FloatArray,
) -> FittedGrades:
    """The intervals: what rounding and the ends of the scale hide makes them wider."""
    pupils, items = shift.size, exhibit.size
    _, left = felt_given(given, exhibit[item] + shift[pupil], np.sqrt(scatter2[pupil]))
    known = np.maximum(1.0 - left / scatter2[pupil], 0.02)
    matrix, _ = _equations(pupil, item, known / scatter2[pupil], given, shape=(pupils, items))
    matrix[range(items, items + pupils), range(items, items + pupils)] += 1.0 / spread2
    cover = np.linalg.inv(matrix)
    # Shifts count from the class's middle: what all share is no uncertainty of one.
    among = np.eye(pupils) - 1.0 / pupils
    shift_sd = np.sqrt(np.diag(among @ cover[items:, items:] @ among))
    seen = (
        np.bincount(pupil, known**2, minlength=pupils) * free / np.bincount(pupil, minlength=pupils)
        + PRIOR_ANSWERS
    )
    scatter = np.sqrt(scatter2)
    return FittedGrades(
        shift=shift - shift.mean(),
        shift_sd=shift_sd,
        scatter=scatter,
        scatter_low=scatter * np.sqrt(seen / chi2.ppf(0.975, seen)),
        scatter_high=scatter * np.sqrt(seen / chi2.ppf(0.025, seen)),
        exhibit=exhibit + shift.mean(),
        exhibit_sd=np.sqrt(np.diag(cover)[:items]),
    )


def _check(table: FloatArray) -> None:
    if table.ndim != 2 or min(table.shape) < 2:
        raise BadInput("grades", f"a table of shape {table.shape}", "two pupils and two exhibits at least")
    there = np.isfinite(table)
    if not (there.any(axis=0).all() and there.any(axis=1).all()):
        raise BadInput("grades", "a pupil or an exhibit without any grade", "one grade at least of each")
    if np.any((table[there] < GRADE_WORST) | (table[there] > GRADE_BEST)):
        raise BadInput("grades", "a grade off the scale", f"{GRADE_WORST} to {GRADE_BEST}")
