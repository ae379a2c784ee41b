"""The same real piano heard again: do its values agree within what is stated?

One concert grand, recorded at four dynamic levels by two microphones (`benchmarks.real_notes`): its pitch, B and
unisons are the same each time, whoever knows what they are. What two takes share, such as a partial that the
soundboard pulls, doesn't show, so that agreement is necessary and not enough: more than is stated must not differ,
less may. A mean of both microphones is a case of its own, because partials cancel in it.

    python -m benchmarks.repeats --levels 1 10 --holds 2
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from itertools import combinations

import numpy as np
import pandas as pd

from benchmarks.playing import play
from benchmarks.real_notes import CHANNELS, LEVELS, RealPiano
from benchmarks.scoring import MEASURES, SAME_STRIKE_S, listened

NAMES = ("cents", "B", "unison")
"""Of `benchmarks.scoring.MEASURES`; times to fall depend on how hard a key is struck."""
REGISTERS = ((1, 20), (21, 40), (41, 64), (65, 76), (77, 88))


def heard(level: int, channel: str, *, hold_s: float) -> pd.DataFrame:
    """The survey's rows of the keys that were read right, indexed by key."""
    take = play(RealPiano(level, channel), family="real", seed=1, hold_s=hold_s)
    table = listened(take).to_frame()
    struck = {press.key: press.onset_s for press in take.presses}
    right = [
        row.status == "measured" and abs(row.onset_s - struck.get(row.key, np.inf)) < SAME_STRIKE_S
        for row in table.itertuples()
    ]
    return table[right].set_index("key")


def differences(one: pd.DataFrame, two: pd.DataFrame) -> Iterator[dict[str, object]]:
    """What two takes say of the same keys: how far apart, and how far that is stated to be possible (sd)."""
    both = one.join(two.add_suffix("_2"), how="inner")
    for measure in (m for m in MEASURES if m.name in NAMES):
        apart = both[f"{measure.column}_2"] - both[measure.column]
        sd = np.hypot(both[measure.sd], both[f"{measure.sd}_2"])
        scale = both[measure.column] if measure.relative else 1.0
        for key, off, stated in zip(both.index, apart / scale, sd / scale, strict=True):
            yield {"measure": measure.name, "key": key, "apart": abs(off), "sd": stated}


def agreement(found: pd.DataFrame) -> pd.DataFrame:
    """Share within one and two sd, in per cent, by measure, kind of pair and register, and the size of what differs."""
    found = found.dropna(subset=["apart", "sd"])
    register = [next(i for i, (low, high) in enumerate(REGISTERS) if low <= k <= high) for k in found["key"]]
    groups = found.assign(keys=["{}-{}".format(*REGISTERS[i]) for i in register]).groupby(
        ["measure", "pair", "keys"]
    )
    return groups.apply(
        lambda g: pd.Series(
            {
                "n": len(g),
                "in 1 sd": 100 * (g["apart"] <= g["sd"]).mean(),
                "in 2 sd": 100 * (g["apart"] <= 2 * g["sd"]).mean(),
                "median apart": g["apart"].median(),
                "median sd": g["sd"].median(),
            }
        ),
        include_groups=False,
    )


def pair_name(one: tuple[int, str, float], two: tuple[int, str, float]) -> str:
    """What is different between two takes."""
    if "mono" in (one[1], two[1]) and one[1] != two[1]:
        return "mean of both channels"
    changed = [name for name, a, b in zip(("level", "channel", "hold"), one, two, strict=True) if a != b]
    return " and ".join(changed)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--levels", type=int, nargs="+", default=list(LEVELS))
    parser.add_argument("--channels", nargs="+", default=list(CHANNELS), choices=CHANNELS)
    parser.add_argument("--holds", type=float, nargs="+", default=[2.0], help="s")
    asked = parser.parse_args()
    ways = [(level, c, hold) for level in asked.levels for c in asked.channels for hold in asked.holds]
    takes = {way: heard(way[0], way[1], hold_s=way[2]) for way in ways}
    rows = [
        {**row, "pair": pair_name(a, b)}
        for a, b in combinations(ways, 2)
        if sum(x != y for x, y in zip(a, b, strict=True)) == 1
        for row in differences(takes[a], takes[b])
    ]
    print(agreement(pd.DataFrame(rows)).round(3).to_string())


if __name__ == "__main__":
    main()
