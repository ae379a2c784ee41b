"""The quick bench of ``.ci/run``: a thinned set of takes, and the worst columns that must not grow.

``quick_floor.toml`` holds, for each family, how many keys were wrong and unflagged, how many values the independent
analysis excluded, and how many faults of healthy pianos were false when it was last written: what is allowed is what
was measured. ``python -m benchmarks.bench --quick --record`` writes it anew, so that getting better is kept too.
"""

from __future__ import annotations

import tomllib
from dataclasses import replace
from pathlib import Path

import pandas as pd

from benchmarks import families
from benchmarks.bench_store import write
from benchmarks.bench_table import count_words, per_take
from benchmarks.families import Recipe

FLOOR = Path(__file__).resolve().with_name("quick_floor.toml")
COUNTED = {
    "wrong_unflagged": "keys wrong and not flagged",
    "lies": "values that the independent analysis excludes",
    "false_faults": "false faults of healthy pianos",
}
HEAD = """# What the quick bench allows (python -m benchmarks.bench --quick): counts as last measured, none may grow.
# Written by --quick --record; a number that goes up needs its reason in the commit that records it.
"""


QUICK_CASES = ("plain", "legato", "re-strikes", "dead bass strings")
QUICK_CHAINS = ("Opus 32k", "automatic gain 0.2 s", "clipped 6 dB", "street 20 dB")
SHORT = {"hold_s": 1.5, "gap_s": 0.4}
"""Shorter than a visitor would play: makes the set fit into the time of a check after every change."""


def recipes() -> list[Recipe]:
    """About two dozen takes that need nothing downloaded: drawn pianos of three generators, real notes, recorders."""
    drawn = [
        r
        for family, step in (("wide third", 17), ("wide model", 15), ("wide plain", 10))
        for r in families.wide(family)[::step]
    ]
    sources = families.plain_sources("open")
    played = [r for r in families.playing() if r.case in QUICK_CASES and r.name == "third"]
    recorded = [
        Recipe(family="telephone", case=chain, name="model", chain=chain, **sources["model"])
        for chain in QUICK_CHAINS
    ]
    short = [replace(r, play={**r.play, **SHORT}) for r in [*drawn, *played, *recorded]]
    return [*short, *families.shipped()[:3]]


def counts(takes: pd.DataFrame, keys: pd.DataFrame) -> dict[str, dict[str, int]]:
    """The counted columns of each family."""
    out = {}
    for family, own in per_take(takes, keys).groupby("family", sort=False):
        healthy = own.loc[own["healthy"].astype(bool), "take"]
        false = keys.loc[keys["take"].isin(healthy), "false"]
        out[str(family)] = {
            "takes": len(own),
            "refused": int(((own["refused"] != "") | (own["crashed"] != "")).sum()),
            "wrong_unflagged": int(own["wrong_unflagged"].sum()),
            "lies": int(own["lies"].sum()),
            "false_faults": count_words(false),
        }
    return out


def read_floor(path: Path) -> dict[str, dict[str, int]]:
    """What is allowed; nothing where it was never recorded."""
    return tomllib.loads(path.read_text(encoding="utf-8")) if path.exists() else {}


def worse_than(floor: dict[str, dict[str, int]], now: dict[str, dict[str, int]]) -> list[str]:
    """A line for each family in which a count grew, that is new, or that listens to fewer takes than it did."""
    lines = []
    for family, got in now.items():
        allowed = floor.get(family)
        if allowed is None:
            lines.append(f"{family}: not in {FLOOR.name}; --quick --record writes it")
            continue
        grown = [
            f"{got[name]} {says} ({allowed[name]} allowed)"
            for name, says in COUNTED.items()
            if got[name] > allowed[name]
        ]
        # A take that is refused can't be wrong: without this, refusing everything would pass.
        if got["takes"] - got["refused"] < allowed["takes"] - allowed["refused"]:
            grown.append(f"{got['refused']} of {got['takes']} takes refused ({allowed['refused']} allowed)")
        if grown:
            lines.append(f"{family} got worse: {', '.join(grown)}")
    return lines


def against_floor(takes: pd.DataFrame, keys: pd.DataFrame, *, record: bool, path: Path = FLOOR) -> list[str]:
    """What got worse than allowed; with ``record`` the file is written anew, the changes are printed, and nothing is."""
    floor, now = read_floor(path), counts(takes, keys)
    if not record:
        return worse_than({f: a for f, a in floor.items() if f in now}, now)
    for family in {**floor, **now}:
        before, after = floor.get(family), now.get(family)
        if before != after:
            print(f"{family}: {before or 'new'} -> {after or 'gone'}")
    lines = [
        f'["{family}"]\n' + "".join(f"{n} = {v}\n" for n, v in got.items()) for family, got in now.items()
    ]
    write(path, HEAD + "\n" + "\n".join(lines))
    return []
