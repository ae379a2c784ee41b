"""Rows per key and per take to the one table: a line per family and case, printed compactly and as Markdown."""

from __future__ import annotations

from itertools import combinations
from typing import Any

import numpy as np
import pandas as pd

from benchmarks.scoring import CHECKED, FAULTS, MEASURES

GROUP = ["family", "case"]
INDEPENDENT = "_vs_independent"
NEVER = "–"


def per_take(takes: pd.DataFrame, keys: pd.DataFrame) -> pd.DataFrame:
    """The takes with their counts of keys: compass, sounding, right, wrong, lies, false faults."""
    by = keys.groupby("take")
    counts = pd.DataFrame(
        {
            "keys": by.size(),
            "sounding": by["status_true"].agg(lambda s: int((s == "sounds").sum())),
            "right": by["outcome"].agg(lambda s: int((s == "right").sum())),
            "wrong_unflagged": by["wrong_unflagged"].sum().astype(int),
            "lies": by["lies"].agg(count_words),
            "false_faults": by["false"].agg(count_words),
        }
    )
    return takes.merge(counts, left_on="take", right_index=True, how="left")


def count_words(cells: pd.Series) -> int:
    """How many ``;``-separated words there are in a column."""
    return sum(len(words) for words in split_words(cells))


def split_words(cells: pd.Series) -> list[list[str]]:
    """The words of each cell; none where it is empty or nobody knows."""
    return [[w for w in cell.split(";") if w] if isinstance(cell, str) else [] for cell in cells]


def _share(part: Any, whole: Any) -> float:
    return 100.0 * float(part) / float(whole) if whole else float("nan")


def reading_row(takes: pd.DataFrame, keys: pd.DataFrame) -> dict[str, Any]:
    """What was read right and wrong, how much is shown, what is said of the whole."""
    heard = takes[(takes["refused"] == "") & (takes["crashed"] == "")]
    keys = keys[keys["take"].isin(heard["take"])]
    right = keys[keys["outcome"] == "right"]
    sounding = int((keys["status_true"] == "sounds").sum())
    clear = heard[heard["reading"] == "clear"]
    judged = keys["lies"].notna()
    out: dict[str, Any] = {
        "takes": len(takes),
        "refused": int((takes["refused"] != "").sum()),
        "crashed": int((takes["crashed"] != "").sum()),
        "right %": _share(len(right), sounding),
        "wrong unflagged %": _share(keys["wrong_unflagged"].sum(), len(keys)),
        "said absent %": _share(keys["said_absent"].sum(), sounding),
        "worst clear %": float((100 * clear["right"] / clear["sounding"]).min()) if len(clear) else np.nan,
        "clear %": _share(len(clear), len(heard)),
        "tune first %": _share(heard["tune_first"].eq(True).sum(), len(heard)),
        "tuning false": int(heard["tuning_false"].eq(True).sum()),
        "tuning missed": int(heard["tuning_missed"].eq(True).sum()),
        "warnings": float(heard["warnings"].mean()),
        "time / length %": 100 * float(heard["listen_share"].median()),
        "lies / 88": 88 * count_words(keys["lies"]) / max(1, int(judged.sum())) if judged.any() else np.nan,
    }
    for m in MEASURES:
        out[f"{m.name} shown %"] = _share(right[m.name].notna().sum(), len(right))
    out["decay any %"] = _share(right["decay_any"].eq(True).sum(), len(right))
    falls = right[right["falls"].eq(True)] if "falls" in right else right[:0]
    out["= of falls %"] = _share(falls["decay"].notna().sum(), len(falls))
    return out


def error_row(keys: pd.DataFrame, *, end: str = "") -> dict[str, Any]:
    """Median and 90 % of the sizes of the errors, coverage by one and two sd, stated over true size.

    ``end`` is `INDEPENDENT` for errors against the independent analysis.
    """
    right, out = keys[keys["outcome"] == "right"], {}
    for m in MEASURES:
        sizes = right[f"{m.name}_error{end}"].abs().dropna()
        ratio = right[f"{m.name}_in_sd{end}"].dropna()
        stated = right.loc[ratio.index, f"{m.name}_sd_like_error{end}"]
        times = 100 if m.relative else 1
        unit = " %" if m.relative else ""
        typical = (
            float(right.loc[ratio.index, f"{m.name}_error{end}"].abs().quantile(0.68))
            if len(ratio)
            else np.nan
        )
        out |= {
            f"{m.name}{unit} med": times * float(sizes.median()) if len(sizes) else np.nan,
            f"{m.name}{unit} p90": times * float(sizes.quantile(0.9)) if len(sizes) else np.nan,
            f"{m.name} n": len(sizes),
            f"{m.name} in 1 sd %": _share((ratio < 1).sum(), len(ratio)),
            f"{m.name} in 2 sd %": _share((ratio < 2).sum(), len(ratio)),
            f"{m.name} sd/err": float(stated.median()) / typical if typical else np.nan,
        }
    if not end:
        out["= without a fall"] = int(right["equal_false"].eq(True).sum())
        out["> false"] = int(right["bound_false"].eq(True).sum())
    return out


def lie_row(keys: pd.DataFrame) -> dict[str, Any]:
    """Values that the independent analysis excludes, by column."""
    said = keys["lies"].dropna()
    split = split_words(said)
    return {name: sum(name in words for words in split) for name in CHECKED} | {"keys judged": len(said)}


def fault_row(takes: pd.DataFrame, keys: pd.DataFrame) -> dict[str, str]:
    """Per kind: false per healthy piano (of these resting on one column); found / not judged / missed of the seeded."""
    healthy = takes.loc[takes["healthy"].astype(bool), "take"]
    calm, seeded = keys[keys["take"].isin(healthy)], keys[~keys["take"].isin(healthy)]
    out: dict[str, str] = {}
    for kind in FAULTS:
        false, lone = (_with(calm, column, kind) for column in ("false", "false_lone"))
        per = (
            f"{false / len(healthy):.1f}" + (f" ({lone / len(healthy):.1f})" if lone else "")
            if len(healthy)
            else NEVER
        )
        found, hidden, missed = (_with(keys, column, kind) for column in ("found", "not_judged", "missed"))
        also = f"; {_with(seeded, 'false', kind)} false" if len(seeded) else ""
        out[kind] = per + (f", {found}/{hidden}/{missed}" if found + hidden + missed else "") + also
    return out


def _with(keys: pd.DataFrame, column: str, kind: str) -> int:
    return sum(kind in words for words in split_words(keys[column]))


def pair_rows(keys: pd.DataFrame) -> pd.DataFrame:
    """Takes of the same piano against each other: a row per pair of takes, key and measure."""
    right = keys[(keys["outcome"] == "right") & (keys["piano"] != "")]
    out = []
    for _, one in right.groupby(["piano", "key"]):
        for a, b in combinations(one.to_dict("records"), 2):
            for m in MEASURES:
                gap = abs(a[m.name] - b[m.name])
                both_sd = float(np.hypot(a[f"{m.name}_sd"], b[f"{m.name}_sd"]))
                size = gap / (0.5 * (a[m.name] + b[m.name])) if m.relative else gap
                out.append(
                    {"measure": m.name, "difference": size, "in_sd": gap / both_sd if both_sd > 0 else np.nan}
                )
    return pd.DataFrame(out, columns=["measure", "difference", "in_sd"]).dropna(subset=["difference"])


def pair_table(keys: pd.DataFrame) -> pd.DataFrame:
    """Agreement between takes of one piano: median and 90 % of the differences, share within 1 and 2 combined sd."""
    rows, out = pair_rows(keys), {}
    for m in MEASURES:
        own = rows[rows["measure"] == m.name]
        if len(own):
            ratio, times = own["in_sd"].dropna(), 100 if m.relative else 1
            out[m.name + (" %" if m.relative else "")] = {
                "pairs": len(own),
                "median": times * own["difference"].median(),
                "90 %": times * own["difference"].quantile(0.9),
                "in 1 sd %": _share((ratio < 1).sum(), len(ratio)),
                "in 2 sd %": _share((ratio < 2).sum(), len(ratio)),
            }
    return pd.DataFrame(out).T


def tables(takes: pd.DataFrame, keys: pd.DataFrame) -> dict[str, pd.DataFrame]:
    """All tables by title; a line per family and case, and one for each family that has several."""
    groups = list(_groups(per_take(takes, keys), keys))
    parts: dict[str, list[tuple[str, dict[str, Any]]]] = {}
    for name, own, rows in groups:
        for title, row in (
            ("Reading and coverage", reading_row(own, rows)),
            ("Errors against the truth", error_row(rows)),
            ("Errors against the independent analysis", error_row(rows, end=INDEPENDENT)),
            ("Values that the independent analysis excludes", lie_row(rows)),
            (
                "Faults: false per healthy take (resting on one column), found/not judged/missed, false in seeded takes",
                fault_row(own, rows),
            ),
        ):
            parts.setdefault(title, []).append((name, row))
    out = {title: pd.DataFrame(dict(rows)).T for title, rows in parts.items()}
    out["Takes of one piano against each other"] = pair_table(keys)
    return {title: told for title, frame in out.items() if len(told := _told(frame))}


def _groups(takes: pd.DataFrame, keys: pd.DataFrame) -> Any:
    for family, own in takes.groupby("family", sort=False):
        cases = list(own.groupby("case", sort=False))
        for case, part in cases:
            yield f"{family}: {case}", part, keys[keys["take"].isin(part["take"])]
        if len(cases) > 1:
            yield f"{family}: all", own, keys[keys["take"].isin(own["take"])]


def _told(frame: pd.DataFrame) -> pd.DataFrame:
    """Without lines and columns in which nothing is known; columns that count are no reason to keep a line."""
    counts = [
        c
        for c in frame.columns
        if str(c).endswith(" n") or c in ("keys judged", "= without a fall", "> false")
    ]
    told = frame.drop(columns=counts)
    known = told.notna().any(axis=1) & ((frame["keys judged"] > 0) if "keys judged" in frame else True)
    return frame[known].dropna(axis=1, how="all")


def cell(value: Any) -> str:
    """A number with three figures at most; a dash for what nobody knows."""
    if isinstance(value, str):
        return value
    if value is None or not np.isfinite(value):
        return NEVER
    return f"{value:.0f}" if abs(value) >= 100 or float(value).is_integer() else f"{value:.3g}"


def as_text(told: dict[str, pd.DataFrame]) -> str:
    """The tables for a terminal, the words of a column's name one under the other so that lines stay short."""
    return "\n\n".join(f"== {title}\n{_block(frame.map(cell))}" for title, frame in told.items())


def _block(cells: pd.DataFrame) -> str:
    heads = [str(c).split() for c in cells.columns]
    deep = max(map(len, heads))
    lines = [["", *(h[i - deep + len(h)] if i >= deep - len(h) else "" for h in heads)] for i in range(deep)]
    lines += [[str(name), *row] for name, row in zip(cells.index, cells.to_numpy(object), strict=True)]
    wide = [max(len(line[i]) for line in lines) for i in range(len(lines[0]))]
    return "\n".join(
        "  ".join([line[0].ljust(wide[0]), *(w.rjust(n) for w, n in zip(line[1:], wide[1:], strict=True))])
        for line in lines
    )


def as_markdown(told: dict[str, pd.DataFrame]) -> str:
    """The tables for a page."""
    parts = []
    for title, frame in told.items():
        lines = [["", *map(str, frame.columns)], ["---"] * (len(frame.columns) + 1)]
        lines += [
            [str(name), *map(cell, row)]
            for name, row in zip(frame.index, frame.to_numpy(object), strict=True)
        ]
        parts.append(f"## {title}\n\n" + "\n".join("| " + " | ".join(line) + " |" for line in lines))
    return "\n\n".join(parts) + "\n"
