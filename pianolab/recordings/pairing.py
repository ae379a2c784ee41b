"""The keys of two surveys laid beside each other, and whether both can be of one piano in one tuning.

The change of a key's pitch is the weighted median of the changes of its partials: each partial's energy centroid is
pulled by the bridge and by the string's own unevenness, but alike in both recordings, so the pull drops out
(own measurements on two modelled pianos: the repeat error of a key falls to a half and a third of that of the
fitted first partial). Its uncertainty is the partials' scatter. Surveys without partials are compared by their first
partial.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from pianolab.acoustics.judging.tuning import robust_spread
from pianolab.acoustics.named_reasons import split_reasons
from pianolab.acoustics.strings.unison import weighted_median
from pianolab.acoustics.survey_result import Survey
from pianolab.errors import BadInput
from pianolab.keyboard import HIGHEST_KEY, LOWEST_KEY, usual_strings
from pianolab.units import CENTS_PER_NEPER, FloatArray

if TYPE_CHECKING:
    import pandas as pd

    from pianolab.acoustics.survey_result import PartialPitches, Survey


SAME_CENTS, SAME_SPREADS = 3.0, 5.0
"""Takes of one day agree within this, and within this many times the spread of their differences [practice]."""
SAME_WITHOUT_OVERLAP_CENTS = 20.0
SHIFTED_FROM_CENTS = 50.0
MOST_SHIFT = 2
OTHER_PIANO = 0.013
"""Median disagreement of ln B below key 64 from which it is another piano: one piano, recorded twice, disagreed by up
to 0.007, two modelled pianos of one kind by 0.019 and more (own measurement)."""
LEAST_PITCH_SD, LEAST_UNISON_SD, FEW_PITCH_SD = 0.03, 0.05, 0.15
"""Cents; the last where no neighbour shows how much partials scatter."""
TOP_FROM_KEY, TOP_PITCH_SD = 77, 0.15
"""One to three partials, all in the first tenths of a second: their scatter says too little."""
NEAR_KEYS, FEW_PARTIALS, POOLED_PARTIALS = 8, 2.5, 3.0


@dataclass(frozen=True)
class Pairs:
    """Two surveys key by key, arrays over an unbroken range of keys; NaN where not measured in both.

    ``change`` in cents from the first to the second; ``pitch_sd`` and ``unison_sd`` are both surveys' own
    uncertainties together; ``log_b_change`` of the inharmonicity, with what the change of pitch does to it taken out;
    ``shift`` how many keys too high the second reading lies; ``why`` a reason per key that can't be compared.
    """

    key: NDArray[np.int64]
    strings: NDArray[np.int64]
    change: FloatArray
    pitch_sd: FloatArray
    unison_before: FloatArray
    unison_after: FloatArray
    unison_sd: FloatArray
    log_b_change: FloatArray
    shift: int
    why: tuple[str, ...]

    @property
    def known(self) -> NDArray[np.bool_]:
        return ~np.isnan(self.change)

    @property
    def unison_change(self) -> FloatArray:
        return self.unison_after - self.unison_before

    @property
    def first_key(self) -> int:
        return int(self.key[0])


def pair_keys(first: Survey, second: Survey) -> Pairs:
    """The keys of two surveys beside each other; a reading that lies a semitone off is laid back.

    Where the second recording seems to lie half a semitone or more away, two accounts are possible: the whole piano
    was pulled up, or one of the readings took each key for its neighbour. The latter is taken where the keys' own
    pattern of pitch fits clearly better so.
    """
    plain = _pairs(first, second, 0)
    if not plain.known.any():
        return plain
    middle = float(np.median(plain.change[plain.known]))
    if abs(middle) < SHIFTED_FROM_CENTS:
        return plain
    shift = int(np.clip(round(middle / 100.0), -MOST_SHIFT, MOST_SHIFT)) or int(np.sign(middle))
    moved = _pairs(first, second, -shift)
    return moved if _roughness(moved) < 0.7 * _roughness(plain) else plain


def _roughness(pairs: Pairs) -> float:
    """How unlike neighbouring keys' changes are, cents."""
    return robust_spread(np.diff(pairs.change, n=2)) if pairs.known.sum() > 4 else np.inf


def _pairs(first: Survey, second: Survey, shift: int) -> Pairs:
    """Both tables on one range of keys, the second's key numbers moved by ``-shift``."""
    before, after = first.table, second.table.assign(key=second.table["key"] - shift)
    low, high = min(before["key"].min(), after["key"].min()), max(before["key"].max(), after["key"].max())
    key = np.arange(max(int(low), LOWEST_KEY), min(int(high), HIGHEST_KEY) + 1)
    one, two = (t.set_index("key").reindex(key) for t in (before, after))
    change = CENTS_PER_NEPER * np.log(two["f1_hz"].to_numpy(float) / one["f1_hz"].to_numpy(float))
    sd = np.nan_to_num(_both_sd(one, two, "cents_sd"), nan=1.0)
    by_partials = _partials_apart(first, second, shift)
    for i in np.flatnonzero(~np.isnan(change)):
        change[i], sd[i] = by_partials.get(int(key[i]), (change[i], sd[i]))
    bent = np.log(two["inharmonicity"].to_numpy(float) / one["inharmonicity"].to_numpy(float))
    return Pairs(
        key=key,
        strings=np.array([usual_strings(int(k)) for k in key]),
        change=change,
        pitch_sd=sd.clip(np.where(key >= TOP_FROM_KEY, TOP_PITCH_SD, LEAST_PITCH_SD)),
        unison_before=one["unison_cents"].to_numpy(float),
        unison_after=two["unison_cents"].to_numpy(float),
        unison_sd=np.nan_to_num(_both_sd(one, two, "unison_cents_sd"), nan=1.0).clip(LEAST_UNISON_SD),
        log_b_change=bent + 2.0 * change / CENTS_PER_NEPER,
        shift=shift,
        why=tuple(_why(a, b) for (_, a), (_, b) in zip(one.iterrows(), two.iterrows(), strict=True)),
    )


def _partials_apart(first: Survey, second: Survey, shift: int) -> dict[int, tuple[float, float]]:
    """Change and its uncertainty by key, cents, from the partials heard in both recordings."""
    after = {p.key - shift: p for p in second.partials}
    told = {p.key: _middle(p, after[p.key]) for p in first.partials if p.key in after}
    told = {key: t for key, t in told.items() if t[2] > 0}
    return {key: (middle, _scatter_sd(key, told)) for key, (middle, _scatter, _count) in told.items()}


def _middle(one: PartialPitches, two: PartialPitches) -> tuple[float, float, float]:
    """Weighted median of one key's partials, their scatter about it, and for how many partials the weights stand."""
    apart = CENTS_PER_NEPER * np.log(np.array(two.f_hz, dtype=float) / np.array(one.f_hz, dtype=float))
    weight = np.where(np.isnan(apart), 0.0, np.minimum(one.weight, two.weight))
    if not weight.any():
        return np.nan, np.nan, 0.0
    middle = float(weighted_median(apart[None], weight[None])[0])
    scatter = 1.4826 * float(weighted_median(np.abs(apart - middle)[None], weight[None])[0])
    return middle, scatter, float(weight.sum() ** 2 / np.sum(weight**2))


def _scatter_sd(key: int, told: dict[int, tuple[float, float, float]]) -> float:
    """Uncertainty of a median: the key's own scatter, and where few partials speak that of its neighbours."""
    near = [
        scatter
        for k, (_m, scatter, count) in told.items()
        if abs(k - key) <= NEAR_KEYS and count > FEW_PARTIALS
    ]
    usual = float(np.median(near)) if near else FEW_PITCH_SD
    scatter, count = told[key][1:]
    variance = (POOLED_PARTIALS * usual**2 + (count - 1.0) * scatter**2) / (POOLED_PARTIALS + count - 1.0)
    return 1.25 * float(np.sqrt(variance / count))


def _both_sd(one: pd.DataFrame, two: pd.DataFrame, column: str) -> FloatArray:
    return np.asarray(np.hypot(one[column].to_numpy(float), two[column].to_numpy(float)))


def _why(one: pd.Series, two: pd.Series) -> str:
    """Why a key can't be compared, or why its unison can't; empty where all is there."""
    reasons = []
    for row, when in ((one, "first"), (two, "second")):
        if not isinstance(row["status"], str):
            reasons.append(f"not in the {when} recording")
        elif np.isnan(row["f1_hz"]):
            reasons.append(f"{_reason(row, 'f1_hz')} in the {when} recording")
        elif np.isnan(row["unison_cents"]):
            reasons.append(f"unison not measured in the {when} recording: judged by its pitch alone")
    return "; ".join(reasons)


def _reason(row: pd.Series, column: str) -> str:
    if row["status"] != "measured":
        return str(row["status"])
    return split_reasons(row["gaps"]).get(column, "not measured")


def check_one_piano(takes: Sequence[Survey]) -> None:
    """Refuse takes that can't be of one piano in one tuning.

    Parameters
    ----------
    takes : surveys, two or more

    Raises
    ------
    BadInput
        another A4, a reading of the keys that lies apart, another pitch, other strings
    """
    standards = sorted({t.summary.a4_hz for t in takes})
    if len(standards) > 1:
        got = " and ".join(f"{a:g} Hz" for a in standards)
        raise BadInput("A4 of the takes", got, "one A4 for all", "Listen to all takes with the same --a4.")
    for one, two in combinations(takes, 2):
        pairs = pair_keys(one, two)
        change = pairs.change[pairs.known]
        if pairs.shift:
            raise BadInput(
                "the takes",
                f"readings {abs(pairs.shift)} key apart",
                "one reading of the keys",
                "Give --first-key.",
            )
        if len(change) < 3:
            _check_offsets(one, two)
            continue
        bent = pairs.log_b_change[pairs.known & (pairs.key < 64)]
        other = np.sum(~np.isnan(bent)) > 4 and float(np.nanmedian(np.abs(bent))) > OTHER_PIANO
        spread, middle = robust_spread(change), float(np.median(change))
        if other or spread > SAME_CENTS or abs(middle) > max(SAME_CENTS, SAME_SPREADS * spread):
            raise BadInput(
                "the takes",
                f"keys {middle:+.1f} cents apart (spread {spread:.1f})"
                + (" with other strings" if other else ""),
                "takes of one piano in one tuning",
                "Another piano, or tuned in between?",
            )


def _check_offsets(one: Survey, two: Survey) -> None:
    """Takes without keys in common: only the pitch of the whole can disagree."""
    offsets = [s.summary.offset_cents for s in (one, two)]
    if offsets[0] is None or offsets[1] is None:
        return
    if abs(offsets[0] - offsets[1]) > SAME_WITHOUT_OVERLAP_CENTS:
        raise BadInput(
            "the takes",
            f"registers {abs(offsets[0] - offsets[1]):.0f} cents apart",
            "takes of one piano in one tuning",
            "Another piano, or a recorder at the wrong speed?",
        )
