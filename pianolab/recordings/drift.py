"""The smooth drift of a whole instrument between two recordings, and what it predicts for a key from the others.

The weather moves all strings along a smooth line over the keys, most in the tenor, and by another amount on the
bass bridge than on the long one, so that the line may have a step where the bass bridge ends [practice]. A
recorder's clock, another pitch standard or a piano pulled up as a whole only lift the line.

The line is a second-order random walk over the keys plus one step where the evidence asks for it; how stiff it is,
where the step lies, and whether there is one are chosen by the marginal likelihood of the differences. A key is
judged by what the *other* keys predict for it, so a key that went its own way can't hide in its own curve; the
prediction's own uncertainty (larger at the ends and beside gaps) comes with it.

Limits: a stretch of neighbouring keys that moved together over more than about ten keys looks like weather.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pianolab.units import FloatArray

BENDS_CENTS = (0.0003, 0.001, 0.003, 0.006, 0.012, 0.025)
"""Second differences the line may have from key to key; the best is taken. More would follow single keys."""
STEP_FROM_KEY, STEP_TO_KEY = 18, 38
STEP_CENTS = 3.0
STEP_EVIDENCE = 8.0
"""Natural logarithm of the likelihood ratio a step must gain, over the many places it could lie."""
STEP_KEYS = 4
"""So many keys on either side of a step must speak for it."""
LOOSE = 1e-6


@dataclass(frozen=True)
class Drift:
    """``line``: through all keys; ``others``, ``others_sd``: what the other keys predict for each; cents.

    ``step_key`` is the last key below the step, None without one; ``bend_cents`` how much the line bends.
    """

    line: FloatArray
    others: FloatArray
    others_sd: FloatArray
    step_key: int | None
    bend_cents: float


def find_drift(
    change_cents: FloatArray, sd_cents: FloatArray, *, weight: FloatArray, first_key: int
) -> Drift:
    """The smooth line through the changes of neighbouring keys.

    Parameters
    ----------
    change_cents : shape (keys,), one per key of an unbroken range, NaN where unknown
    sd_cents : same shape; repeat error of one change
    weight : same shape, 0 to 1; how far a key takes part
    first_key : int; the first key of the range

    Returns
    -------
    Drift

    Examples
    --------
    >>> change = np.full(30, 0.1) + 0.02 * np.arange(30)
    >>> drift = find_drift(change, np.full(30, 0.05), weight=np.ones(30), first_key=30)
    >>> bool(np.max(np.abs(drift.line - change)) < 0.01), drift.step_key
    (True, None)
    """
    known = ~np.isnan(change_cents)
    y = np.nan_to_num(change_cents)
    precision = np.where(known, np.maximum(weight, LOOSE) / sd_cents**2, 0.0)
    plain = max((_fit(y, precision, None, bend) for bend in BENDS_CENTS), key=lambda fit: fit.evidence)
    steps = [
        _fit(y, precision, at, plain.bend)
        for at in range(len(y) - 1)
        if STEP_FROM_KEY <= at + first_key < STEP_TO_KEY and _least_on_a_side(known, at) > 0
    ]
    # Where few keys speak on one side, as well those went their own way: no other place near by may stand in for it.
    best = max(steps, key=lambda fit: fit.evidence, default=plain)
    told = best.step is not None and _least_on_a_side(known, best.step) >= STEP_KEYS
    if told and best.evidence > plain.evidence + STEP_EVIDENCE:
        stepped = [_fit(y, precision, best.step, bend) for bend in BENDS_CENTS]
        plain = max(stepped, key=lambda fit: fit.evidence)
    others, others_sd = _without_own(y, precision, plain)
    step = None if plain.step is None else plain.step + first_key
    return Drift(plain.line, others, others_sd, step, plain.bend)


def _least_on_a_side(known: NDArray[np.bool_], at: int) -> int:
    """How many keys are known below a step or above it, whichever are fewer."""
    return int(min(known[: at + 1].sum(), known[at + 1 :].sum()))


@dataclass(frozen=True)
class _Fit:
    line: FloatArray
    variance: FloatArray
    evidence: float
    step: int | None
    bend: float


def _fit(y: FloatArray, precision: FloatArray, step: int | None, bend: float) -> _Fit:
    """Posterior of the line, and the log likelihood of the data up to a constant of its own."""
    count = len(y)
    second = np.diff(np.eye(count), n=2, axis=0) / bend
    prior = np.zeros((count + 1, count + 1))
    prior[:count, :count] = second.T @ second
    prior[count, count] = 1.0 / STEP_CENTS**2
    basis = np.concatenate([np.eye(count), _steps(count, step)[:, None]], axis=1)
    whole = prior + basis.T @ (precision[:, None] * basis) + 1e-9 * np.eye(count + 1)
    covariance = np.linalg.inv(whole)
    answer = covariance @ (basis.T @ (precision * y))
    line = basis @ answer
    misfit = float(np.sum(precision * (y - line) ** 2) + answer @ prior @ answer)
    scale = -(count - 2) * np.log(bend) - np.log(STEP_CENTS)
    evidence = scale - 0.5 * float(np.linalg.slogdet(whole)[1]) - 0.5 * misfit
    variance = np.einsum("ij,jk,ik->i", basis, covariance, basis)
    return _Fit(line, variance, evidence, step, bend)


def _steps(count: int, step: int | None) -> FloatArray:
    """1 up to the step, else 0; all 0 without one (its size then keeps its prior, which costs nothing)."""
    return np.zeros(count) if step is None else (np.arange(count) <= step).astype(float)


def _without_own(y: FloatArray, precision: FloatArray, fit: _Fit) -> tuple[FloatArray, FloatArray]:
    """Mean and standard deviation of the line at each key with that key's own value left out."""
    left = 1.0 / fit.variance - precision
    variance = 1.0 / np.maximum(left, 1e-9)
    return variance * (fit.line / fit.variance - precision * y), np.sqrt(variance)
