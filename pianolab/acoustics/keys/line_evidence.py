"""How likely what a blow added is, were it a given string at a given pitch: the evidence behind the key path.

Every hypothesis (a pitch of partial 1 and an inharmonicity) is judged over the same data: the fresh lines of the
blow's spectrum. A partial that stands where the stiff string [fletcher1964] puts it counts by how rarely a line that
strong stands at a place picked at random in that octave of that very spectrum; a partial that is missing counts
against it, less where little can be expected (under the soundboard's first resonances, above the highest line, among
high partials, or where the note before still rings). So a hypothesis with few partials in band has
no advantage: it leaves the other lines unexplained, as it would were there no string at all. The share of the lines'
power at the partials counts besides, because one loud line is what is left of a high note.

Scores are natural logarithms of the likelihood against "no string, lines by chance". Partials are taken as
independent, which they are not quite: differences are larger than the odds behind them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d

from pianolab.acoustics.keys.compass import usual_inharmonicity
from pianolab.acoustics.keys.fresh_lines import TOP_HZ, Floats, FreshLines, Rows, boxed, half_width, widened
from pianolab.acoustics.limits import limits
from pianolab.acoustics.threads import at_once, runs
from pianolab.units import FloatArray, key_to_hz

STEP_CENTS = 10
MARGIN_CENTS = 200
MOST_PARTIALS, LOW_PARTIALS = 48, 24
BAND_HZ = 1400.0
"""Of the bass so many partials count as stand below this, of any string at least `LOW_PARTIALS`: the lowest strings are
judged over as wide a band as those an octave higher, which otherwise explain lines that nobody asks of the lower."""
B_FACTORS = 0.095 * 1.26 ** np.arange(16)
"""Inharmonicity over the usual that is tried: 0.1 to 3, so close that partials stay within a window."""
B_REACH = 0.12
"""Partials count while B n^2 stays below: beyond, one step of the inharmonicity moves them out of their windows."""
BASS_B_FACTORS = 0.1 * 1.08 ** np.arange(63)
"""The same in the bass, 0.1 to 12: wound strings may be many times stiffer than usual when short, and slack when long."""
BASS_B_REACH = 0.4
BASS_UP_TO_KEY = 36
EXPECTED = ((0, 3, 0.95), (3, 12, 0.8), (12, LOW_PARTIALS, 0.5), (LOW_PARTIALS, MOST_PARTIALS, 0.5))
"""First and last partial, and how often a partial among them is seen where it should be [practice]."""
OCTAVES_HZ = 25.0 * 2.0 ** np.arange(10)
LOWEST_HEARD_HZ = 80.0
"""The soundboard gives little under this [practice]."""
POWER_SIDE_CENTS = 7.0
UNISON_SIDE_CENTS = 15.0
"""Strings of one key may lie apart."""
LEVELS = np.arange(46.0)


@dataclass(frozen=True)
class LineEvidence:
    """Score of each blow at each pitch, shape (blows, grid).

    ``low_score`` is that of the first `LOW_PARTIALS` alone, ``b_factor`` the inharmonicity factor that it is reached
    with. Which key sounds is judged over the whole band; where its partials begin, by the low ones, because in the high
    ones pitch and inharmonicity make up for each other. ``grid`` is the pitch of partial 1 as a fractional key number in
    equal temperament.
    """

    score: Floats
    low_score: Floats
    b_factor: Floats
    grid: FloatArray

    def __getitem__(self, rows: Rows) -> LineEvidence:
        return LineEvidence(self.score[rows], self.low_score[rows], self.b_factor[rows], self.grid)


def weigh(fresh: FreshLines, *, rate_hz: int, first_key: int, last_key: int) -> LineEvidence:
    """Score of every blow on a grid of pitches from two semitones below the first key to two above the last.

    Parameters
    ----------
    fresh : what each blow added
    rate_hz : Hz, with the grid's A4 at 440 Hz
    first_key, last_key : keys the recording may cover

    Returns
    -------
    Evidence
    """
    grid = _grid(first_key, last_key)
    bins = fresh.out_db.shape[1]
    tried = _hypotheses(first_key, last_key, rate_hz=rate_hz, size=fresh.size, bins=bins)
    parts = at_once(
        lambda rows: _weighed(fresh[rows], grid, tried, rate_hz=rate_hz), runs(len(fresh.out_db), most=24)
    )
    if not parts:
        empty = np.zeros((0, len(grid)), dtype=np.float32)
        return LineEvidence(empty, empty, empty, grid)
    return joined(parts)


def joined(parts: Sequence[LineEvidence]) -> LineEvidence:
    """The evidence of several blows, or runs of blows, as one; all over the same grid, at least one of them."""
    return LineEvidence(
        np.concatenate([p.score for p in parts]),
        np.concatenate([p.low_score for p in parts]),
        np.concatenate([p.b_factor for p in parts]),
        parts[0].grid,
    )


def explained_share(
    fresh: FreshLines, f1_hz: FloatArray, b_factor: FloatArray, *, rate_hz: int
) -> FloatArray:
    """Share of the fresh lines' power at the partials of each blow's string, 0 to 1; NaN where no string was read.

    Of what lies below the string nothing counts: there the board answers the blow.

    Parameters
    ----------
    fresh : what each blow added
    f1_hz, b_factor : shape (blows,), Hz and a multiple of the usual inharmonicity, as the key path gives them
    rate_hz : Hz

    Returns
    -------
    ndarray, shape (blows,)
    """
    bins = fresh.out_db.shape[1]
    out = np.full(len(f1_hz), np.nan)
    for i in np.flatnonzero(np.isfinite(f1_hz)):
        power = fresh.power[[i]]
        share, below = _past_end(boxed(power, side_cents=UNISON_SIDE_CENTS))[0], np.cumsum(power[0])
        place = np.array([49.0 + 12.0 * np.log2(f1_hz[i] / 440.0)])
        reach = BASS_B_REACH if place[0] <= BASS_UP_TO_KEY else B_REACH
        index = _partial_bins(
            place, float(b_factor[i]), rate_hz=rate_hz, size=fresh.size, bins=bins, reach=reach
        )
        own = float(share[index[0]].sum())
        out[i] = min(own / max(1.0 - float(below[int(0.8 * index[0, 0])]), 1e-6), 1.0)
    return out


@dataclass(frozen=True)
class _Hypothesis:
    """One inharmonicity for the lowest pitches of the grid: bins of the partials, (pitches, partials), up to which
    pitch each partial says anything, and by-chance coverage, that of the low partials apart."""

    factor: float
    index: NDArray[np.int64]
    rows: tuple[int, ...]
    by_chance: Floats
    low_by_chance: Floats


@dataclass(frozen=True)
class _Lines:
    """What some blows added, shape (bins + 1, blows): gain of a partial for each group of `EXPECTED`, share of the power
    about each bin, where that can be told; which blows are loud enough for it, shape (blows,)."""

    gains: list[Floats]
    share: Floats
    told: Floats
    loud: NDArray[np.bool_]


def _grid(first_key: int, last_key: int) -> FloatArray:
    """Pitches of partial 1 as fractional key numbers, from two semitones below the first key to two above the last."""
    return np.arange(100 * first_key - MARGIN_CENTS, 100 * last_key + MARGIN_CENTS + 1, STEP_CENTS) / 100.0


@lru_cache(maxsize=2)
def _hypotheses(
    first_key: int, last_key: int, *, rate_hz: int, size: int, bins: int
) -> tuple[_Hypothesis, ...]:
    """All strings that are tried; kept, since live listening weighs every blow by itself."""
    grid, out = _grid(first_key, last_key), []
    bass = grid[grid <= BASS_UP_TO_KEY]
    for some, factors, reach in ((grid, B_FACTORS, B_REACH), (bass, BASS_B_FACTORS, BASS_B_REACH)):
        for factor in factors if len(some) else ():
            index = _partial_bins(some, float(factor), rate_hz=rate_hz, size=size, bins=bins, reach=reach)
            used = (index < bins) * np.arange(1, len(index) + 1)[:, None]
            rows = tuple(used.max(axis=0).tolist())
            by_chance, low = _coverage(index, bins), _coverage(index[:, :LOW_PARTIALS], bins)
            out.append(_Hypothesis(float(factor), index, rows, by_chance, low))
    return tuple(out)


def _by_bin(spectrum: Floats) -> Floats:
    """Shape (bins + 1, blows), so that all blows' values at a bin lie side by side in memory."""
    return np.ascontiguousarray(_past_end(spectrum).T)


def _weighed(
    fresh: FreshLines, grid: FloatArray, tried: tuple[_Hypothesis, ...], *, rate_hz: int
) -> LineEvidence:
    count = len(fresh.out_db)
    loud = fresh.power.sum(axis=1) > 0.5
    told = loud[:, None] & ~maximum_filter1d(fresh.hidden, size=5, axis=1)
    lines = _Lines(
        gains=[_by_bin(g) for g in _gains(fresh, rate_hz=rate_hz)],
        share=_by_bin(boxed(fresh.power, side_cents=POWER_SIDE_CENTS)),
        told=_by_bin(told.astype(np.float32)),
        loud=loud,
    )
    best = np.full((len(grid), count), -np.inf, dtype=np.float32)
    low_best, factor_at = best.copy(), np.ones_like(best)
    for hypothesis in tried:
        top = len(hypothesis.index)
        low, score = _scores(hypothesis, lines, grid[:top])
        np.maximum(best[:top], score, out=best[:top])
        better = low > low_best[:top]
        np.copyto(low_best[:top], low, where=better)
        np.copyto(factor_at[:top], np.float32(hypothesis.factor), where=better)
    score, low_score, b_factor = (np.ascontiguousarray(one.T) for one in (best, low_best, factor_at))
    return LineEvidence(score, low_score, b_factor, grid)


def _scores(tried: _Hypothesis, lines: _Lines, grid: FloatArray) -> tuple[Floats, Floats]:
    """Score of one inharmonicity over its low partials and over all of them, shape (grid, blows) each."""
    score = np.zeros((len(grid), len(lines.loud)), dtype=np.float32)
    explained = np.zeros_like(score)
    low = score
    for (first, end, _), gain in zip(EXPECTED, lines.gains, strict=True):
        if first == LOW_PARTIALS:
            low = _with_power(tried, lines, grid, score, explained, by_chance=tried.low_by_chance)
            if not any(tried.rows[first:]):
                return low, low
        for column in range(first, end):
            at = tried.index[: tried.rows[column], column]
            score[: len(at)] += gain[at]
            explained[: len(at)] += lines.share[at]
    return low, _with_power(tried, lines, grid, score, explained, by_chance=tried.by_chance)


def _with_power(
    tried: _Hypothesis,
    lines: _Lines,
    grid: FloatArray,
    score: Floats,
    explained: Floats,
    *,
    by_chance: Floats,
) -> Floats:
    """The score with what the share of the power says that the partials explain, and what the inharmonicity costs."""
    lim, chance = limits()["path"], by_chance[:, None]
    first = tried.index[:, 0]
    out = score - _faint_first(lines.share[first], explained, grid) * lines.told[first]
    own = np.minimum(explained, np.float32(0.98))
    odds = own * np.log(0.9 / chance) + (1.0 - own) * np.log(0.1 / (1.0 - chance))
    out += lim["power_weight"] * lines.loud * odds
    out -= lim["b_weight"] * np.log(tried.factor) ** 2
    return out


def _faint_first(first: Floats, explained: Floats, grid: FloatArray) -> Floats:
    """Cost of a first partial that is faint among its own partials, where pianos have a loud one; shape (grid, blows).

    From the middle up partial 1 carries most of a note. A note an octave down, whose second partial is the one that
    sounds, may find a faint line for its first: another string that rings along.
    """
    lim = limits()["path"]
    least_db = np.interp(grid, lim["first_keys"], lim["first_least_db"]).astype(np.float32)[:, None]
    first_db = 10.0 * np.log10((first + np.float32(1e-6)) / (explained + np.float32(1e-6)))
    return np.asarray(lim["first_weight"] * np.clip(least_db - first_db, 0.0, lim["first_most_db"]))


def _partial_bins(
    grid: FloatArray, factor: float, *, rate_hz: int, size: int, bins: int, reach: float = B_REACH
) -> NDArray[np.int64]:
    """Bin of each partial, shape (grid, MOST_PARTIALS); ``bins`` for those that say nothing.

    High partials of very stiff strings lie too far apart for the steps of inharmonicity.
    """
    n = np.arange(1.0, MOST_PARTIALS + 1.0)
    b = factor * usual_inharmonicity(grid)[:, None]
    f = n * key_to_hz(grid)[:, None] * np.sqrt((1.0 + b * n**2) / (1.0 + b))
    index = np.round(f * size / rate_hz).astype(np.int64)
    used = ((f < min(TOP_HZ, 0.46 * rate_hz)) | (n == 1)) & ((b * n**2 < reach) | (n <= 3)) & (index < bins)
    used &= (n <= LOW_PARTIALS) | ((f < BAND_HZ) & (reach > B_REACH))
    return np.where(used, index, bins)


def _past_end(spectrum: Floats) -> Floats:
    """With one more bin, of 0, that stands for no partial."""
    return np.concatenate([spectrum, np.zeros((len(spectrum), 1), dtype=np.float32)], axis=1)


def _gains(fresh: FreshLines, *, rate_hz: int) -> list[Floats]:
    """What a partial at each bin adds to the score, for each group of `EXPECTED`."""
    bins = fresh.out_db.shape[1]
    wide = widened(fresh.out_db)
    hz = np.arange(bins) * rate_hz / fresh.size
    ratio = _rarity(wide, hz)
    strong = np.cumsum(fresh.out_db > limits()["path"]["line_db"], axis=1)
    highest = hz[np.minimum(np.sum(strong < 0.97 * np.maximum(strong[:, -1:], 1), axis=1), bins - 1)]
    heard = 1.0 / (1.0 + (hz / np.maximum(1.1 * highest, 60.0)[:, None]) ** 6)
    heard /= 1.0 + (LOWEST_HEARD_HZ / np.maximum(hz, 1.0)) ** 3
    hidden = maximum_filter1d(fresh.hidden, size=5, axis=1)
    half_told = limits()["path"]["hidden_weight"]
    out = []
    for _, _, often in EXPECTED:
        seen = (often * heard).astype(np.float32)
        gain = np.log(1.0 - seen + seen * ratio)
        out.append(np.where(hidden & (gain < 0), half_told * gain, gain).astype(np.float32))
    return out


def _rarity(wide: Floats, hz: FloatArray) -> Floats:
    """One over the share of places in the same octave at which a line at least this strong stands, 0 for no line."""
    level = np.clip(np.round(wide), 0, 45).astype(np.int64)
    line = np.clip((LEVELS - 4.0) / 8.0, 0.0, 1.0)
    rarity = np.ones_like(wide)
    octave = np.clip(np.searchsorted(OCTAVES_HZ, hz) - 1, 0, len(OCTAVES_HZ) - 1)
    rows = np.arange(len(wide))[:, None]
    for which in range(int(octave.max()) + 1 if len(octave) else 0):
        at = np.flatnonzero(octave == which)
        part = level[:, at[0] : at[-1] + 1]
        found = np.bincount((rows * 46 + part).ravel(), minlength=46 * len(wide)).reshape(-1, 46)
        share = np.cumsum(found[:, ::-1], axis=1)[:, ::-1] / part.shape[1]
        places = np.clip(part.shape[1] / 6.0, 4.0, 55.0)
        table = np.maximum(line / np.maximum(share, 0.5 / places), 1e-3).astype(np.float32)
        rarity[:, at[0] : at[-1] + 1] = np.take_along_axis(table, part, axis=1)
    return rarity


def _coverage(index: NDArray[np.int64], bins: int) -> Floats:
    """Share of the octaves spanned by a pitch's partials that their windows cover, shape (grid,)."""
    used = index < bins
    covered = (
        np.minimum((2 * half_width(index, POWER_SIDE_CENTS) + 1) / np.maximum(0.7 * index, 1.0), 0.6) * used
    )
    top = np.max(np.where(used, index, 0), axis=1)
    octaves = np.log2(np.maximum(top, 1) / np.maximum(index[:, 0], 1))
    return np.clip(covered.sum(axis=1) / np.maximum(octaves, 1.0), 0.01, 0.6).astype(np.float32)
