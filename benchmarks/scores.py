"""Truth and survey side by side: errors, coverage, faults found and false. Pure arithmetic over two frames."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats

from benchmarks.takes import Take
from pianolab.keyboard import usual_strings

REGISTERS = {"bass": (1, 27), "tenor": (28, 39), "middle": (40, 51), "treble": (52, 75), "top": (76, 88)}
SAME_STRIKE_S = 0.15
TWICE_S = 3.5
"""A key struck twice with equal holds: either strike is right."""
SURE_UNISON, CLEAN_UNISON = 1.5, 0.5
STRING_OFF_CENTS, STRING_OFF_TIMES = 10.0, 5.0
"""One string went its own way where a unison is truly this wide, and so many times as wide as is usual in that piano:
from here it must be found."""
PERHAPS_OFF_CENTS, PERHAPS_OFF_TIMES = 5.0, 2.5
"""Under either of these it did not, and finding it is false; in between both answers are fair."""
TUNED_CENTS, UNTUNED_CENTS = 2.0, 4.0
"""A piano whose unisons are usually no wider than this needs no tuning, one whose unisons usually reach this does; in
between both answers are fair. Among three strings the preferred greatest deviation is 1 to 2 cents [kirk1959]."""
HEARD_OFF_CENTS = 25.0
"""A key of a recorded instrument so far off its neighbours' line is off, whatever its maker thought [practice]."""
STANDS_OUT_DB = 6.0
"""A key whose dry sound is this much brighter or darker than its neighbours' middle stands out, whatever made it so;
seeded felt that leaves a key within it can't be asked for."""
STEADY_PER_DB = 0.08
"""Decays whose time moves less than this share with 1 dB of level are well defined."""
FAULTS = ("silent", "off_pitch", "short_sustain", "damper", "buzz", "voicing")


def side_by_side(truth: pd.DataFrame, table: pd.DataFrame) -> pd.DataFrame:
    """A row per key: truth's columns with ``_true`` added, the survey's, and errors (measured less true)."""
    both = truth.add_suffix("_true").rename(columns={"key_true": "key"}).merge(table, on="key", how="left")
    told = both["faults_true"].fillna("")
    silent = told.str.split(";").map(lambda f: "silent" in f)
    both["status_true"] = np.where(
        ~both["struck_true"].astype(bool), "skipped", np.where(silent, "silent", "measured")
    )
    twice = both.get("strikes_true", pd.Series(1, index=both.index)).fillna(1) > 1
    either = np.where(twice, TWICE_S, SAME_STRIKE_S)
    both["right_key"] = (both["onset_s"] - both["onset_s_true"]).abs() < either
    both["cents_error"] = both["cents"] - both["cents_true"]
    both["cents_error_heard"] = both["cents_error"] - both.get("heard_cents_true", np.nan)
    both["b_error"] = both["inharmonicity"] / both["inharmonicity_true"] - 1
    both["unison_error"] = both["unison_cents"] - both["unison_cents_true"]
    bright = both.get("brightness_db_true", pd.Series(np.nan, index=both.index))
    both["stands_out_db"] = bright - bright.rolling(11, center=True, min_periods=5).median()
    both["decay_error"] = both["decay_20_s"] / both["decay_20_s_true"] - 1
    return both


def usual_width(width_cents: pd.Series, key: pd.Series) -> float:
    """How far the strings of a piano usually are apart: the median over keys that have several; NaN where none is known."""
    several = [usual_strings(int(k)) > 1 for k in key]
    return float(width_cents[several].median())


def string_off(width_cents: Any, usual_cents: Any) -> Any:
    """Whether one string of a unison so wide must be found to have gone its own way."""
    return (width_cents >= STRING_OFF_CENTS) & (width_cents >= STRING_OFF_TIMES * usual_cents)


def string_perhaps_off(width_cents: Any, usual_cents: Any) -> Any:
    """Whether finding that is no mistake."""
    return (width_cents >= PERHAPS_OFF_CENTS) & (width_cents >= PERHAPS_OFF_TIMES * usual_cents)


def keys_heard_off(heard: pd.DataFrame) -> set[int]:
    """Keys that the independent analysis hears `HEARD_OFF_CENTS` and more from a line through the eight nearest others.

    A recorded instrument of which nobody says that it is in tune may have such keys: who finds them is not wrong.
    """
    known = heard[heard["cents"].notna()]
    key, cents = known["key"].to_numpy(int), known["cents"].to_numpy(float)
    out = set()
    for k, own in zip(key, cents, strict=True):
        near = np.argsort(np.where(key == k, np.inf, np.abs(key - k)), kind="stable")[:8]
        if len(key) > 8:
            line = stats.theilslopes(cents[near], key[near])
            if abs(own - (line.intercept + line.slope * k)) >= HEARD_OFF_CENTS:
                out.add(int(k))
    return out


def heard_alone(take: Take, check: pd.Series | None, column: str) -> tuple[float, float]:
    """What the independent analysis says in place of the truth, and its standard error (0 where it states none).

    It hears the room too, so that it says nothing of a dry note's decay; of unisons it knows bounds only.
    """
    if check is None or (
        column == "decay_20_s" and (take.t60_s is not None or check.get("decay_kind") != "=")
    ):
        return float("nan"), 0.0
    error = float(check.get(f"{column}_se", np.nan))
    return float(check.get(column, np.nan)), error if np.isfinite(error) else 0.0


def envelope_falls(check: pd.Series | None) -> object:
    """Whether the raw envelope shows a fall of 20 dB: before the release, 6 dB above noise and ringing; None: not asked."""
    return None if check is None else check.get("decay_kind") == "="


def spread(errors: Any) -> tuple[float, float, float]:
    """Median, 90 % point and maximum of the sizes of the errors; NaN where there are none."""
    sizes = np.abs(np.asarray(errors, dtype=float))
    sizes = sizes[np.isfinite(sizes)]
    if not sizes.size:
        return (np.nan, np.nan, np.nan)
    return float(np.median(sizes)), float(np.quantile(sizes, 0.9)), float(sizes.max())


def area_under_curve(high: NDArray[np.float64], low: NDArray[np.float64]) -> float:
    """Chance that a value of the first group is above one of the second (ties count half)."""
    high, low = high[np.isfinite(high)], low[np.isfinite(low)]
    if not high.size or not low.size:
        return float("nan")
    above = high[:, None] - low[None, :]
    return float(np.mean((above > 0) + 0.5 * (above == 0)))


def measure_row(rows: pd.DataFrame) -> dict[str, float]:
    """All figures of one group of keys."""
    sounding = rows[rows["status_true"] == "measured"]
    plain = sounding[sounding["right_key"]]
    out: dict[str, float] = {
        "keys": len(sounding),
        "right_%": 100 * float(sounding["right_key"].mean()),
        "status_%": 100 * float((rows["status"] == rows["status_true"]).mean()),
    }
    for name, column in (("cents", "cents_error"), ("heard", "cents_error_heard")):
        out[f"{name}_med"], out[f"{name}_p90"], out[f"{name}_max"] = spread(plain[column])
    out["B_med_%"], out["B_p90_%"], _ = (100 * v for v in spread(plain["b_error"]))
    out["uni_med"], out["uni_p90"], _ = spread(plain["unison_error"])
    out["uni_AUC"] = unison_auc(plain)
    return out | decay_figures(plain)


def unison_auc(plain: pd.DataFrame) -> float:
    """How well keys over 1.5 cents are told from keys under 0.5 cents."""
    read, true = plain["unison_cents"].to_numpy(float), plain["unison_cents_true"].to_numpy(float)
    return area_under_curve(read[true > SURE_UNISON], read[true < CLEAN_UNISON])


def decay_figures(plain: pd.DataFrame) -> dict[str, float]:
    """Errors of ``=`` values, share of keys with a true fall that got one, share of ``>`` bounds that hold."""
    falls = plain["decay_20_s_true"].notna()
    if "decay_20_within_hold_true" in plain:
        falls &= plain["decay_20_within_hold_true"].fillna(False).astype(bool)
    equal, bound = plain["decay_20_bound"] == "=", plain["decay_20_bound"] == ">"
    median, p90, _ = spread(plain.loc[falls & equal, "decay_error"])
    longer = plain["decay_20_s_true"].fillna(np.inf)
    holds = longer[bound] >= plain.loc[bound, "decay_20_s"]
    steady = falls & equal
    if "decay_s_per_db_true" in plain:
        steady &= plain["decay_s_per_db_true"] < STEADY_PER_DB * plain["decay_20_s_true"]
    steady_median, steady_p90, _ = spread(plain.loc[steady, "decay_error"])
    seen_median, seen_p90, _ = spread(
        plain.loc[equal, "decay_20_s"] / plain.get("decay_20_room_s_true", np.nan) - 1
    )
    room_median, room_p90, _ = spread(
        plain.get("decay_20_room_s_true", np.nan) / plain["decay_20_s_true"] - 1
    )
    return {
        "dec_med_%": 100 * median,
        "dec_p90_%": 100 * p90,
        "room_med_%": 100 * room_median,
        "room_p90_%": 100 * room_p90,
        "seen_med_%": 100 * seen_median,
        "seen_p90_%": 100 * seen_p90,
        "steady_med_%": 100 * steady_median,
        "steady_p90_%": 100 * steady_p90,
        "dec_bias_%": 100 * float(plain.loc[falls & equal, "decay_error"].median()),
        "dec_cov_%": 100 * float(equal[falls].mean()) if falls.any() else np.nan,
        "bound_true_%": 100 * float(holds.mean()) if bound.any() else np.nan,
        "equal_false": int((equal & ~falls).sum()),
    }


def register_table(rows: pd.DataFrame) -> pd.DataFrame:
    """`measure_row` for every register and for all keys."""
    parts = {name: rows[rows["key"].between(*span)] for name, span in REGISTERS.items()}
    return pd.DataFrame(
        {name: measure_row(part) for name, part in (parts | {"all": rows}).items() if len(part)}
    ).T


def fault_table(rows: pd.DataFrame, *, pianos: int) -> pd.DataFrame:
    """Per kind: seeded, found, said to be not judged, false per piano, and the false keys.

    Unison faults follow the true distance of the strings beside what is usual in their piano, voicing the dry sound's brightness, not only what was seeded.
    """
    true, said = (rows[c].fillna("").str.split(";") for c in ("faults_true", "faults"))
    hidden = rows["not_judged"].fillna("")
    width, usual = rows["unison_cents_true"], _usual_of_each(rows)
    out = {}
    for kind in (*FAULTS, "unison"):
        seeded = true.map(lambda f, k=kind: k in f)
        fair = seeded
        if kind == "unison":
            seeded, fair = string_off(width, usual), string_perhaps_off(width, usual)
        if kind == "off_pitch":
            fair = seeded | string_perhaps_off(width, usual)
        if kind == "voicing":
            fair = seeded | (rows["stands_out_db"].abs() >= STANDS_OUT_DB)
            seeded = seeded & ~(rows["stands_out_db"].abs() < STANDS_OUT_DB)
        found = said.map(lambda f, k=kind: k in f)
        if kind == "off_pitch":
            # One string that moved: said of the unison, it is said.
            found |= seeded & said.map(lambda f: "unison" in f)
        masked = seeded & ~found & hidden.str.contains(f"{kind}=", regex=False)
        false = found & ~fair
        out[kind] = {
            "seeded": int(seeded.sum()),
            "found": int((found & seeded).sum()),
            "not judged": int(masked.sum()),
            "false/piano": round(float(false.sum()) / pianos, 2),
            "false at": " ".join(map(str, rows.loc[false, "key"].tolist()[:12])),
            "missed at": " ".join(map(str, rows.loc[seeded & ~found & ~masked, "key"].tolist()[:12])),
        }
    return pd.DataFrame(out).T


def _usual_of_each(rows: pd.DataFrame) -> pd.Series:
    """`usual_width` of the piano (column ``seed``, one piano where there is none) that each row belongs to."""
    piano = rows["seed"] if "seed" in rows else pd.Series(0, index=rows.index)
    own = {p: usual_width(part["unison_cents_true"], part["key"]) for p, part in rows.groupby(piano)}
    return piano.map(own)


def sd_coverage(rows: pd.DataFrame) -> dict[str, str]:
    """Share of errors within one and two stated standard deviations, in %."""
    out = {}
    for name, error, sd in (
        ("cents", rows["cents_error"], "cents_sd"),
        ("heard", rows["cents_error_heard"], "cents_sd"),
        ("B", rows["inharmonicity"] - rows["inharmonicity_true"], "inharmonicity_sd"),
        ("unison", rows["unison_error"], "unison_cents_sd"),
        ("decay", rows["decay_20_s"] - rows["decay_20_s_true"], "decay_20_s_sd"),
    ):
        if sd in rows:
            ratio = (error / rows[sd]).abs()
            ratio = ratio[np.isfinite(ratio)]
            out[name] = f"{100 * (ratio < 1).mean():.0f}/{100 * (ratio < 2).mean():.0f} of {len(ratio)}"
    return out
