"""Which key each strike is: the whole recording is read at once, as one path over the keyboard.

A single note alone can't tell its key, because the instrument's pitch is not known: a piano a semitone flat
sounds like its neighbour. So every strike is scored against every key on a grid of pitches, and the best
path through all strikes is found for every common offset of the instrument (dynamic programming); a path
that moves up by one costs nothing, a skipped, repeated or lower key costs a little, and a strike may be no
note at all (a knock). Offsets far from 0 cost something, and so do keys missing at the ends: where both
ends are played, an instrument up to about 90 cents off is still read right. Where a shift by a semitone
can't be told, the reading with the smaller offset is kept and called doubtful, and the other is named.

Score of a strike at a pitch: how far the partials of a stiff string [fletcher1964] at that pitch stand out
of the noise beside them and of what sounded before the blow, less the same half-way between the partials,
less what stands below the first.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d, median_filter

from pianolab.acoustics.compass import usual_inharmonicity, usual_stretch_cents
from pianolab.acoustics.limits import limits
from pianolab.acoustics.spectra import Samples, fast_size, line_spectra
from pianolab.acoustics.threads import at_once, runs
from pianolab.units import CENTS_PER_NEPER, FloatArray, key_to_hz

STEP_CENTS = 10
MARGIN_CENTS = 200
B_FACTORS = (0.45, 0.7, 1.0, 1.45)
MOST_PARTIALS = 18
NO_NOTE = -1000
"""Key number that stands for: this candidate is no note."""

_NO_NOTE_WEAK, _NO_NOTE_STRONG = 14.0, 3.5
_OFF_PENALTY = 1.2
_SKIP, _REPEAT, _BACK, _BACK_MORE = 0.6, 1.5, 9.0, 0.1
_END_SKIP = 1.2
_BELOW, _BELOW_ALONE = 12.0, 40.0
FEW_STRIKES = 5
"""Up to so many strikes say nothing of where a scale begins or ends."""


@dataclass(frozen=True)
class KeyPath:
    """The reading: key of each candidate strike (`NO_NOTE` for none), pitch found, and how sure.

    ``f1_hz`` is the coarse pitch of partial 1, ``b_factor`` the inharmonicity as a multiple of the usual,
    ``offset_cents`` the common offset, ``other_shift`` +1, -1 or 0: how the other possible reading shifts.
    """

    keys: NDArray[np.int64]
    f1_hz: FloatArray
    b_factor: FloatArray
    score: FloatArray
    offset_cents: float
    other_shift: int


def standing_out_db(power: NDArray[np.float32], *, rate_hz: int, size: int) -> NDArray[np.float32]:
    """How far each bin stands out of the noise beside it, in dB, 0 to 45; shape as ``power``."""
    half = max(3, round(45.0 * size / rate_hz))
    step = max(1, half // 6)
    thin = np.log10(power[:, ::step] + 1e-20)
    floor = median_filter(thin, size=(1, 2 * (half // step) + 1), mode="nearest")
    full = np.repeat(floor, step, axis=1)[:, : power.shape[1]]
    # The median of a chi-square variable with two degrees of freedom lies 1.6 dB under its mean.
    return np.clip(10.0 * (np.log10(power + 1e-20) - full) - 7.0, 0.0, 45.0).astype(np.float32)


def _grid(first_key: int, last_key: int) -> FloatArray:
    low, high = 100 * first_key - MARGIN_CENTS, 100 * last_key + MARGIN_CENTS
    return np.arange(low, high + 1, STEP_CENTS) / 100.0


def _partial_bins(
    grid_key: FloatArray, factor: float, *, rate_hz: int, size: int
) -> tuple[FloatArray, FloatArray]:
    """Bins of the partials and half-way between them, shape (grid, MOST_PARTIALS); NaN beyond the band."""
    n = np.arange(1.0, MOST_PARTIALS + 1.0)
    half = n + 0.5
    f1 = key_to_hz(grid_key)[:, None]
    b = factor * usual_inharmonicity(grid_key)[:, None]
    top_hz = min(9000.0, 0.46 * rate_hz)

    def bins(order: NDArray[np.floating]) -> FloatArray:
        f = order * f1 * np.sqrt((1 + b * order**2) / (1 + b))
        return np.where((f < top_hz) | (order == 1), np.minimum(f, 0.499 * rate_hz) * size / rate_hz, np.nan)

    return bins(n), bins(half)


def _widened(spectrum: NDArray[np.float32]) -> NDArray[np.float32]:
    """Greatest value within half a grid step (at least 3 bins) of each bin."""
    out = spectrum.copy()
    count = spectrum.shape[1]
    half, begin = 3, 0
    while begin < count:
        stop = min(count, max(begin + 1, int(1.5 * half / (0.55 * STEP_CENTS / CENTS_PER_NEPER))))
        low, high = max(0, begin - half), min(count, stop + half)
        out[:, begin:stop] = maximum_filter1d(spectrum[:, low:high], size=2 * half + 1, axis=1)[
            :, begin - low : stop - low
        ]
        half, begin = max(half + 1, int(1.5 * half)), stop
    return out


def _gather_mean(spectrum: NDArray[np.float32], bins: FloatArray, weights: FloatArray) -> FloatArray:
    used = ~np.isnan(bins)
    index = np.where(used, np.round(np.nan_to_num(bins)), 0).astype(np.int64)
    w = np.where(used, weights, 0.0)
    total = np.einsum("sgn,gn->sg", spectrum[:, index], w.astype(np.float32))
    return np.asarray(total / np.maximum(w.sum(axis=1), 1e-9))


def score_strikes(
    fresh_db: NDArray[np.float32], *, rate_hz: int, size: int, first_key: int, last_key: int
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Score of each strike on the pitch grid, the best inharmonicity factor there, and the grid (in keys)."""
    grid = _grid(first_key, last_key)
    n = np.arange(1, MOST_PARTIALS + 1)
    weights = 1.0 / np.sqrt(n)
    widened = _widened(fresh_db)
    below = np.cumsum(np.maximum(fresh_db - 12.0, 0.0), axis=1)
    # A scale tells octaves apart by itself; one note alone must not be read from its third partial up.
    told_apart = len(fresh_db) > FEW_STRIKES or last_key - first_key < 12
    below_counts = _BELOW if told_apart else _BELOW_ALONE
    best = np.full((len(fresh_db), len(grid)), -np.inf)
    factor_at = np.ones_like(best)
    for factor in B_FACTORS:
        on, between = _partial_bins(grid, factor, rate_hz=rate_hz, size=size)
        hit = _gather_mean(widened, on, weights)
        miss = _gather_mean(widened, between, weights)
        first_bin = np.maximum((0.9 * on[:, 0]).astype(np.int64), 0)
        share = below[:, first_bin] / np.maximum(below[:, -1:], 1e-6)
        score = hit - 0.8 * miss - below_counts * share
        better = score > best
        best, factor_at = np.where(better, score, best), np.where(better, factor, factor_at)
    return best, factor_at, grid


def _emissions(score: FloatArray, keys: NDArray[np.int64], offset: float, grid: FloatArray) -> FloatArray:
    """Best score of each strike near each key's expected pitch at that offset, shape (strikes, keys)."""
    reach = np.arange(-7, 8)
    expected = keys + (offset + usual_stretch_cents(keys)) / 100.0
    index = np.round((expected - grid[0]) * 100.0 / STEP_CENTS).astype(np.int64)
    penalty = _OFF_PENALTY * (np.maximum(np.abs(reach) * STEP_CENTS - 15.0, 0.0) / 20.0) ** 2
    around = np.clip(index[:, None] + reach, 0, len(grid) - 1)
    return np.asarray(np.max(score[:, around] - penalty, axis=2))


def _moves(count: int) -> FloatArray:
    step = np.arange(count)[None, :] - np.arange(count)[:, None]
    cost = np.where(step > 1, _SKIP * np.sqrt(np.maximum(step - 1, 0)), 0.0)
    cost = np.where(step == 0, _REPEAT, cost)
    return np.where(step < 0, _BACK - _BACK_MORE * step, cost)


STRONG_SHARE = 0.4


def rise_share(rise: FloatArray) -> FloatArray:
    """Rise of each candidate over that of a typical blow (a mean in which weak rises hardly count)."""
    return np.asarray(rise / max(float(np.sum(rise**3)) / max(float(np.sum(rise**2)), 1e-12), 1e-12))


def _no_note_scores(rise: FloatArray) -> FloatArray:
    """What it earns to call a candidate no note: much for a weak rise, little for a rise like a blow's."""
    share = np.clip((rise_share(rise) - 0.15) / 0.35, 0.0, 1.0)
    return np.asarray(_NO_NOTE_WEAK + share * (_NO_NOTE_STRONG - _NO_NOTE_WEAK))


def _best_paths(
    emission: FloatArray, moves: FloatArray, no_note: FloatArray
) -> tuple[FloatArray, NDArray[np.int64]]:
    """Best assignment of strikes to keys for each common offset: totals, and indices into the key list, -1 for no note.

    ``emission`` has shape (offsets, strikes, keys).
    """
    offsets, strikes, count = emission.shape
    ends = (_END_SKIP if strikes > FEW_STRIKES else 0.0) * np.sqrt(np.arange(count))
    value = np.full((offsets, count), -np.inf)
    idle = 0.0
    back = np.full((strikes, offsets, count), -2, dtype=np.int64)
    kept = np.zeros((strikes, offsets, count), dtype=bool)
    leave = np.ascontiguousarray(moves.T)
    for i in range(strikes):
        from_key = value[:, None, :] - leave
        source = np.argmax(from_key, axis=2)
        reach = np.take_along_axis(from_key, source[..., None], axis=2)[..., 0]
        start = idle - ends
        back[i] = np.where(start > reach, -1, source)
        take = np.maximum(start, reach) + emission[:, i]
        stay = value + no_note[i]
        kept[i] = stay >= take
        value = np.where(kept[i], stay, take)
        idle += float(no_note[i])
    final = value - ends[::-1]
    keys = np.full((offsets, strikes), -1, dtype=np.int64)
    totals = final.max(axis=1)
    for offset, state in enumerate(np.argmax(final, axis=1)):
        if idle >= totals[offset]:
            continue
        for i in range(strikes - 1, -1, -1):
            if kept[i, offset, state]:
                continue
            keys[offset, i] = state
            if back[i, offset, state] < 0:
                break
            state = back[i, offset, state]
    return np.maximum(totals, idle), keys


def _next_strong(onsets_s: FloatArray, rise: FloatArray, *, end_s: float) -> FloatArray:
    """When the next candidate comes that rises like a blow, or well over this one; weaker ones don't end a note."""
    strong = rise_share(rise) >= STRONG_SHARE
    out = np.full(len(onsets_s), end_s)
    for i in range(len(onsets_s)):
        after = np.flatnonzero(strong[i + 1 :] | (rise[i + 1 :] > 1.4 * rise[i]))
        if len(after):
            out[i] = onsets_s[i + 1 + int(after[0])]
    return out


def fresh_spectra(
    channels: Samples, onsets_s: FloatArray, rise: FloatArray, *, rate_hz: int, longest_s: float = 1.1
) -> tuple[NDArray[np.float32], int]:
    """What each strike added: spectra after each onset against the noise beside and the sound before it."""
    frames = channels.shape[1]
    begin = np.minimum(((onsets_s + 0.03) * rate_hz).astype(np.int64), frames - 1)
    following = _next_strong(onsets_s, rise, end_s=frames / rate_hz)
    last = np.minimum(np.minimum(following - 0.01, onsets_s + 0.03 + longest_s) * rate_hz, frames).astype(
        np.int64
    )
    previous = np.append(0.0, onsets_s[:-1] + 0.03) if len(onsets_s) else onsets_s
    before_begin = (np.maximum(onsets_s - 0.35, np.minimum(previous, onsets_s)) * rate_hz).astype(np.int64)
    before_last = (np.maximum(onsets_s - 0.03, 0.0) * rate_hz).astype(np.int64)
    size = fast_size(round(1.5 * rate_hz))

    def fresh(rows: NDArray[np.int64]) -> NDArray[np.float32]:
        after = line_spectra(
            channels, starts=begin[rows], lengths=np.maximum(last - begin, 0)[rows], size=size
        )
        before = line_spectra(
            channels,
            starts=before_begin[rows],
            lengths=np.maximum(before_last - before_begin, 0)[rows],
            size=size,
        )
        grown = 10.0 * np.log10((after + 1e-20) / (maximum_filter1d(before, size=5, axis=1) + 1e-20))
        stands_out = standing_out_db(after, rate_hz=rate_hz, size=size)
        return np.minimum(stands_out, np.clip(grown, 0.0, 45.0)).astype(np.float32)

    parts = at_once(fresh, runs(len(onsets_s), most=24))
    return np.concatenate(parts) if parts else np.zeros((0, size // 2 + 1), dtype=np.float32), size


def read_keys(
    fresh_db: NDArray[np.float32], rise: FloatArray, *, rate_hz: int, size: int, first_key: int, last_key: int
) -> KeyPath:
    """The most likely key of every candidate strike.

    Parameters
    ----------
    fresh_db : shape (strikes, bins), from `fresh_spectra`
    rise : shape (strikes,); how strongly each begins, from `onsets.find_onsets`
    rate_hz, size : the sampling rate and transform length of these spectra
    first_key, last_key : the keys the recording covers

    Returns
    -------
    KeyPath
    """
    lim = limits()["path"]
    score, factor_at, grid = score_strikes(
        fresh_db, rate_hz=rate_hz, size=size, first_key=first_key, last_key=last_key
    )
    keys = np.arange(first_key, last_key + 1)
    moves = _moves(len(keys))
    reach, step = lim["offset_range_cents"], lim["offset_step_cents"]
    offsets = np.arange(-reach, reach + 1, step, dtype=float)
    no_note = _no_note_scores(rise)
    best, paths = _best_paths(np.stack([_emissions(score, keys, o, grid) for o in offsets]), moves, no_note)
    totals = best - 0.5 * (offsets / 40.0) ** 2
    chosen = int(np.argmax(totals))
    offset, path = float(offsets[chosen]), paths[chosen]
    other = _other_shift(
        path, offset, totals, offsets, count=len(keys), doubtful_from=lim["doubtful_from_cents"]
    )
    return _finish(path, offset, other, score=score, factor_at=factor_at, grid=grid, keys=keys)


def _other_shift(
    path: NDArray[np.int64],
    offset: float,
    totals: FloatArray,
    offsets: FloatArray,
    *,
    count: int,
    doubtful_from: float,
) -> int:
    heard = path[path >= 0]
    if len(heard) == 0 or abs(offset) < doubtful_from:
        return 0
    shift = -1 if offset < 0 else 1
    if heard.min() + shift < 0 or heard.max() + shift >= count:
        return 0
    rival = totals[np.abs(offsets - (offset - 100.0 * shift)) <= 20.0]
    return shift if len(rival) and rival.max() > totals.max() - 12.0 else 0


def _finish(
    path: NDArray[np.int64],
    offset: float,
    other: int,
    *,
    score: FloatArray,
    factor_at: FloatArray,
    grid: FloatArray,
    keys: NDArray[np.int64],
) -> KeyPath:
    rows = np.arange(len(path))
    heard = path >= 0
    own = np.where(heard, keys[np.maximum(path, 0)], NO_NOTE)
    expected = np.where(heard, own, 0) + (offset + usual_stretch_cents(np.where(heard, own, 49))) / 100.0
    index = np.round((expected - grid[0]) * 100.0 / STEP_CENTS).astype(np.int64)
    around = np.clip(index[:, None] + np.arange(-7, 8), 0, len(grid) - 1)
    best = around[rows, np.argmax(score[rows[:, None], around], axis=1)]
    return KeyPath(
        keys=own,
        f1_hz=np.where(heard, key_to_hz(grid[best]), np.nan),
        b_factor=np.where(heard, factor_at[rows, best], np.nan),
        score=np.where(heard, score[rows, best], np.nan),
        offset_cents=offset,
        other_shift=other,
    )
