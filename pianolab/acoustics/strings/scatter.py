"""How far partials lie off their stiff series, and how sure that leaves the pitch, B and the strings' distance.

A line of two numbers (pitch and B) is laid through up to 32 partials, so what they scatter about it shows how far
each is pulled away: by the soundboard, by false beats, by the room. Noise is never the limit. Where a key has few
partials its own scatter says little; then its neighbours on the same instrument speak for it, because a soundboard
that pulls one string pulls the next ones as much. Nothing here comes from a formula for one kind of instrument.

Partials of wound strings, and of others where the soundboard moves, lie on a bent line: the low ones ask for another
B than the high ones, with two or three changes of sign over thirty partials. Taken for scatter of each by itself that
would make B look far surer than anything it could mean; so the bend is told from the scatter (`bent_series`) and counts
as what it is, a B that depends on which partials one asks.

What each partial is off counts by what it moves the result: on one string the lowest lie a cent off and the high ones,
which carry B, a hundredth. Above the twelfth partial the strings of a key are not told apart, and a peak follows one of
them: that moves all those peaks alike, and counts beside the scatter.

Limits: partials pulled the same way, all of them, show no scatter; what is usual of that stands in
``limits.toml`` under ``scatter`` (own calibration). Errors have heavy tails: a partial now and then lies five times
as far off as the others.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pianolab.acoustics.limits import limits
from pianolab.acoustics.strings.choirs import MODE_PARTIALS
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


def _slope(weight: FloatArray) -> tuple[FloatArray, FloatArray]:
    """What a cent of each partial moves the series' level and its slope over n², shape (notes, partials) each."""
    n2 = np.arange(1, weight.shape[1] + 1) ** 2.0
    s0, sx = weight.sum(axis=1) + 1e-12, (weight * n2).sum(axis=1)
    sxx = (weight * n2**2).sum(axis=1) + 0.01
    det = np.maximum(s0 * sxx - sx**2, 1e-30)
    level = weight * (sxx[:, None] - sx[:, None] * n2) / det[:, None]
    return level, weight * (s0[:, None] * n2 - sx[:, None]) / det[:, None]


def pitch_sd_cents(
    off_cents: FloatArray,
    weight: FloatArray,
    *,
    scatter: FloatArray,
    b: FloatArray,
    spread_cents: FloatArray,
    open_share: FloatArray | float = np.nan,
) -> FloatArray:
    """Standard deviation of the first partial, cents, shape (notes,).

    Parameters
    ----------
    off_cents : shape (notes, partials), from `off_series_cents`
    weight : the same shape, what partial 1 was led from; where that is partial 1 alone, it stands by itself
    scatter : shape (notes,), from `scatter_cents`
    b : shape (notes,); where only one partial was heard and it isn't the first, this led down to it
    spread_cents : shape (notes,); how far apart the strings are: which of them is heard best moves the middle
    open_share : shape (notes,); where the strings were told apart, by which share of their distance the mean of all may be
        off (`far_strings.MeanOfStrings`); NaN elsewhere
    """
    lim = limits()["scatter"]
    single = (weight > 0).sum(axis=1) == 1
    lone, lowest = single & (weight[:, 0] > 0), 1 + np.argmax(weight > 0, axis=1)
    led = np.where(single, 0.5 * CENTS_PER_NEPER * (lowest**2 - 1.0) * lim["b_guessed_share"] * b, 0.0)
    level, slope = _slope(weight)
    leverage = level + slope
    usual = scatter**2 * np.sum(leverage**2, axis=1)
    led_from = lim["pitch_scatters"] * _moved(leverage, off_cents, weight, usual)
    moved = np.where(lone, lim["lone_scatters"] * scatter, led_from)
    share = np.where(lone, lim["lone_spread_share"], lim["spread_share"])
    share = np.where(np.isnan(open_share) | lone, share, open_share)
    spread = np.where(np.isnan(spread_cents), lim["unknown_spread_cents"], spread_cents)
    parts = (moved, share * spread, led, lim["pitch_least_cents"])
    return np.asarray(np.sqrt(sum(np.square(p) for p in parts)))


def _moved(moves: FloatArray, off_cents: FloatArray, weight: FloatArray, usual: FloatArray) -> FloatArray:
    """Standard deviation of a sum over the partials of each one's distance from the series times ``moves``, shape (notes,).

    What each partial itself lies off says it where many count: high partials of a bass string lie closer to the series
    than low ones, and those of other strings the other way round. Where few count it is ``usual``, the variance by the
    note's scatter.
    """
    weight = np.where(np.isnan(off_cents), 0.0, weight)
    size, count = np.abs(np.nan_to_num(off_cents)), (weight > 0).sum(axis=1)
    size = np.minimum(size, _farthest(size, weight))
    squares = np.where(weight > 0, moves**2, 0.0)
    own = np.sum(squares * size**2, axis=1) * count / np.maximum(count - 3.0, 1.0)
    counting = np.sum(squares, axis=1) ** 2 / np.maximum(np.sum(squares**2, axis=1), 1e-300)
    free = np.maximum(counting - 1.0, 0.0)
    both = (free * own + BORROWED * usual) / np.maximum(free + BORROWED - 2.0, 0.5)
    return np.asarray(np.sqrt(np.where(count >= BENT_PARTIALS, both, usual)))


def _by_scatter(moves: FloatArray, weight: FloatArray, scatter: FloatArray) -> FloatArray:
    """The same variance where partials scatter by the root of their weight, shape (notes,)."""
    return np.asarray(scatter**2 * np.sum(moves**2 / np.maximum(weight, 1e-9), axis=1))


def inharmonicity_sd(
    off_cents: FloatArray,
    weight: FloatArray,
    b: FloatArray,
    *,
    scatter: FloatArray,
    low_b: FloatArray,
    bend: FloatArray | float = 0.0,
    strings_cents: FloatArray | float = 0.0,
    off_line: FloatArray | float = 0.0,
) -> FloatArray:
    """Standard deviation of B, shape (notes,): what scatters the partials, and how far some of them ask for another B.

    With one partial B is that of the neighbours and as sure as such a guess is.

    Parameters
    ----------
    off_cents : shape (notes, partials), from `off_series_cents`
    weight : the same shape, what the fit made of each (`partials.cauchy_weight`)
    b, low_b : shape (notes,); B of all partials, and of the lowest twelve by themselves: what these scatter explains no more
        of the difference than it may
    scatter, bend : shape (notes,), from `bent_series`
    strings_cents : shape (notes,); how far the strings lie apart where a peak above the twelfth partial follows one of them
        and the lower ones their mean
    off_line : shape (notes,), from `off_line_b`
    """
    lim, to_b = limits()["scatter"], 2.0 / CENTS_PER_NEPER
    slope = _slope(weight)[1]
    low = weight.copy()
    low[:, MODE_PARTIALS:] = 0.0
    asked = _slope(low)[1] - slope
    by_chance = to_b * _moved(asked, off_cents, weight, _by_scatter(asked, weight, scatter))
    asked_low = np.sqrt(np.maximum((low_b - b) ** 2 - lim["b_low_chances"] * by_chance**2, 0.0))
    several = (weight > 0).sum(axis=1) > 1
    own = to_b * _moved(slope, off_cents, weight, _by_scatter(slope, weight, scatter))
    own = np.where(several, own, lim["b_guessed_share"] * b)
    one_string = to_b * strings_cents * slope[:, MODE_PARTIALS:].sum(axis=1)
    shares = (
        (1.0, own),
        (lim["b_low_share"], asked_low),
        (lim["b_bend_share"], bend),
        (lim["b_least_share"], b),
        (lim["b_peaks_share"], one_string),
        (1.0, off_line),
    )
    return np.asarray(np.sqrt(sum(np.square(share * part) for share, part in shares)))


def off_line_b(b: FloatArray, line_b: FloatArray, used: NDArray[np.int64]) -> FloatArray:
    """What B's distance from the neighbours' line leaves open, shape (notes,): with two or three partials a misread one
    fits as well as a right one.

    Instruments lie off their own line anyway; what is usual of that among the notes with more partials says nothing.

    Examples
    --------
    >>> b, line = np.array([1.0e-3, 1.0e-3, 2.0e-3]), np.array([1.1e-3, 0.9e-3, 1.0e-3])
    >>> off_line_b(b, line, np.array([8, 8, 2])) > 0
    array([False, False,  True])
    """
    lim, share = limits()["scatter"], np.abs(np.log(line_b / b))
    known = used > lim["b_lone_partials"]
    usual = 1.4826 * float(np.median(share[known])) if known.any() else 0.0
    beyond = np.maximum(np.abs(line_b - b) - lim["b_off_line_usual"] * usual * b, 0.0)
    return np.asarray(np.where(known, 0.0, lim["b_off_line_share"] * beyond))
