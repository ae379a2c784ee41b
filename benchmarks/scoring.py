"""A take, its survey and what an independent analysis of its sound says: a row per key and a row for the take.

A key is *right* where its row is measured and begins within `SAME_STRIKE_S` of a press of that key that sounded;
*wrong* where the row is measured and belongs to another key's press, a key that did not sound, or to nothing;
*missed* where it sounded and nothing was measured; *absent* where nothing sounded and nothing was measured. A wrong
key is *flagged* where the reading is doubtful or the row shows no values.

Errors are measured less true, for rightly read keys only. Where the source doesn't know the truth they are taken
against the independent analysis instead and named ``_vs_independent``: the two are never pooled. That analysis errs
too: such an error is counted in the stated sd and the standard error of that analysis together. A *lie* is a value shown for a rightly read key that the independent analysis excludes; misread keys have their own column.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from benchmarks.scores import (
    SAME_STRIKE_S,
    TUNED_CENTS,
    UNTUNED_CENTS,
    envelope_falls,
    heard_alone,
    keys_heard_off,
    string_off,
    string_perhaps_off,
    usual_width,
)
from benchmarks.takes import Take

if TYPE_CHECKING:
    from pianolab.acoustics import Survey

Row = dict[str, Any]
Excludes = Callable[..., bool]
"""`benchmarks.independent_rules.excludes`."""
FAULTS = ("silent", "off_pitch", "unison", "short_sustain", "damper", "buzz", "voicing")
VALUES = ("f1_hz", "cents", "inharmonicity", "unison_cents", "decay_20_s")
"""A row without any of these shows nothing that could be wrong."""
EVIDENCE: dict[str, tuple[str, ...]] = {
    "silent": ("status",),
    "off_pitch": ("off_curve_cents", "unison_cents"),
    "unison": ("unison_cents", "beat_hz"),
    "short_sustain": ("decay_20_s", "early_db_per_s", "late_db_per_s"),
    "damper": ("release_20_s",),
    "buzz": ("buzz_db",),
    "voicing": ("brightness_dev",),
}
"""Survey columns that a fault can rest on; a false fault of which only one is shown *rests on one column*."""


@dataclass(frozen=True, kw_only=True)
class Measure:
    """A value that is compared: its survey column, what a take must know, whether errors are shares of the truth."""

    name: str
    column: str
    knows: str
    relative: bool

    @property
    def sd(self) -> str:
        """The survey's column of stated standard deviations."""
        return f"{self.column}_sd"


MEASURES = (
    Measure(name="cents", column="cents", knows="pitch", relative=False),
    Measure(name="B", column="inharmonicity", knows="inharmonicity", relative=True),
    Measure(name="unison", column="unison_cents", knows="unison", relative=False),
    Measure(name="decay", column="decay_20_s", knows="decay", relative=True),
)
CHECKED = {m.name: m.column for m in MEASURES} | {"release": "release_20_s"}
"""What the independent analysis can contradict."""
TIMES = {"decay": "decay_20_bound", "release": "release_bound"}
"""Those that may be bounds, and the column that says so: a bound too can be a lie."""
PER_MEASURE = (
    "{}",
    "{}_sd",
    *(
        f"{{}}_{what}{end}"
        for end in ("", "_vs_independent")
        for what in ("true", "error", "in_sd", "sd_like_error")
    ),
)
FAULT_COLUMNS = ("seeded", "found", "not_judged", "missed", "false", "false_lone")
KEY_COLUMNS = (
    "key",
    "status_true",
    "status",
    "outcome",
    "flagged",
    "wrong_unflagged",
    "said_absent",
    "decay_any",
    "falls",
    *(form.format(m.name) for m in MEASURES for form in PER_MEASURE),
    "equal_false",
    "bound_false",
    "lies",
    *FAULT_COLUMNS,
)
"""Columns of the table of keys; those that a take can't fill stay empty."""


def status_true(take: Take) -> pd.Series:
    """``sounds``, ``silent`` (struck without a sound) or ``skipped`` for every key of the take's compass."""
    keys = range(take.first_key, take.last_key + 1)
    sounded = {p.key for p in take.presses if p.sounds}
    struck = {p.key for p in take.presses}
    said = ["sounds" if k in sounded else "silent" if k in struck else "skipped" for k in keys]
    return pd.Series(said, index=pd.Index(keys, name="key"))


def score(
    take: Take, table: pd.DataFrame, *, reading: str, heard: pd.DataFrame | None, excludes: Excludes | None
) -> list[Row]:
    """A row per key of the take's compass and per phantom, a measured row beyond it.

    ``table`` is the survey's, ``reading`` its summary's; ``heard`` has a row per key of the independent analysis
    (column ``key``), None where there is none.
    """
    true = take.truth.set_index("key")
    own = None if heard is None else heard.set_index("key")
    status, rows, usual = status_true(take), table.set_index("key"), _usual_widths(take, heard)
    beyond = [k for k in rows.index if k not in status.index and rows.at[k, "status"] == "measured"]
    off = keys_heard_off(heard) if heard is not None and "pitch" not in take.knows else set()
    out = []
    for key in [*status.index, *beyond]:
        row = rows.loc[key] if key in rows.index else pd.Series({"status": "not asked"})
        one = _outcome(take, key, row, status.get(key, "skipped"), doubtful=reading != "clear")
        truth = true.loc[key] if key in true.index else pd.Series(dtype=object)
        check = own.loc[key] if own is not None and key in own.index else None
        if one["outcome"] == "right":
            one |= _values(take, row, truth, check) | _lies(take, row, check, excludes)
        widths = _widths(take, truth, check)
        out.append(one | _faults(take, row, truth, widths, usual, beyond=key in beyond, heard_off=key in off))
    return out


def _usual_widths(take: Take, heard: pd.DataFrame | None) -> tuple[float, float]:
    """Least and greatest width in cents that is usual in this piano, as far as is known."""
    if "unison" in take.knows:
        return (usual_width(take.truth["unison_cents"], take.truth["key"]),) * 2
    if heard is None or "unison_low_cents" not in heard:
        return float("nan"), float("nan")
    return tuple(usual_width(heard[f"unison_{end}_cents"], heard["key"]) for end in ("low", "high"))  # type: ignore[return-value]


def tuning_told(take: Take, *, needs_tuning: bool, tune_first: bool) -> Row:
    """Whether what is said of the tuning is right, where the widths of the unisons are known.

    *False*: unisons said to be wide that are usually no wider than `TUNED_CENTS`; *missed*: no need of tuning found where
    they usually reach `UNTUNED_CENTS`.
    """
    usual = _usual_widths(take, None)[0]
    return {
        "width_true": usual,
        "needs_tuning": needs_tuning,
        "tuning_false": bool(usual <= TUNED_CENTS and tune_first),
        "tuning_missed": bool(usual >= UNTUNED_CENTS and not needs_tuning),
    }


def _outcome(take: Take, key: int, row: pd.Series, true: str, *, doubtful: bool) -> Row:
    status = str(row["status"])
    mine = [p.onset_s for p in take.presses if p.key == key and p.sounds]
    if status == "measured":
        near = any(abs(row["onset_s"] - onset) <= SAME_STRIKE_S for onset in mine)
        outcome = "right" if near else "wrong"
    else:
        outcome = "missed" if true == "sounds" else "absent"
    shows = any(pd.notna(row.get(c)) for c in VALUES)
    flagged = doubtful or status == "unclear" or not shows
    return {
        "key": int(key),
        "status_true": true,
        "status": status,
        "outcome": outcome,
        "flagged": bool(flagged),
        "wrong_unflagged": outcome == "wrong" and not flagged,
        "said_absent": outcome == "missed" and status in ("silent", "skipped") and not doubtful,
    }


def shown(row: pd.Series, measure: Measure) -> float:
    """The value that a row states as measured; NaN where there is none, or a bound only."""
    bound = measure.name == "decay" and row.get("decay_20_bound") != "="
    return float("nan") if bound else float(row.get(measure.column, np.nan))


def _values(take: Take, row: pd.Series, truth: pd.Series, check: pd.Series | None) -> Row:
    out: Row = {"decay_any": bool(pd.notna(row.get("decay_20_s"))), "falls": envelope_falls(check)}
    for m in MEASURES:
        value, sd = shown(row, m), float(row.get(m.sd, np.nan))
        known = m.knows in take.knows
        right, own_sd = (
            (float(truth.get(m.column, np.nan)), 0.0) if known else heard_alone(take, check, m.column)
        )
        right -= _asked_cents(take) if m.name == "cents" else 0.0
        error, both_sd = value - right, float(np.hypot(sd, own_sd))
        end = "" if known else "_vs_independent"
        out |= {
            m.name: value,
            f"{m.name}_sd": sd,
            f"{m.name}_true{end}": right,
            f"{m.name}_error{end}": error / right if m.relative else error,
            f"{m.name}_in_sd{end}": abs(error) / both_sd if both_sd > 0 else np.nan,
            f"{m.name}_sd_like_error{end}": abs(sd / right) if m.relative else sd,
        }
    if "decay" in take.knows:
        longest = float(truth.get("decay_20_s", np.nan))
        out["equal_false"] = row.get("decay_20_bound") == "=" and np.isnan(longest)
        out["bound_false"] = row.get("decay_20_bound") == ">" and float(row["decay_20_s"]) > longest
    return out


def _asked_cents(take: Take) -> float:
    """Truth counts cents from A4 = 440 Hz, the survey from the A4 that was asked for: how far that is above 440 Hz."""
    return float(1200 * np.log2(float(take.asked.get("a4_hz", 440.0)) / 440.0))  # type: ignore[arg-type]


def _lies(take: Take, row: pd.Series, check: pd.Series | None, excludes: Excludes | None) -> Row:
    if check is None or excludes is None:
        return {}
    lies = []
    for name, column in CHECKED.items():
        value, sd = float(row.get(column, np.nan)), float(row.get(f"{column}_sd", np.nan))
        bound = str(row.get(TIMES[name]) or "=") if name in TIMES else "="
        value += _asked_cents(take) if name == "cents" else 0.0
        if np.isfinite(value) and excludes(check, column, value, sd, bound=bound):
            lies.append(name)
    return {"lies": ";".join(lies)}


def _faults(
    take: Take,
    row: pd.Series,
    truth: pd.Series,
    widths: tuple[float, float],
    usual: tuple[float, float],
    *,
    beyond: bool,
    heard_off: bool,
) -> Row:
    """Kinds that are seeded, found, not judged, missed and false at one key, ``;``-separated.

    ``widths`` and ``usual`` are least and greatest width of this unison and of those of the whole piano, in cents.
    """
    if not (take.healthy or "faults" in take.knows):
        return {}
    said = set(str(row.get("faults") or "").split(";")) - {""}
    seeded = set(str(truth.get("faults") or "").split(";")) & set(FAULTS)
    fair = set(seeded)
    # The least it may be beside the most that is usual, and the other way round.
    surely, perhaps = string_off(widths[0], usual[1]), string_perhaps_off(widths[1], usual[0])
    seeded = (seeded - {"unison"}) | ({"unison"} if surely and not beyond else set())
    fair = (fair - {"unison"}) | ({"unison", "off_pitch"} if perhaps else set())
    fair |= {"off_pitch"} if heard_off else set()
    hidden = {part.split("=")[0] for part in str(row.get("not_judged") or "").split(";")}
    false = said - fair
    # What is seeded as off pitch is one string that moved: said of the unison, it is said.
    told = said | ({"off_pitch"} if "unison" in said else set())
    kinds = {
        "seeded": seeded,
        "found": seeded & told,
        "not_judged": (seeded - told) & hidden,
        "missed": seeded - told - hidden,
        "false": false,
        "false_lone": {k for k in false if _rests_on_one(k, row)},
    }
    return {name: ";".join(k for k in FAULTS if k in held) for name, held in kinds.items()}


def _widths(take: Take, truth: pd.Series, check: pd.Series | None) -> tuple[float, float]:
    """Least and greatest distance of the strings in cents that is known to be possible; NaN where nobody knows."""
    if "unison" in take.knows:
        return (float(truth.get("unison_cents", np.nan)),) * 2
    if check is None:
        return float("nan"), float("nan")
    return float(check.get("unison_low_cents", np.nan)), float(check.get("unison_high_cents", np.nan))


def _rests_on_one(kind: str, row: pd.Series) -> bool:
    return sum(bool(pd.notna(row.get(c))) for c in EVIDENCE[kind]) <= 1


def refused_keys(take: Take) -> list[Row]:
    """The rows of a take that was not measured: nothing right, nothing wrong."""
    return [
        {
            "key": int(k),
            "status_true": true,
            "status": "",
            "outcome": "refused",
            "flagged": True,
            "wrong_unflagged": False,
            "said_absent": False,
        }
        for k, true in status_true(take).items()
    ]


def listened(take: Take) -> Survey:
    """The survey of a take, asked as `Take.asked` says; whether it was stored with loss is known of the recording."""
    from pianolab.acoustics import Recorded, listen

    asked: dict[str, Any] = dict(take.asked)
    recorded = Recorded(lossy=bool(asked.pop("lossy", False)))
    return listen(take.samples, rate_hz=take.rate_hz, recorded=recorded, **asked)


def measure(take: Take, *, heard: pd.DataFrame | None, excludes: Excludes | None) -> tuple[Row, list[Row]]:
    """Listens to a take: a row for the take and its rows per key.

    ``heard`` and ``excludes`` are the independent analysis and its judge (`benchmarks.independent`).
    """
    from pianolab.errors import BadInput

    about: Row = {"seconds": take.seconds, "healthy": take.healthy, "refused": "", "crashed": ""}
    start = time.perf_counter()
    try:
        survey = listened(take)
    except BadInput as error:
        return about | {"refused": str(error)}, refused_keys(take)
    except Exception as error:
        # Anything else is a defect of the listening: it is counted, and the rest of the table goes on.
        return about | {"crashed": f"{type(error).__name__}: {error}"}, refused_keys(take)
    took_s = time.perf_counter() - start
    summary = survey.summary
    about |= {
        "listen_share": took_s / take.seconds,
        "reading": summary.reading,
        "tune_first": any(str(w).startswith("tune before deciding") for w in summary.warnings),
        "warnings": len(summary.warnings),
        "t60_s": take.t60_s,
        "t60_heard_s": summary.t60_s,
    }
    about |= tuning_told(take, needs_tuning=summary.needs_tuning, tune_first=bool(about["tune_first"]))
    return about, score(take, survey.to_frame(), reading=summary.reading, heard=heard, excludes=excludes)
