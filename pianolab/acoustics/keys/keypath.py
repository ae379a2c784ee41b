"""Which key each strike is: the whole recording is read at once, as one path over the keyboard.

A single note alone can't tell its key, because the instrument's pitch is not known: a piano a semitone flat
sounds like its neighbour. So the evidence of every strike for every pitch (`line_evidence`) is put together by
dynamic programming (`path_search`) over the key and the instrument's own pitch at that place, which may drift slowly
from register to register. A step to the next key in one step's time costs nothing. Keys left out cost little where the
time for them was taken and much where it was not; a key struck again, a step back, a jump up and back have their
price; a strike may be no note at all (a knock), which is cheap for a weak one. A descending scale is read in its own
direction. Offsets far from 0 cost something, and so do keys missing at the ends: where both ends are played, an
instrument up to about 90 cents off is still read right. The price of the top is small where the keys under it are hardly
heard either, and that of a piano of 85 keys is its own. A blow without a tone, in time before the first note or after
the last, is a key there that gives no sound: it takes from the price of an end and speaks against a reading in which
the keyboard has no key left for it.

How sure each strike is comes from the same sums: the best path through any other key at that strike, less the best
path. Where all strikes could be one key higher or lower at little cost, the reading is doubtful and the other is
named; a strike that could as well be another key by itself is not taken for one.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pianolab.acoustics.keys.compass import usual_stretch_cents
from pianolab.acoustics.keys.fresh_lines import Floats
from pianolab.acoustics.keys.line_evidence import STEP_CENTS, LineEvidence
from pianolab.acoustics.keys.onsets import STRONG_SHARE, rise_share
from pianolab.acoustics.keys.path_search import FEW_STRIKES, PathModel, Search, prices_of_ends, search
from pianolab.acoustics.limits import limits
from pianolab.units import FloatArray, key_to_hz

NO_NOTE = -1000
"""Key number that stands for: this candidate is no note."""
OFFSETS_CENTS = np.arange(-160.0, 161.0, 20.0)
HARDLY_SHARE, BLOW_SHARE = 0.15, 0.5
"""Of a typical blow's rise: up to here a strike hardly rises, from there on it counts as any blow; own choice."""
REACH = np.arange(-9, 10)
"""Steps of the pitch grid that a key may lie from the instrument's own pitch there: 90 cents."""


@dataclass(frozen=True)
class KeyPath:
    """The reading: key of each candidate strike (`NO_NOTE` for none), pitch found, and how sure.

    ``f1_hz`` is the coarse pitch of partial 1, ``b_factor`` the inharmonicity as a multiple of the usual, ``score``
    the evidence for the key, ``margin`` how far the best reading with another key at this strike lies behind (both
    natural logarithms of likelihoods), ``offset_cents`` the instrument's offset, ``other_shift`` +1, -1 or 0: how the
    other possible reading shifts, ``whole_margin`` how far the nearest reading with all keys shifted by one lies behind,
    ``unread`` which candidates are blows with a tone in which no key could be read.
    """

    keys: NDArray[np.int64]
    f1_hz: FloatArray
    b_factor: FloatArray
    score: FloatArray
    margin: FloatArray
    offset_cents: float
    other_shift: int
    whole_margin: float = float("inf")
    unread: NDArray[np.bool_] | None = None

    def among(self, some: NDArray[np.bool_]) -> KeyPath:
        """The same reading of these candidates among others that are no notes."""

        def put(values: FloatArray) -> FloatArray:
            out = np.full(len(some), np.nan)
            out[some] = values
            return out

        keys = np.full(len(some), NO_NOTE, dtype=np.int64)
        keys[some] = self.keys
        return replace(
            self,
            keys=keys,
            f1_hz=put(self.f1_hz),
            b_factor=put(self.b_factor),
            score=put(self.score),
            margin=put(self.margin),
        )

    @property
    def sure(self) -> NDArray[np.bool_]:
        """Strikes whose key is told, shape as ``keys``.

        A key that was struck before, with others between, needs more: the strings that ring on hide much of a note,
        and what is left may look like a key far below.
        """
        lim = limits()["path"]
        least = np.where(self._struck_before(), lim["sure_again_margin"], lim["sure_margin"])
        return (self.keys != NO_NOTE) & (self.margin >= least) & (self.score >= lim["sure_score"])

    def _struck_before(self) -> NDArray[np.bool_]:
        out, seen, last = np.zeros(len(self.keys), dtype=bool), set[int](), NO_NOTE
        for i, key in enumerate(self.keys.tolist()):
            if key == NO_NOTE:
                continue
            out[i] = key in seen and key != last
            seen.add(key)
            last = key
        return out


def read_keys(
    evidence: LineEvidence,
    times_s: FloatArray,
    rise: FloatArray,
    *,
    first_key: int,
    last_key: int,
) -> KeyPath:
    """The most likely key of every candidate strike.

    Parameters
    ----------
    evidence : from `line_evidence.weigh`
    times_s, rise : shape (strikes,); when and how strongly each begins, from `onsets.find_onsets`
    first_key, last_key : the keys the recording covers

    Returns
    -------
    KeyPath
    """
    lim = limits()["path"]
    share = rise_share(rise)
    weak = 1.0 - np.clip((share - HARDLY_SHARE) / (BLOW_SHARE - HARDLY_SHARE), 0.0, 1.0)
    keys = np.arange(first_key, last_key + 1)
    strong, step_s = share >= STRONG_SHARE, _local_step_s(times_s, share >= STRONG_SHARE)
    fit = _fit(evidence, keys)
    heard = evidence.score.max(axis=1, initial=0.0) >= lim["sure_score"]
    low, high = prices_of_ends(times_s, step_s, strong=strong, heard=heard, keys=keys)
    model = PathModel(
        fit=fit,
        unlike=_unlike(evidence.score, fit, _places(evidence, keys)),
        times_s=times_s,
        step_s=step_s,
        no_note=lim["no_note_strong"] + weak * (lim["no_note_weak"] - lim["no_note_strong"]),
        prior=_offset_prior(OFFSETS_CENTS) - _offset_prior(np.zeros(1)),
        left_out=lim["left_out"],
        low=low,
        high=high,
    )
    found = search(model)
    heard = found.keys[found.keys >= 0]
    if len(heard) > FEW_STRIKES and (leaps := float(np.mean(np.abs(np.diff(heard)) > 1))) > np.exp(
        -model.left_out
    ):
        # White keys only, or every third: the scale itself says what leaving out a key is worth.
        model = replace(model, left_out=-float(np.log(leaps)))
        found = search(model)
        heard = found.keys[found.keys >= 0]
    if len(heard) > FEW_STRIKES and np.mean(np.diff(heard) < 0) > 0.2:
        turned = model.mirrored(keys=True, times=False)
        down = search(turned)
        if down.total > found.total:
            return _finish(down, _doubt(turned, down, direction=-1), evidence, keys[::-1])
    return _finish(found, _doubt(model, found, direction=1), evidence, keys)


def _offset_prior(offset_cents: FloatArray) -> FloatArray:
    """How likely an instrument lies so far from A4: most are near, some have not been tuned for years."""
    lim = limits()["path"]
    near, far = lim["tuned_sd_cents"], lim["untuned_sd_cents"]
    share = lim["untuned_share"]
    tuned = (1.0 - share) / near * np.exp(-0.5 * (offset_cents / near) ** 2)
    return np.asarray(np.log(tuned + share / far * np.exp(-0.5 * (offset_cents / far) ** 2)))


def _fit(evidence: LineEvidence, keys: NDArray[np.int64]) -> FloatArray:
    """Evidence of each strike for each key at each offset of the instrument, shape (offsets, strikes, keys).

    A key may lie off the instrument's own pitch; it costs the more the farther, but never everything.
    """
    reached = _best_within(evidence.score, REACH, _off_penalty())
    return np.stack([reached[:, at] for at in _places(evidence, keys)]).astype(float)


def _unlike(score: Floats, fit: FloatArray, places: list[NDArray[np.int64]]) -> FloatArray:
    """What two strikes in turn lose of their evidence were they one key, shape of ``fit``; at each the one before it.

    The same strings don't move by a semitone from one blow to the next: both must fit at one pitch, within a step of the
    grid. Two neighbours in a key's reach fit it each at its own pitch.
    """
    near = _best_within(score, np.arange(-1, 2), np.zeros(3))
    together = _best_within(score[1:] + near[:-1], REACH, 2.0 * _off_penalty())
    both = np.stack([together[:, at] for at in places]).astype(float)
    out = np.zeros_like(fit)
    out[:, 1:] = np.clip(fit[:, :-1] + fit[:, 1:] - both, 0.0, limits()["path"]["unlike_most"])
    return out


def _best_within(score: Floats, steps: NDArray[np.int64], cost: FloatArray) -> Floats:
    """Best score so many steps of the pitch grid about each place, less what a step costs; shape of ``score``."""
    side, count = int(steps[-1]), score.shape[1]
    padded = np.pad(score, ((0, 0), (side, side)), constant_values=-1e3)
    out = padded[:, side : side + count].copy()
    for step, dear in zip(steps, cost, strict=True):
        np.maximum(out, padded[:, side + step : side + step + count] - np.float32(dear), out=out)
    return out


def _places(evidence: LineEvidence, keys: NDArray[np.int64]) -> list[NDArray[np.int64]]:
    """Where on the grid each key lies, for every offset of the instrument."""
    return [_index(evidence, keys, o) for o in OFFSETS_CENTS]


def _off_penalty() -> FloatArray:
    """Cost of each step of `REACH` off the instrument's own pitch."""
    lim = limits()["path"]
    cents = REACH * STEP_CENTS
    near = lim["off_weight"] * np.log1p((cents / lim["off_cents"]) ** 2)
    return np.asarray(near + 0.5 * (cents / lim["far_off_cents"]) ** 2)


def _index(
    evidence: LineEvidence, keys: NDArray[np.int64], offset_cents: float | FloatArray
) -> NDArray[np.int64]:
    expected = keys + (offset_cents + usual_stretch_cents(keys)) / 100.0
    at = np.round((expected - evidence.grid[0]) * 100.0 / STEP_CENTS).astype(np.int64)
    return np.clip(at, 0, len(evidence.grid) - 1)


def _local_step_s(times_s: FloatArray, strong: NDArray[np.bool_]) -> FloatArray:
    """Median time between the strong candidates about each candidate; NaN where there are fewer than two."""
    at, out = times_s[strong], np.full(len(times_s), np.nan)
    steps = np.diff(at)
    for i, place in enumerate(np.searchsorted(at, times_s)):
        near = steps[max(0, place - 6) : place + 6]
        if len(near):
            out[i] = np.median(near)
    return out


@dataclass(frozen=True)
class _Doubt:
    """How far the best path with another key lies behind at each strike; which way the whole could be shifted, and
    how far that reading lies behind."""

    margin: FloatArray
    shift: int
    whole: float


def _doubt(model: PathModel, found: Search, *, direction: int) -> _Doubt:
    """``direction`` is -1 where the model's keyboard is turned round."""
    strikes = len(found.keys)
    margin = np.full(strikes, np.nan)
    heard = np.flatnonzero(found.keys >= 0)
    if not len(heard):
        return _Doubt(margin, 0, float("inf"))
    back = search(model.mirrored(keys=True, times=True)).taken[::-1, :, ::-1]
    through = (found.taken + back - model.fit.transpose(1, 0, 2)).max(axis=1)
    rows = np.arange(strikes)
    own = through[rows, found.keys]
    behind = {shift: _behind(through, own, found.keys, heard, shift) for shift in (-2, -1, 1, 2)}
    shift = min((-1, 1), key=lambda s: float(behind[s]))
    whole, clear = behind[shift], limits()["path"]["clear_margin"]
    cents = float(np.median(OFFSETS_CENTS[found.offsets[heard]]))
    # Two keys off is not said of the whole: where that lies near enough, and nearer to A4, no strike is sure.
    said = {s: f for s, f in behind.items() if abs(s) == 1 or f >= clear or abs(cents - 100 * s) > abs(cents)}
    margin[heard] = _margins(through, found.keys, said)[heard]
    return _Doubt(margin, direction * shift if whole < clear else 0, whole)


def _margins(through: FloatArray, keys: NDArray[np.int64], behind: Mapping[int, float]) -> FloatArray:
    """How far the best path through any other key lies behind at each strike.

    A shift of the whole that is said of the reading, or lies far behind, isn't said again of each strike (``behind``): there
    the shifted key counts where it is more likely than the whole is, shifted that way.
    """
    rows, own_key = np.arange(len(keys)), np.maximum(keys, 0)
    own, other = through[rows, own_key], through.copy()
    other[rows, own_key] = -np.inf
    for shift, whole in behind.items():
        beside = np.clip(own_key + shift, 0, through.shape[1] - 1)
        as_whole = own - through[rows, beside] > whole - limits()["path"]["like_the_whole"]
        other[rows[as_whole], beside[as_whole]] = -np.inf
    return np.asarray(own - other.max(axis=1))


def _behind(
    through: FloatArray, own: FloatArray, keys: NDArray[np.int64], heard: NDArray[np.int64], shift: int
) -> float:
    """How far the reading with all keys shifted lies behind: the middle over the strikes."""
    key = keys[heard] + shift
    inside = (key >= 0) & (key < through.shape[1])
    other = through[heard, np.clip(key, 0, through.shape[1] - 1)]
    return float(np.median(np.where(inside, own[heard] - other, np.inf)))


def _finish(found: Search, doubt: _Doubt, evidence: LineEvidence, keys: NDArray[np.int64]) -> KeyPath:
    rows = np.arange(len(found.keys))
    heard = found.keys >= 0
    own = np.where(heard, keys[np.maximum(found.keys, 0)], NO_NOTE)
    offset = OFFSETS_CENTS[found.offsets]
    centre = _index(evidence, np.where(heard, own, 49), offset)
    around = np.clip(centre[:, None] + REACH, 0, len(evidence.grid) - 1)
    nearby = np.take_along_axis(evidence.low_score, around, axis=1)
    best = (
        around[rows, np.argmax(nearby - _off_penalty(), axis=1)] if len(rows) else np.zeros(0, dtype=np.int64)
    )
    return KeyPath(
        keys=own,
        f1_hz=np.where(heard, key_to_hz(evidence.grid[best]), np.nan),
        b_factor=np.where(heard, evidence.b_factor[rows, best], np.nan),
        score=np.where(heard, evidence.score[rows, best], np.nan),
        margin=np.where(heard, doubt.margin, np.nan),
        offset_cents=float(np.median(offset[heard])) if heard.any() else 0.0,
        other_shift=doubt.shift,
        whole_margin=doubt.whole,
    )
