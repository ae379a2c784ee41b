"""How right the listening is: ``python -m benchmarks.accuracy [--generator second] [--rooms dry home] [--seeds 3]``.

Errors are measured less true. ``cents`` compares with the mean of the uncoupled strings, ``heard`` (second generator)
with the energy centroid of partial 1 of the dry note: what the bridge leaves for any listener to hear.
``dec_cov`` is the share of keys whose dry note falls 20 dB before release that got an ``=`` value, ``equal_false``
counts ``=`` values of notes that don't fall so far; ``room`` is the error of a perfect reading of the level in that room, ``seen`` the
listening against that reading; ``steady`` leaves out notes whose knee lies near -20 dB, where
1 dB of level moves the time by 8 % or more.
"""

from __future__ import annotations

import argparse
import sys
import time

import numpy as np
import pandas as pd

from benchmarks.scenes import MAKERS, seeded_faults
from benchmarks.scores import fault_table, register_table, sd_coverage, side_by_side
from benchmarks.second_generator import Faults


def one_piano(
    generator: str, seed: int, *, room: str, snr_db: float, faults: bool
) -> tuple[pd.DataFrame, str]:
    """Truth and survey of one piano side by side, and a line about the run."""
    from pianolab.acoustics import listen

    chosen = seeded_faults(seed) if faults else Faults()
    scene = MAKERS[generator](seed, room=room, snr_db=snr_db, faults=chosen)
    start = time.perf_counter()
    survey = listen(scene.samples, rate_hz=scene.rate_hz)
    took = time.perf_counter() - start
    rows = side_by_side(scene.truth, survey.to_frame())
    heard = survey.summary.t60_s
    t60 = f"T60 {scene.t60_s:.2f} s, heard {'-' if heard is None else f'{heard:.2f}'}"
    return rows.assign(seed=seed), f"{generator} {room} seed {seed}: {t60}; {took:.1f} s; {survey.headline()}"


def worst(rows: pd.DataFrame, *, count: int = 12) -> pd.DataFrame:
    """The keys with the largest pitch errors and those with the wrong status."""
    wrong = rows[(rows["status"] != rows["status_true"]) | (rows["cents_error"].abs() > 1.0)]
    order = wrong["cents_error"].abs().fillna(np.inf).sort_values(ascending=False).index[:count]
    columns = [
        "seed",
        "key",
        "status_true",
        "status",
        "cents_error",
        "cents_error_heard",
        "unison_cents_true",
    ]
    return wrong.loc[order, [*columns, "unison_cents", "snr_db", "faults_true"]]


def report(generator: str, room: str, seeds: int, *, snr_db: float, faults: bool) -> pd.DataFrame:
    """Runs the pianos of one room and prints their tables; gives all rows."""
    frames = []
    for seed in range(1, seeds + 1):
        rows, line = one_piano(generator, seed, room=room, snr_db=snr_db, faults=faults)
        print(line, flush=True)
        frames.append(rows)
    rows = pd.concat(frames, ignore_index=True)
    print(f"\n== {generator}, {room}, {seeds} pianos, {snr_db:g} dB")
    print(register_table(rows).round(2).to_string())
    print(fault_table(rows, pianos=seeds).to_string())
    print("within 1/2 stated sd, %:", sd_coverage(rows))
    print(worst(rows).round(2).to_string(index=False), flush=True)
    return rows


def main(arguments: list[str] | None = None) -> int:
    """Command line."""
    parser = argparse.ArgumentParser(
        prog="python -m benchmarks.accuracy", description=(__doc__ or "").split("\n")[0]
    )
    parser.add_argument("--generator", choices=sorted(MAKERS), default="second")
    parser.add_argument(
        "--rooms", nargs="+", choices=["dry", "home", "hall"], default=["dry", "home", "hall"]
    )
    parser.add_argument("--seeds", type=int, default=3)
    parser.add_argument("--snr-db", type=float, default=45.0)
    parser.add_argument("--no-faults", action="store_true", help="sound pianos: every fault found is false")
    parser.add_argument("--rows", metavar="CSV", help="keep truth and survey side by side in a file")
    given = parser.parse_args(arguments)
    pd.set_option("display.width", 250, "display.max_columns", 40)
    kept = [
        report(given.generator, room, given.seeds, snr_db=given.snr_db, faults=not given.no_faults).assign(
            room=room
        )
        for room in given.rooms
    ]
    if given.rows:
        pd.concat(kept).to_csv(given.rows, index=False)
    return 0


if __name__ == "__main__":
    sys.exit(main())
