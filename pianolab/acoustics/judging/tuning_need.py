"""What is a state of the tuning, and what is a fault of one key.

Strings that have drifted apart all over a piano are one statement: it needs tuning, and a tuner mends it in two hours.
A fault is what stands out of that: one unison far wider than the instrument's own others nearby, where a string has
slipped or its pin is loose, or a key far off the instrument's own curve.

How wide is usual for a key is the median of the other keys about it, or of the whole instrument, whichever is more:
a register that drifted is a state as well. How far single unisons scatter about that is taken from the instrument
itself; widths scatter by a factor, so logarithms are compared. The limits are in ``limits.toml``.

Limits: which string is off can't be heard, nor why. Where unisons are 15 cents wide everywhere, a string that slipped
by 20 more is not told from them; tune, then listen again. Fewer than five unisons say nothing about the tuning.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pianolab.acoustics.judging.tuning import robust_spread
from pianolab.acoustics.limits import limits
from pianolab.keyboard import usual_strings
from pianolab.units import FloatArray

if TYPE_CHECKING:
    import pandas as pd

Flags = NDArray[np.bool_]
LEAST_WIDTH_CENTS = 0.3
"""Below this a width is as good as none, and its logarithm means nothing."""
TOGETHER_GAP = 3
"""Keys no farther apart than this are beside each other."""


@dataclass(frozen=True, kw_only=True)
class TuningNeed:
    """The unisons of an instrument in numbers, and whether it needs tuning.

    ``judged`` keys with several strings were measured, ``wide`` of them are over `wide_cents`, ``far`` over the limit
    that no tuning stands for long; ``usual_cents`` is their median and ``uneven_cents`` how far keys scatter about
    their own curve, None where unknown.
    """

    judged: int
    wide: int
    far: int
    usual_cents: float | None
    uneven_cents: float | None

    @property
    def by_unisons(self) -> bool:
        """Whether so many unisons are wide that this is the state of the whole."""
        lim = limits()["tuning"]
        if self.judged < lim["least_unisons"]:
            return False
        return self.wide >= lim["wide_share"] * self.judged or self.far >= lim["far_share"] * self.judged

    @property
    def by_keys(self) -> bool:
        """Whether the keys stand unevenly about the instrument's own curve."""
        return (self.uneven_cents or 0.0) > limits()["tuning"]["uneven_cents"]

    @property
    def needed(self) -> bool:
        """Whether the whole instrument needs tuning."""
        return self.by_unisons or self.by_keys

    def why(self) -> str:
        """What shows it, in words; empty where no tuning is needed.

        Examples
        --------
        >>> TuningNeed(judged=85, wide=71, far=40, usual_cents=3.8, uneven_cents=1.2).why()
        '71 of 85 unisons are over 2 cents'
        """
        unisons = f"{self.wide} of {self.judged} unisons are over {wide_cents():g} cents"
        keys = f"its keys are {self.uneven_cents or 0.0:.1f} cents uneven"
        told = [words for told, words in ((self.by_unisons, unisons), (self.by_keys, keys)) if told]
        return " and ".join(told)

    def says(self, *, hidden: int = 0, heard: int = 0) -> str:
        """One sentence on what to do about it; empty where no tuning is needed.

        ``hidden`` of ``heard`` notes can't be judged through their unisons.

        Examples
        --------
        >>> need = TuningNeed(judged=85, wide=71, far=40, usual_cents=3.8, uneven_cents=1.2)
        >>> need.says(hidden=70, heard=88)
        "tune before deciding: 71 of 85 unisons are over 2 cents, so how long 70 of 88 notes sing can't be told"
        """
        if not self.needed:
            return ""
        so = (
            f", so how long {hidden} of {heard} notes sing can't be told"
            if hidden and self.by_unisons
            else ""
        )
        return f"{self.advice()}: {self.why()}{so}"

    def advice(self) -> str:
        """What to do, in a word or three: wide unisons hide other things, uneven keys don't."""
        return "tune before deciding" if self.by_unisons else "needs tuning" if self.needed else ""


def wide_cents() -> float:
    """Beyond this width a unison counts as wide, cents."""
    return float(limits()["tuning"]["wide_cents"])


def tuning_need(spread_cents: ArrayLike, key: ArrayLike, *, uneven_cents: float | None = None) -> TuningNeed:
    """The state of the unisons over the whole instrument.

    Read the result as: a statement about the tuning, not about any key.

    Parameters
    ----------
    spread_cents : shape (keys,), distance of the outermost strings of each key, NaN where unknown
    key : shape (keys,); keys that usually have one string are left out
    uneven_cents : how far keys scatter about the instrument's own curve, cents

    Examples
    --------
    >>> tuning_need([1.8] * 40, range(30, 70)).needed, tuning_need([5.0] * 40, range(30, 70)).needed
    (False, True)
    """
    lim = limits()["tuning"]
    width = np.where(_several(key), np.asarray(spread_cents, dtype=float), np.nan)
    known = width[~np.isnan(width)]
    uneven = None if uneven_cents is None or np.isnan(uneven_cents) else float(uneven_cents)
    return TuningNeed(
        judged=known.size,
        wide=int(np.sum(known > lim["wide_cents"])),
        far=int(np.sum(known > lim["far_cents"])),
        usual_cents=float(np.median(known)) if known.size else None,
        uneven_cents=uneven,
    )


def need_of_table(table: pd.DataFrame) -> TuningNeed:
    """The state of the tuning from a survey table."""
    measured = table[table["status"] == "measured"]
    off = measured["off_curve_cents"].to_numpy(float)
    uneven = robust_spread(off) if len(off) >= limits()["tuning"]["least_unisons"] else None
    return tuning_need(measured["unison_cents"], measured["key"], uneven_cents=uneven)


def pitch_words(offset_cents: float | None) -> str:
    """The pitch of the whole instrument where it matters; empty near the pitch that was asked for.

    Examples
    --------
    >>> pitch_words(-44.2), pitch_words(3.0)
    ('the piano as a whole is 44 cents flat', '')
    """
    if offset_cents is None or abs(offset_cents) <= limits()["tuning"]["flat_or_sharp_cents"]:
        return ""
    return f"the piano as a whole is {abs(offset_cents):.0f} cents {'flat' if offset_cents < 0 else 'sharp'}"


def fault_from_cents(spread_cents: ArrayLike, key: ArrayLike) -> FloatArray:
    """Width from which each key's unison is a fault of its own in this instrument, cents; shape (keys,).

    Examples
    --------
    >>> tuned, neglected = (fault_from_cents([usual] * 40, range(30, 70)) for usual in (0.5, 4.0))
    >>> float(tuned[9]), float(neglected[9])
    (5.3, 16.0)
    """
    lim, keys = limits()["unison"], np.asarray(key, dtype=int)
    width = np.where(_several(keys), np.asarray(spread_cents, dtype=float), np.nan)
    known = ~np.isnan(width)
    if not known.any():
        return np.full(len(keys), lim["fault_cents"])
    logarithm = np.log(np.maximum(width, LEAST_WIDTH_CENTS))
    whole = float(np.median(logarithm[known]))
    about = np.array([_usual_about(i, logarithm, keys, whole) for i in range(len(keys))])
    scatter = robust_spread(np.where(known, logarithm - about, np.nan))
    factor = np.clip(
        np.exp(lim["fault_scatters"] * scatter), lim["fault_times_least"], lim["fault_times_most"]
    )
    return np.asarray(np.maximum(lim["fault_cents"], factor * np.exp(np.maximum(about, whole))))


def _usual_about(i: int, logarithm: FloatArray, key: NDArray[np.int_], whole: float) -> float:
    """What is usual where a key lies, itself left out; for the whole where too few are near."""
    lim = limits()["unison"]
    near = (np.abs(key - key[i]) <= lim["neighbours"]) & (key != key[i]) & ~np.isnan(logarithm)
    return float(np.median(logarithm[near])) if near.sum() >= lim["least_neighbours"] else whole


def slipped_strings(spread_cents: FloatArray, spread_sd: FloatArray, key: NDArray[np.int_]) -> Flags:
    """Keys of which one string has gone its own way, as no state of the tuning explains it."""
    sure = spread_cents - limits()["unison"]["sure_sds"] * np.nan_to_num(spread_sd)
    return np.asarray(_several(key) & (np.nan_to_num(sure) > fault_from_cents(spread_cents, key)))


def perhaps_slipped(spread_cents: FloatArray, spread_sd: FloatArray, key: NDArray[np.int_]) -> Flags:
    """Keys whose width may lie beyond that limit, but is too vague to tell."""
    sd = np.nan_to_num(spread_sd)
    may = np.nan_to_num(spread_cents) + sd > fault_from_cents(spread_cents, key)
    return np.asarray(_several(key) & may & (sd > limits()["unison"]["doubtful_sd_cents"]))


def off_curve(
    off_cents: FloatArray, cents_sd: FloatArray, spread_cents: FloatArray, key: NDArray[np.int_]
) -> Flags:
    """Keys far off the instrument's own curve.

    Farther than the others scatter, than they may be wrong by, and than strings so far apart as the instrument's usually
    are make a key uncertain: what the tuner will move anyway is no fault of the key.
    """
    lim = limits()["pitch"]
    scatter = max(float(np.nan_to_num(robust_spread(off_cents))), 0.3)
    least = np.where(key > lim["taste_above"], lim["taste_cents"], lim["off_curve_cents"])
    sure = np.maximum(least, lim["off_curve_sds"] * np.nan_to_num(cents_sd))
    usual = tuning_need(spread_cents, key).usual_cents or 0.0
    others = max(lim["off_curve_spreads"] * scatter, lim["off_curve_unisons"] * usual)
    far = np.abs(off_cents) > np.maximum(sure, others)
    return np.asarray(np.nan_to_num(far).astype(bool))


def moved_together(far: Flags, key: NDArray[np.int_]) -> Flags:
    """Of the keys that are far off the curve those that are so beside each other: a register that was left behind by the
    tuner, or keys that were misread; one of them alone has no fault of its own.

    Examples
    --------
    >>> far = np.isin(np.arange(30, 60), [35, 44, 45, 47, 48, 55, 56])
    >>> [int(k) for k in np.arange(30, 60)[moved_together(far, np.arange(30, 60))]]
    [44, 45, 47, 48]
    """
    at = np.flatnonzero(far)
    groups = np.split(at, np.flatnonzero(np.diff(key[at]) > TOGETHER_GAP) + 1)
    out = np.zeros(len(far), dtype=bool)
    for group in groups:
        out[group] = len(group) >= limits()["tuning"]["together_keys"]
    return out


def _several(key: ArrayLike) -> Flags:
    return np.array([usual_strings(int(k)) > 1 for k in np.asarray(key)], dtype=bool)
