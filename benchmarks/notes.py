"""One key struck and let go, dry: strings by finite differences, kept on disk so that experiments are quick."""

from __future__ import annotations

import hashlib
import tempfile
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from benchmarks import fd_string
from benchmarks.fd_string import Grid
from benchmarks.instrument import Board, KeyDesign

RATE_HZ = 44100
CACHE = Path(tempfile.gettempdir()) / "pianolab-benchmarks"
LAG_M = 1.5e-5
"""How uneven the strings lie to the hammer, standard deviation."""
VERSION = 3
"""Raised whenever the sound of a note changes, so that old files aren't used."""


@dataclass(frozen=True, kw_only=True)
class NotePlan:
    """What is played: the strings' partial 1 in Hz, hold, and what is wrong with the key.

    ``seed`` draws the strings' own scatter, ``blow`` (0: as ``seed`` has it) another blow of the same hammer.
    """

    design: KeyDesign
    strings_hz: tuple[float, ...]
    hold_s: float
    ring_s: float
    seed: int
    sustain: float = 1.0
    damper_share: float = 1.0
    felt_factor: float = 1.0
    blow: int = 0


def oversampling(key: int) -> int:
    """Time steps per sample: more where the strings are short."""
    return 2 if key <= 40 else 4 if key <= 64 else 8


def string_grids(plan: NotePlan) -> list[Grid]:
    """The strings of a key, one grid size for all, each tuned exactly to its target by its tension."""
    d = plan.design
    grid = fd_string.fit_grid(
        float(np.mean(plan.strings_hz)),
        d.inharmonicity,
        k_s=1.0 / (RATE_HZ * oversampling(d.key)),
        loss_per_s=d.loss_per_s / plan.sustain,
        loss_per_hz2=d.loss_per_hz2 / plan.sustain,
    )
    return [fd_string.retuned(grid, f) for f in plan.strings_hz]


def render(plan: NotePlan, board: Board) -> NDArray[np.float32]:
    """The dry sound at two places near the board, (2, samples) at 44.1 kHz, from the file if it was made before."""
    return kept(plan, board, simulate)


def kept(
    plan: NotePlan, board: Board, make: Callable[[NotePlan, Board], NDArray[Any]], *, what: str = ""
) -> NDArray[Any]:
    """What ``make`` gives for this note, from the file of that name if it was made before."""
    words = asdict(plan)
    if not plan.blow:
        del words["blow"]  # the first blow's files from before there were others stay good
    key = hashlib.sha256(repr((VERSION, words, _digest(board))).encode()).hexdigest()[:24]
    path = CACHE / f"{key}{what}.npy"
    if path.exists():
        return np.load(path)
    made = make(plan, board)
    CACHE.mkdir(exist_ok=True)
    scratch = path.with_suffix(f".{np.random.default_rng().integers(1 << 40)}.tmp")
    with scratch.open("wb") as file:
        np.save(file, made)
    scratch.rename(path)
    return made


def _digest(board: Board) -> str:
    return hashlib.sha256(
        b"".join(np.ascontiguousarray(v).tobytes() for v in asdict(board).values())
    ).hexdigest()


def _with_second_polarisation(
    grids: list[Grid], rng: np.random.Generator
) -> tuple[list[Grid], dict[str, Any]]:
    """Adds one string's sideways motion: a little off pitch, hardly struck, holding on to the bridge loosely."""
    host = int(rng.integers(len(grids)))
    f = float(fd_string.partials(grids[host], np.array([1.0]))[0][0])
    side = fd_string.retuned(grids[host], f * 2 ** (rng.normal(0.0, 0.25) / 1200))
    count = len(grids)
    return [*grids, side], {
        "coupling": np.append(np.ones(count), rng.uniform(0.12, 0.35)),
        "blow": np.append(
            np.exp(rng.normal(0, 0.22, count)), rng.uniform(0.08, 0.25) * rng.choice([-1.0, 1.0])
        ),
        "parent": np.append(np.arange(count), host),
        "lag": np.append(np.abs(rng.normal(0, LAG_M, count)), 0.0),
    }


def _board_scheme(board: Board, k_s: float) -> NDArray[np.float64]:
    """Per mode: factors of now and before, and displacement per unit of force."""
    omega = 2 * np.pi * board.f_hz
    half = 0.5 * board.loss_factor * omega * k_s
    lead = 1 + half
    return np.stack([(2 - (omega * k_s) ** 2) / lead, (1 - half) / lead, k_s**2 / (board.mass_kg * lead)])


def _shapes(plan: NotePlan, n: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Where the hammer touches (sum 1) and where the damper lies (rough loss per second)."""
    d = plan.design
    at, half = np.arange(n + 1) / n, max(4e-3 / d.length_m, 1.01 / n)
    hammer = np.where(np.abs(at - d.strike) < half, np.cos(np.pi * (at - d.strike) / (2 * half)) ** 2, 0.0)
    hammer[[0, 1, n - 1, n]] = 0.0
    if not hammer.any():  # a coarse grid struck near its end
        hammer[max(2, round(d.strike * n))] = 1.0
    wide = max(0.03 / d.length_m, 1.5 / n)
    damper = np.where(np.abs(at - d.strike * 0.95) < wide, 1.0, 0.0)
    damper[[0, n]] = 0.0
    held = 2 * np.sum(damper * np.sin(np.pi * at) ** 2) / n
    return hammer / hammer.sum(), damper * d.damper_per_s / max(held, 0.02) * (1.0 if d.damped else 0.0)


def simulate(plan: NotePlan, board: Board) -> NDArray[np.float32]:
    """The dry sound of a note, stepped anew."""
    d, rng = plan.design, np.random.default_rng(plan.seed)
    grids, ways = _with_second_polarisation(string_grids(plan), rng)
    n, k_s = grids[0].n, grids[0].k_s
    speed = d.hammer_m_per_s
    if plan.blow:
        again = np.random.default_rng([plan.seed, abs(plan.blow), int(plan.blow < 0)])
        speed *= float(np.exp(again.normal(0, 0.05)))
        ways["lag"][:-1] = np.abs(again.normal(0, LAG_M, len(grids) - 1))
    hammer, damper = _shapes(plan, n)
    over = oversampling(d.key)
    out = fd_string.run_strings(
        int((plan.hold_s + plan.ring_s) / k_s),
        int(plan.hold_s / k_s),
        int(0.02 / k_s),
        np.array([[g.a, g.b, g.c, g.e, g.g] for g in grids]),
        np.full(len(grids), d.kg_per_m * d.length_m / n / k_s**2),
        ways["coupling"],
        ways["blow"],
        ways["parent"].astype(np.int64),
        hammer,
        np.array([d.felt * plan.felt_factor, d.felt_power, d.hammer_kg / k_s**2, speed * k_s]),
        ways["lag"],
        damper * k_s * plan.damper_share,
        _board_scheme(board, k_s),
        board.at_key(d.key, d.bridge_kg_per_s * plan.sustain),
        board.radiation,
    )
    sound = signal.resample_poly(out.astype(np.float64), 1, over, axis=1) / k_s
    if not np.all(np.isfinite(sound)):
        raise FloatingPointError(f"key {d.key}: the time loop was not stable")
    return sound.astype(np.float32)
