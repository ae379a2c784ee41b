"""How far partials lie off their stiff series, and how sure that leaves the pitch, B and the strings' distance.

A line of two numbers (pitch and B) is laid through up to 32 partials, so what they scatter about it shows how far
each is pulled away: by the soundboard, by false beats, by the room. Noise is never the limit. Where a key has few
partials its own scatter says little; then its neighbours on the same instrument speak for it, because a soundboard
that pulls one string pulls the next ones as much. Nothing here comes from a formula for one kind of instrument.

Partials of wound strings, and of others where the soundboard moves, lie on a bent line: the low ones ask for another
B than the high ones, with two or three changes of sign over thirty partials. Taken for scatter of each by itself that
would make B look far surer than anything it could mean; so the bend is told from the scatter (`bent_series`) and counts
as what it is, a B that depends on which partials one asks.

Limits: partials pulled the same way, all of them, show no scatter; what is usual of that stands in
``limits.toml`` under ``scatter`` (own calibration). Errors have heavy tails: a partial now and then lies five times
as far off as the others.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pianolab.acoustics.limits import limits
from pianolab.acoustics.strings.partials import StiffFit, series_hz
from pianolab.units import CENTS_PER_NEPER, FloatArray

NEIGHBOURS_SD_KEYS = 4.0
BORROWED = 4.0
"""Neighbours count as so many partials of the key's own."""
UNKNOWN_CENTS, UNKNOWN_FREE = 0.5, 0.1
"""What is taken where no key shows any scatter, and how little that counts elsewhere."""
FARTHEST = 5.0
"""A partial farther off than so many times the middle one counts as so far."""
BENT_PARTIALS = 6
"""Fewer can't tell a bend from scatter."""


def off_series_cents(pitch_hz: FloatArray, fit: StiffFit) -> FloatArray:
    """How far each partial lies above the series that was fitted, cents, shape (notes, partials)."""
    series = series_hz(fit.f0_hz, fit.inharmonicity, pitch_hz.shape[1])
    return np.asarray(CENTS_PER_NEPER * np.log(pitch_hz / series))


def scatter_cents(
    off_cents: FloatArray, weight: FloatArray, key: NDArray[np.int64], *, passed: int = 2
) -> FloatArray:
    """Standard deviation of a partial about its series, cents, shape (notes,): of the note and of its neighbours.

    Parameters
    ----------
    off_cents, weight : shape (notes, partials), NaN or 0 where there is no partial
    key : shape (notes,)
    passed : partials that a robust line goes through exactly where there are few, left out of what is usual

    Examples
    --------
    >>> off = np.array([[1.0, -1.0, 1.0, -1.0, 1.0, -1.0], [0.1, -0.1, np.nan, np.nan, np.nan, np.nan]])
    >>> scatter_cents(off, np.ones_like(off), np.array([40, 41])).round(1)
    array([1.4, 1.7])
    """
    weight = np.where(np.isnan(off_cents), 0.0, weight)
    size = np.abs(np.nan_to_num(off_cents))
    size = np.minimum(size, _farthest(size, weight, passed=passed))
    total = weight.sum(axis=1)
    count = total**2 / np.maximum((weight**2).sum(axis=1), 1e-12)
    free = np.maximum(count - 2.0, 0.0)
    own = np.sum(weight * size**2, axis=1) / np.maximum(total, 1e-12) * count
    near = np.exp(-0.5 * ((key[:, None] - key) / NEIGHBOURS_SD_KEYS) ** 2)
    own = np.where(free > 0.0, own, 0.0)
    usual = (near @ own + UNKNOWN_FREE * UNKNOWN_CENTS**2) / (near @ free + UNKNOWN_FREE)
    seen = free + BORROWED
    # So few values leave their scatter open: the variance of Student's distribution.
    return np.asarray(np.sqrt((own + BORROWED * usual) / (seen - 2.0)))


def _farthest(size: FloatArray, weight: FloatArray, *, passed: int = 2) -> FloatArray:
    """How far off a partial may count, cents, shape (notes, 1): by the middle of those that the line left free.

    Of few partials a robust line goes through two exactly (``passed``), and the middle of all would be nothing.
    """
    count = (weight > 0).sum(axis=1)
    ordered = np.sort(np.where(weight > 0, size, np.inf), axis=1)
    middle = ordered[np.arange(len(size)), np.clip((count + passed) // 2, 0, np.maximum(count - 1, 0))]
    return np.asarray(FARTHEST * 1.4826 * np.maximum(middle, 0.01))[:, None]


def bent_series(
    off_cents: FloatArray, weight: FloatArray, key: NDArray[np.int64]
) -> tuple[FloatArray, FloatArray]:
    """Scatter of a partial of weight 1 about its own bent line, cents, and what the bend leaves open of B.

    A weak partial scatters more than a strong one, by the root of its weight; neighbours lend as in `scatter_cents`.
    A third term, n⁴, takes up what lies off the straight line over n² on one side in the middle of the partials and on
    the other at both ends. The second result is the difference between B of the lowest partials and B of all of them,
    as far as the scatter can't explain it.

    Parameters
    ----------
    off_cents, weight : shape (notes, partials), NaN or 0 where there is no partial
    key : shape (notes,)

    Examples
    --------
    >>> n2 = np.arange(1, 25) ** 2.0
    >>> arch = 3.0 - 12.0 * (n2 / 576 - 0.5) ** 2
    >>> rough = np.where(np.arange(24) % 2 == 0, 1.0, -1.0)
    >>> scatter, bend = bent_series(np.stack([arch - arch.mean(), rough]), np.ones((2, 24)), np.array([1, 40]))
    >>> bool(bend[0] > 1e-5), float(bend[1])
    (True, 0.0)
    """
    lim = limits()["scatter"]
    weight = np.where(np.isnan(off_cents), 0.0, weight)
    off, enough = np.nan_to_num(off_cents), (weight > 0).sum(axis=1) >= BENT_PARTIALS
    farthest = _farthest(np.abs(off), weight)
    near = np.clip(off, -farthest, farthest)
    n2 = np.arange(1, weight.shape[1] + 1) ** 2.0
    last = np.maximum(np.max(np.where(weight > 0, n2, 0.0), axis=1), 1.0)
    share = n2 / last[:, None]
    terms = np.stack([np.ones_like(share), share, share**2], axis=-1)
    inverse = np.linalg.inv(np.einsum("ijk,ij,ijl->ikl", terms, weight, terms) + 1e-9 * np.eye(3))
    found = np.einsum("ikl,ijl,ij->ik", inverse, terms, weight * near)
    left = np.where(enough[:, None], near - np.einsum("ijk,ik->ij", terms, found), off)
    heard = np.where(weight > 0, 1.0, 0.0)
    scatter = scatter_cents(left * np.sqrt(weight), heard, key)
    by_chance = lim["b_bend_sds"] * scatter * np.sqrt(inverse[:, 1, 1])
    bend = np.sqrt(np.maximum(found[:, 1] ** 2 - by_chance**2, 0.0)) / last
    return scatter, np.where(enough, bend * 2.0 / CENTS_PER_NEPER, 0.0)


def _leverage(weight: FloatArray) -> tuple[FloatArray, FloatArray]:
    """How much the partials' scatter moves the first partial (in cents per cent) and the slope (per n², the same).

    The first for partials that scatter alike, the second for ones that scatter by the root of their weight.
    """
    n2 = np.arange(1, weight.shape[1] + 1) ** 2.0
    s0, sx = weight.sum(axis=1) + 1e-12, (weight * n2).sum(axis=1)
    sxx = (weight * n2**2).sum(axis=1) + 0.01
    det = np.maximum(s0 * sxx - sx**2, 1e-30)
    level = weight * (sxx[:, None] - sx[:, None] * n2) / det[:, None]
    slope = weight * (s0[:, None] * n2 - sx[:, None]) / det[:, None]
    return np.sqrt(np.sum((level + slope) ** 2, axis=1)), np.sqrt(s0 / det)


def pitch_sd_cents(
    scatter: FloatArray, weight: FloatArray, *, b: FloatArray, spread_cents: FloatArray
) -> FloatArray:
    """Standard deviation of partial 1 in cents, shape (notes,).

    Parameters
    ----------
    scatter : shape (notes,), from `scatter_cents`
    weight : shape (notes, partials), what partial 1 was led from; where that is partial 1 alone, it stands by itself
    b : shape (notes,); where only one partial was heard and it isn't the first, this led down to it
    spread_cents : shape (notes,); how far apart the strings are: which of them is heard best moves the middle
    """
    lim = limits()["scatter"]
    single = (weight > 0).sum(axis=1) == 1
    lone, lowest = single & (weight[:, 0] > 0), 1 + np.argmax(weight > 0, axis=1)
    led = np.where(single, 0.5 * CENTS_PER_NEPER * (lowest**2 - 1.0) * lim["b_guessed_share"] * b, 0.0)
    moved = np.where(lone, lim["lone_scatters"], lim["pitch_scatters"] * _leverage(weight)[0]) * scatter
    share = np.where(lone, lim["lone_spread_share"], lim["spread_share"])
    spread = np.where(np.isnan(spread_cents), lim["unknown_spread_cents"], spread_cents)
    parts = (moved, share * spread, led, lim["pitch_least_cents"])
    return np.asarray(np.sqrt(sum(np.square(p) for p in parts)))


def inharmonicity_sd(
    scatter: FloatArray,
    weight: FloatArray,
    b: FloatArray,
    *,
    low_b: FloatArray,
    bend: FloatArray | float = 0.0,
    line_b: FloatArray | None = None,
    used: NDArray[np.int64] | None = None,
) -> FloatArray:
    """Standard deviation of B, shape (notes,): the partials' scatter, and how far some of them ask for another B.

    ``scatter`` and ``bend`` are those of `bent_series`; ``low_b`` is B of the lowest twelve partials by themselves.
    With one partial B is that of the neighbours and as sure as such a guess is. With two or three a misread one fits
    as well as a right one: then how far B lies off the neighbours' line ``line_b`` counts too.
    """
    lim = limits()["scatter"]
    own = scatter * _leverage(weight)[1] * 2.0 / CENTS_PER_NEPER
    own = np.where((weight > 0).sum(axis=1) > 1, own, lim["b_guessed_share"] * b)
    off_line = np.zeros(len(b))
    if line_b is not None and used is not None:
        off_line = np.where(used <= lim["b_lone_partials"], lim["b_off_line_share"] * (line_b - b), 0.0)
    asked_low = lim["b_low_share"] * (low_b - b)
    parts = (own, asked_low, lim["b_bend_share"] * np.asarray(bend), lim["b_least_share"] * b, off_line)
    return np.asarray(np.sqrt(sum(np.square(p) for p in parts)))
