"""Stiff strings by finite differences: exact frequencies of the scheme, and the time loop.

One string is a row of N + 1 grid points, hinged at point 0, and at point N held by the bridge. With D the negative
second difference the explicit scheme for the displacement u is

    u[t+1] - 2 u[t] + u[t-1] = -(a D + b D**2 + c D**3) u[t] - g (u[t+1] - u[t-1]) - e D (u[t] - u[t-1])

Three free numbers a (tension), b (stiffness), c (a correction of the grid's own dispersion) put three partials
exactly where the design wants them; g is a constant loss, e a loss that grows with the square of frequency.
With the bridge at rest the shapes sin(n pi l / N) are exact and D is s = 4 sin(n pi / 2 N)**2 for them, so every
partial follows from one quadratic equation (`partials`): that is the truth, to rounding. `tests/benchmarks` checks
it on a long run of one string.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numba
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
BAND_HZ = 14000.0
PAD = 3
QUIET = 3e-5


@dataclass(frozen=True, kw_only=True)
class Grid:
    """One string ready for the loop: n intervals, time step k_s, and the scheme's numbers."""

    n: int
    k_s: float
    a: float
    b: float
    c: float
    e: float
    g: float


def steps(mode: Any, n: int) -> Any:
    """The second difference of mode shapes: 4 sin(mode pi / 2 n)**2."""
    return 4.0 * np.sin(np.asarray(mode, dtype=float) * np.pi / (2 * n)) ** 2


def stiff_series(f1_hz: float, inharmonicity: float, mode: Any) -> Any:
    """Partials of the design: n f0 sqrt(1 + B n**2) with the first at f1_hz."""
    m = np.asarray(mode, dtype=float)
    return f1_hz * m * np.sqrt((1 + inharmonicity * m**2) / (1 + inharmonicity))


def fit_grid(
    f1_hz: float, inharmonicity: float, *, k_s: float, loss_per_s: float, loss_per_hz2: float
) -> Grid:
    """The finest stable grid whose lossless partials lie on the design's series at three places in the band."""
    inside = int(np.sum(stiff_series(f1_hz, inharmonicity, np.arange(1, 200)) < BAND_HZ))
    high = min(max(inside, 3), 20)
    chosen = np.array([1.0, float(round(0.3 + 0.62 * high)), float(high)])
    f = stiff_series(f1_hz, inharmonicity, chosen)
    wanted = 2 - 2 * np.cos(2 * np.pi * f * k_s)
    low_n, high_n = 2 * high, 600
    best: Grid | None = None
    while low_n <= high_n:
        n = (low_n + high_n) // 2
        s = steps(chosen, n)
        a, b, c = np.linalg.solve(s[:, None] ** np.array([1.0, 2.0, 3.0]), wanted)
        e = 2 * loss_per_hz2 * f1_hz**2 * k_s / s[0]
        every = steps(np.arange(1, n + 1), n)
        total = a * every + b * every**2 + c * every**3
        if np.all(total > 0) and np.all(total + 2 * e * every < 3.7):
            best = Grid(n=n, k_s=k_s, a=float(a), b=float(b), c=float(c), e=float(e), g=loss_per_s * k_s)
            low_n = n + 1
        else:
            high_n = n - 1
    if best is None:
        raise ValueError(f"no stable grid for {f1_hz} Hz at {1 / k_s} Hz")
    return best


def retuned(grid: Grid, f1_hz: float) -> Grid:
    """The same string at another tension, so that the damped scheme's partial 1 lies at f1_hz."""
    s = float(steps(1, grid.n))
    for _ in range(5):
        f, _rate = partials(grid, np.array([1.0]))
        have, want = 2 - 2 * np.cos(2 * np.pi * np.array([f[0], f1_hz]) * grid.k_s)
        grid = replace(grid, a=grid.a + (want - have) / s)
    return grid


def partials(grid: Grid, mode: Any) -> tuple[Floats, Floats]:
    """Frequencies in Hz and amplitude decay rates in 1/s of the string with its bridge at rest."""
    s = steps(mode, grid.n)
    lead, last = 1 + grid.g, 1 - grid.g - grid.e * s
    mid = 2 - grid.a * s - grid.b * s**2 - grid.c * s**3 - grid.e * s
    root = (mid + np.sqrt((mid**2 - 4 * lead * last).astype(complex))) / (2 * lead)
    return np.abs(np.angle(root)) / (2 * np.pi * grid.k_s), -np.log(np.abs(root)) / grid.k_s


def fitted_inharmonicity(f_hz: Floats, mode: Floats) -> float:
    """B of a set of partials: (f/n)**2 is a straight line over n**2."""
    slope, start = np.polyfit(mode**2, (f_hz / mode) ** 2, 1)
    return float(slope / start)


@numba.njit(cache=True, fastmath=True, inline="always")
def _losses(scheme: Floats, damper: Floats, share: float, before: Floats, after: Floats) -> None:
    """The factors of the step before and of the step itself, with that share of the damper on the strings."""
    for i in range(scheme.shape[0]):
        after[i] = 1.0 / (1.0 + scheme[i, 4] + share * damper)
        before[i] = (1.0 - scheme[i, 4] - scheme[i, 3] * 2.0 - share * damper) * after[i]


@numba.njit(cache=True, fastmath=True, inline="always")
def _felt_forces(
    y: float,
    u: Floats,
    touched: NDArray[np.int64],
    shape: Floats,
    hammer: Floats,
    lag: Floats,
    strings: tuple[Floats, NDArray[np.int64], Floats],
) -> float:
    """Sets the force on each string, the last of ``strings`` (blow, parent, force); gives the force on the hammer."""
    blow, parent, force = strings
    total = 0.0
    for i in range(force.size):
        force[i] = 0.0
        if parent[i] == i:
            under = 0.0
            for h in touched:
                under += shape[h] * u[i, PAD + h]
            felt = y - lag[i] - under
            if felt > 0.0:
                force[i] = blow[i] * hammer[0] * felt ** hammer[1]
                total += force[i]
    for i in range(force.size):
        if parent[i] != i:
            force[i] = blow[i] * force[parent[i]]
    return total


@numba.njit(cache=True, fastmath=True, inline="always")
def _step_string(
    scheme: Floats, end: float, before: Floats, after: Floats, lines: tuple[Floats, Floats, Floats]
) -> float:
    """One string a step on, ``lines`` being now, before and next; gives its pull on the bridge per mass and coupling."""
    v, w, z = lines
    points = before.size
    first, last = PAD, PAD + points - 1
    a, b, c, e = scheme[0], scheme[1], scheme[2], scheme[3]
    v[last] = end
    for x in range(1, PAD + 1):
        v[first - x] = -v[first + x]
        v[last + x] = 2.0 * end - v[last - x]
    c0, c1 = 2.0 - 2.0 * (a + e) - 6.0 * b - 20.0 * c, a + e + 4.0 * b + 15.0 * c
    c2, c3 = -b - 6.0 * c, c
    for x in range(1, points - 1):
        m = x + PAD
        here = (
            c0 * v[m] + c1 * (v[m - 1] + v[m + 1]) + c2 * (v[m - 2] + v[m + 2]) + c3 * (v[m - 3] + v[m + 3])
        )
        z[m] = (here - e * (w[m - 1] + w[m + 1])) * after[x] - before[x] * w[m]
    bend = 2.0 * v[last - 1] - v[last - 2] - end
    bend2 = 2.0 * bend - (2.0 * v[last - 2] - v[last - 3] - v[last - 1])
    return a * (v[last - 1] - end) + b * bend + c * bend2


@numba.njit(cache=True, fastmath=True, inline="always")
def _step_board(
    pull: float, q: Floats, q_old: Floats, board: Floats, phi: Floats, radiation: Floats
) -> tuple[float, float]:
    """The board's modes a step on under the strings' pull; gives its sound at two places."""
    left, right = 0.0, 0.0
    for j in range(phi.size):
        q_new = board[0, j] * q[j] - board[1, j] * q_old[j] + board[2, j] * phi[j] * pull
        left += radiation[0, j] * (q_new - q_old[j])
        right += radiation[1, j] * (q_new - q_old[j])
        q_old[j] = q[j]
        q[j] = q_new
    return left, right


@numba.njit(cache=True, fastmath=True)
def run_strings(
    n_steps: int,
    release: int,
    ramp: int,
    scheme: Floats,  # (strings, 5): a, b, c, e, g
    mass: Floats,  # (strings,): mass of a grid point / k**2, kg/s**2
    coupling: Floats,  # (strings,): share of the bridge's motion the string's end follows
    blow: Floats,  # (strings,): share of the felt's force
    parent: NDArray[np.int64],  # (strings,): string whose contact gives the force
    shape: Floats,  # (points,): hammer width, sum 1
    hammer: Floats,  # K, p, mass / k**2, speed * k
    lag: Floats,  # (strings,): string plane above the first touched, m
    damper: Floats,  # (points,): loss per step where the felt rests, 0 elsewhere
    board: Floats,  # (3, modes): factors of now, before, and force
    phi: Floats,  # (modes,): bridge motion per mode
    radiation: Floats,  # (2, modes)
) -> NDArray[np.float32]:
    """Displacements stepped in time; gives the board's sound at two places, (2, steps)."""
    strings, points = scheme.shape[0], shape.size
    u = np.zeros((strings, points + 2 * PAD))
    old = np.zeros((strings, points + 2 * PAD))
    new = np.zeros((strings, points + 2 * PAD))
    before = np.zeros((strings, points))
    after = np.zeros((strings, points))
    touched = np.flatnonzero(shape > 0.0)
    q = np.zeros(phi.size)
    q_old = np.zeros(phi.size)
    out = np.zeros((2, n_steps), dtype=np.float32)
    y, y_old, touching, peak, loudest = hammer[3], 0.0, True, 0.0, 0.0
    force = np.zeros(strings)
    for t in range(n_steps):
        if t == 0 or (t >= release and (t - release) % 32 == 0 and t - release <= ramp + 32):
            _losses(scheme, damper, min(1.0, max(0.0, (t - release) / ramp)), before, after)
        if touching:
            total = _felt_forces(y, u, touched, shape, hammer, lag, (blow, parent, force))
            y_new = 2.0 * y - y_old - total / hammer[2]
            touching = total > 0.0 or y_new > y
            y_old, y = y, y_new
        bridge = 0.0
        for j in range(phi.size):
            bridge += phi[j] * q[j]
        pull = 0.0
        for i in range(strings):
            end = coupling[i] * bridge
            own = _step_string(scheme[i], end, before[i], after[i], (u[i], old[i], new[i]))
            pull += coupling[i] * mass[i] * own
            if touching and force[i] != 0.0:
                for h in touched:
                    new[i, PAD + h] += force[i] * shape[h] / mass[i] * after[i, h]
        out[0, t], out[1, t] = _step_board(pull, q, q_old, board, phi, radiation)
        u, old, new = new, u, old
        loudest = max(loudest, abs(out[0, t]))
        if t % 8192 == 8191:
            peak = max(peak, loudest)
            if t > release and loudest < QUIET * peak:
                return out[:, :t]
            loudest = 0.0
    return out
