"""The best path through all strikes: dynamic programming over the key and the instrument's own pitch.

What the strikes say of each key and pitch comes in as one array (`PathModel`); what a move costs stands here and in
``limits.toml``. Which reading follows, and how sure it is, is the business of `keypath`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pianolab.acoustics.limits import limits
from pianolab.keyboard import FIRST_KEY, LAST_KEY
from pianolab.units import FloatArray

FEW_STRIKES = 5
"""Up to so many strikes say nothing of where a scale begins or ends."""
MOST_BEYOND = 3
"""Blows before the first note that was heard, or after the last, that are counted."""
SHORT_LAST_KEY = 85
"""Top key of the pianos that have three keys fewer than most [practice]."""
END_STEPS = 8
"""Steps up to an end that say how well keys are heard there."""
UNSTEADY = -1
"""Stands for a time gap that is no whole number of steps."""


@dataclass(frozen=True)
class PathModel:
    """What a search needs: ``fit`` (offsets, strikes, keys), what is lost of it where a strike and the one before are one
    key struck twice, at one pitch (the same shape), times, the local step's time, what a knock earns, how likely each
    offset is, the price of keys left out; the prices of keys missing at the low and the high end where the scale begins
    and where it ends at a strike, each (strikes, keys missing)."""

    fit: FloatArray
    unlike: FloatArray
    times_s: FloatArray
    step_s: FloatArray
    no_note: FloatArray
    prior: FloatArray
    left_out: float
    low: tuple[FloatArray, FloatArray]
    high: tuple[FloatArray, FloatArray]

    def mirrored(self, *, keys: bool, times: bool) -> PathModel:
        """The same with the keyboard, or the time, turned round; turned in time the offset's prior is left out."""
        fit = self.fit[:, ::-1] if times else self.fit
        # What stands at a strike belongs to it and the one before: turned round, to the one after.
        unlike = np.roll(self.unlike[:, ::-1], 1, axis=1) if times else self.unlike
        rows = slice(None, None, -1 if times else 1)
        low, high = (self.high, self.low) if keys else (self.low, self.high)
        return PathModel(
            fit[:, :, ::-1] if keys else fit,
            unlike[:, :, ::-1] if keys else unlike,
            -self.times_s[rows] if times else self.times_s,
            self.step_s[rows],
            self.no_note[rows],
            np.zeros_like(self.prior) if times else self.prior,
            self.left_out,
            (low[1][rows], low[0][rows]) if times else low,
            (high[1][rows], high[0][rows]) if times else high,
        )


@dataclass(frozen=True)
class Search:
    """``taken`` is the best total of a path that ends at a strike, (strikes, offsets, keys); key and offset index of
    each strike on the best path, -1 for no note; the best total."""

    taken: FloatArray
    keys: NDArray[np.int64]
    offsets: NDArray[np.int64]
    total: float


def _steps_taken(gap_s: FloatArray, step_s: float) -> NDArray[np.int64]:
    """How many steps' time each gap is; `UNSTEADY` where it is no whole number of them."""
    ratio = gap_s / step_s if step_s > 0 else np.full_like(gap_s, np.nan)
    whole = np.maximum(np.round(np.nan_to_num(ratio, nan=-9.0)), 1)
    fits = np.abs(ratio - whole) <= limits()["path"]["gap_tolerance"]
    return np.where(fits, np.minimum(whole, 99), UNSTEADY).astype(np.int64)


def _moves(count: int, steps_taken: int, left_out: float) -> FloatArray:
    """Cost of each move, shape (from, to), when so many steps' time has gone by."""
    lim = limits()["path"]
    step = np.arange(count)[None, :] - np.arange(count)[:, None]
    passed = np.log2(np.maximum(np.abs(step), 1))
    in_time = min(lim["unsounded"], left_out) + 0.5 * passed
    cost = np.where(step == steps_taken, in_time, left_out + 1.5 * passed)
    cost = np.where(step == 1, 0.0, cost)
    cost = np.where(step == 0, np.inf, cost)  # a key again: `_again`
    return np.where(step < 0, lim["back"] + 1.5 * passed, cost)


def _again(reach: FloatArray, source: NDArray[np.int64], value: FloatArray, unlike: FloatArray) -> None:
    """Puts in the move to the same key where it is better than one from any other."""
    again = value - limits()["path"]["again"] - unlike
    better = again > reach
    reach[better] = again[better]
    source[better] = np.nonzero(better)[1]


def _drifted(value: FloatArray) -> tuple[FloatArray, NDArray[np.int64]]:
    """Best over changes of the instrument's offset from one strike to the next: values, and the offset before."""
    at = np.arange(len(value))
    cost = limits()["path"]["drift"] * np.abs(at[:, None] - at[None, :])
    whole = value[None] - cost[:, :, None]
    source = np.argmax(whole, axis=1)
    return np.take_along_axis(whole, source[:, None], axis=1)[:, 0], source


def prices_of_ends(
    times_s: FloatArray,
    step_s: FloatArray,
    *,
    strong: NDArray[np.bool_],
    heard: NDArray[np.bool_],
    keys: NDArray[np.int64],
) -> tuple[tuple[FloatArray, FloatArray], tuple[FloatArray, FloatArray]]:
    """What missing keys cost at the low and at the high end, each where a scale begins and where it ends.

    Parameters
    ----------
    times_s, step_s : shape (strikes,); s, when each begins and the local step's time
    strong, heard : shape (strikes,); which rise like a blow, and which have the evidence of a string
    keys : shape (keys,); those the recording may cover, rising

    Returns
    -------
    low, high : two arrays of shape (strikes, keys missing) each
    """
    lim, count = limits()["path"], len(keys)
    first = np.full(len(times_s), lim["end_left_out" if keys[0] == FIRST_KEY else "named_left_out"])
    short = LAST_KEY - SHORT_LAST_KEY if keys[-1] == LAST_KEY else count
    low, high = [], []
    for turn in (-1, 1):
        at, step = turn * times_s[::turn], step_s[::turn]
        blows = blows_beyond(at, step, strong[::turn])[::turn]
        hidden = hidden_share(at, step, heard[::turn])[::turn]
        low.append(_missing(blows, count, first=first))
        high.append(_or_short(_missing(blows, count, first=_first_high(hidden)), short))
    return (low[0], low[1]), (high[0], high[1])


def _missing(blows: NDArray[np.int64], count: int, *, first: FloatArray) -> FloatArray:
    """Cost of keys missing at an end, shape (strikes, keys missing).

    Without a blow beyond the end it is ``first`` for one key, shape (strikes,), and more by the root of their number. A
    blow in time there is a key without sound, as they occur; where no key is left for it, it needs a reason.
    """
    if len(blows) <= FEW_STRIKES:
        return np.zeros((len(blows), count))
    lim, missing = limits()["path"], np.arange(count)[None, :]
    struck = np.minimum(missing, blows[:, None])
    unplayed = missing - struck
    cost = np.where(unplayed > 0, first[:, None] + np.sqrt(np.maximum(unplayed - 1, 0)), 0.0)
    return np.asarray(cost + lim["unsounded"] * struck + lim["beyond"] * (blows[:, None] - struck))


def _first_high(hidden: FloatArray) -> FloatArray:
    """Cost of one key missing at the high end, by the share of the keys under it that were not heard either.

    Noise soon hides a key or two at the top, but where all others stand clear the last is hardly ever hidden.
    """
    lim = limits()["path"]
    least, more = lim["high_end_hidden"]
    return np.asarray(-np.log(least + more * hidden + np.exp(-lim["end_left_out"])))


def _or_short(high: FloatArray, short: int) -> FloatArray:
    """Costs at the high end where some pianos have so many keys fewer."""
    if high.shape[1] <= short or not high.any():
        return high
    out = high.copy()
    np.minimum(out[:, short:], limits()["path"]["short_compass"] + high[:, :-short], out=out[:, short:])
    return out


def hidden_share(times_s: FloatArray, step_s: FloatArray, heard: NDArray[np.bool_]) -> FloatArray:
    """Share of the last `END_STEPS` steps up to each strike in which nothing was heard, shape (strikes,).

    Examples
    --------
    >>> at = np.arange(8.0)
    >>> hidden_share(at, np.ones(8), at != 5)[[4, 7]].tolist()
    [0.0, 0.125]
    """
    out = np.zeros(len(times_s))
    for i, (at, step) in enumerate(zip(times_s, step_s, strict=True)):
        if not step > 0:
            continue
        back = np.round((at - times_s[: i + 1]) / step).astype(np.int64)
        places = min(END_STEPS, 1 + int(back[0]))
        found = np.unique(back[heard[: i + 1] & (back < places)])
        out[i] = 1.0 - len(found) / places
    return out


def blows_beyond(times_s: FloatArray, step_s: FloatArray, strong: NDArray[np.bool_]) -> NDArray[np.int64]:
    """How many strong candidates follow each one, a step's time after one another; `MOST_BEYOND` are enough."""
    tolerance, out = limits()["path"]["gap_tolerance"], np.zeros(len(times_s), dtype=np.int64)
    for i in range(len(times_s) - 1, -1, -1):
        late = np.abs((times_s[i + 1 :] - times_s[i]) / step_s[i] - 1.0)
        near = np.flatnonzero(strong[i + 1 :] & (late <= tolerance))
        if len(near):
            out[i] = min(1 + out[i + 1 + int(near[np.argmin(late[near])])], MOST_BEYOND)
    return out


def search(model: PathModel) -> Search:
    """Best path through all strikes."""
    offsets, strikes, count = model.fit.shape
    value = np.full((offsets, count), -np.inf)
    last = np.zeros((offsets, count), dtype=np.int64)
    idle = 0.0
    taken = np.empty((strikes, offsets, count))
    from_key = np.empty((strikes, offsets, count), dtype=np.int16)
    from_offset = np.empty((strikes, offsets, count), dtype=np.int16)
    kept = np.empty((strikes, offsets, count), dtype=bool)
    moves: dict[int, FloatArray] = {}
    for i in range(strikes):
        reach, source = _reached(
            value, model.times_s[i] - model.times_s[last], float(model.step_s[i]), model.left_out, moves
        )
        _again(reach, source, value, np.where(last == i - 1, model.unlike[:, i], 0.0))
        reach, offset_before = _drifted(reach)
        start = idle - model.low[0][i][None] + model.prior[:, None]
        begun = start > reach
        from_key[i] = np.where(begun, -1, np.take_along_axis(source, offset_before, axis=0))
        from_offset[i] = offset_before
        taken[i] = np.where(begun, start, reach) + model.fit[:, i]
        stay = value + model.no_note[i]
        kept[i] = stay >= taken[i]
        value = np.where(kept[i], stay, taken[i])
        last = np.where(kept[i], last, i)
        idle += float(model.no_note[i])
    final = value - model.high[1][:, ::-1][last, np.arange(count)]
    keys, at = np.full(strikes, -1, dtype=np.int64), np.zeros(strikes, dtype=np.int64)
    offset, key = (int(v) for v in np.unravel_index(int(np.argmax(final)), final.shape))
    total = float(final[offset, key])
    if total <= idle:
        return Search(taken, keys, at, idle)
    for i in range(strikes - 1, -1, -1):
        if kept[i, offset, key]:
            continue
        keys[i], at[i] = key, offset
        if from_key[i, offset, key] < 0:
            break
        offset, key = int(from_offset[i, offset, key]), int(from_key[i, offset, key])
    return Search(taken, keys, at, total)


def _reached(
    value: FloatArray, gap_s: FloatArray, step_s: float, left_out: float, moves: dict[int, FloatArray]
) -> tuple[FloatArray, NDArray[np.int64]]:
    """Best value of each state after a move from any key, and that key; ``moves`` keeps the costs already made."""
    best = np.full(value.shape, -np.inf)
    source = np.zeros(value.shape, dtype=np.int64)
    alive = np.isfinite(value)
    taken = _steps_taken(gap_s, step_s)
    for steps in np.unique(taken[alive]):
        if int(steps) not in moves:
            moves[int(steps)] = _moves(value.shape[1], int(steps), left_out)
        these = np.where(alive & (taken == steps), value, -np.inf)
        rows = np.flatnonzero(np.isfinite(these).any(axis=1))
        whole = these[rows][:, :, None] - moves[int(steps)][None]
        at = np.argmax(whole, axis=1)
        reach = np.take_along_axis(whole, at[:, None], axis=1)[:, 0]
        better = reach > best[rows]
        best[rows] = np.where(better, reach, best[rows])
        source[rows] = np.where(better, at, source[rows])
    return best, source
