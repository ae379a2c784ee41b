"""How well pitch could be measured at best: the Cramér-Rao bound of decaying partials in white noise.

Model: partial n is A_n exp(-d_n t) cos(2 pi f_n t + phase), observed at the rate r for T seconds in white noise of
variance s2. With unknown frequency, decay, amplitude and phase the Fisher information of one partial is
``F_ij = (1 / s2) sum_k (ds/dp_i)(ds/dp_j)``; far from 0 Hz and from each other, the partials' information is
block-diagonal, and the sums over the fast phase average out. For d = 0 this is the bound of D. C. Rife and
R. R. Boorstyn, Single-tone parameter estimation from discrete-time observations, IEEE Trans. Inf. Theory 20(5),
591-598 (1974): var(omega) = 12 s2 / (A^2 k^2 N (N^2 - 1)) for a complex tone in noise of variance s2 in each part, k
the time between samples, and twice that for a real tone (from memory). Y.-X. Yao and S. M. Pandit treat the damped one (IEEE Trans. SP 43(4), 878-885, 1995, from
memory); here it is worked out directly and held against a simulation (`tests/benchmarks/test_bounds.py`).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
CENTS_PER_NEPER = 1200.0 / np.log(2.0)


def frequency_sd_hz(
    amplitude: Floats, decay_per_s: Floats, *, noise_sd: float, rate_hz: float, seconds: float
) -> Floats:
    """Least standard deviation of each partial's frequency, Hz; shape of ``amplitude``.

    The phase-like parameters (frequency, phase) separate from the level-like ones (decay, amplitude), so that
    only the 2 by 2 block of frequency and phase is needed.

    Examples
    --------
    >>> sd = frequency_sd_hz(np.array([1.0]), np.array([0.0]), noise_sd=0.1, rate_hz=1000.0, seconds=1.0)
    >>> rife = np.sqrt(24 * 0.1**2 / (1000 * (1000**2 - 1))) * 1000 / (2 * np.pi)
    >>> bool(abs(sd[0] / rife - 1) < 1e-3)
    True
    """
    t = np.arange(round(seconds * rate_hz)) / rate_hz
    weight = np.exp(-2.0 * np.asarray(decay_per_s)[..., None] * t)
    s0, s1, s2 = (np.sum(weight * t**power, axis=-1) for power in (0, 1, 2))
    information = np.asarray(amplitude) ** 2 / (2.0 * noise_sd**2) * (2.0 * np.pi) ** 2 * (s2 - s1**2 / s0)
    return np.asarray(1.0 / np.sqrt(information))


def first_partial_sd_cents(f_hz: Floats, inharmonicity: float, sd_hz: Floats) -> float:
    """Least standard deviation of partial 1 in cents when all partials lie on one stiff series.

    Parameters
    ----------
    f_hz : partials 1, 2, ... as far as they are there
    inharmonicity : B of the string, unknown to whoever measures
    sd_hz : least standard deviation of each partial alone

    Examples
    --------
    >>> f, sd = np.array([100.0, 200.0]), np.array([1.0, 1.0])
    >>> alone = 1.0 / 100.0 * CENTS_PER_NEPER
    >>> bool(first_partial_sd_cents(f, 0.0, sd) <= alone)
    True
    """
    n = np.arange(1, len(f_hz) + 1)
    relative_sd = sd_hz / f_hz
    if len(n) == 1:
        return float(CENTS_PER_NEPER * relative_sd[0])
    # ln f_n = ln f_1 + (ln(1 + B n^2) - ln(1 + B)) / 2: its derivatives by ln f_1 and by B.
    by_b = 0.5 * (n**2 / (1 + inharmonicity * n**2) - 1 / (1 + inharmonicity))
    gradient = np.stack([np.ones(len(n)), by_b])
    information = (gradient / relative_sd**2) @ gradient.T
    # B is bounded below by physics only, so nothing is known of it beforehand.
    scale = np.sqrt(np.diag(information))
    covariance = np.linalg.inv(information / np.outer(scale, scale)) / np.outer(scale, scale)
    return float(CENTS_PER_NEPER * np.sqrt(covariance[0, 0]))
