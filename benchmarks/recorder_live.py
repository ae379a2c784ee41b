"""The live strip beside the survey of the same sound: ``python -m benchmarks.recorder_live [--family F …] [--most N]``.

Each take is fed to `LiveListener` in the pieces in which a browser sends it, then heard by `listen` as a file. The two
must agree: a key is found live where the survey measures it, and the blow is the same one. Besides, what the live path
costs of one core, and how long after a note's end it is known to be over. Its own survey is no reference for what is
true; whether that is right is the bench's question (`benchmarks.bench`).
"""

from __future__ import annotations

import argparse
import time
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from benchmarks.families import FAMILIES, build
from benchmarks.takes import Take
from pianolab.acoustics import Survey, listen
from pianolab.acoustics.live import LiveListener, LiveNote
from pianolab.errors import BadInput

PIECE_S = 0.25
SAME_BLOW_S = 0.06


@dataclass(frozen=True)
class Compared:
    """One take: keys on which both agree, of how many; the live path's share of a core; s from an end to its being known."""

    name: str
    agree: int
    keys: int
    core_share: float
    late_s: tuple[float, ...]
    differ: tuple[str, ...]


def heard_live(take: Take) -> tuple[tuple[LiveNote, ...], float, list[float]]:
    """The notes, the share of one core, and how late each note was known to be over."""
    samples = take.samples if take.samples.ndim == 2 else take.samples[:, None]
    live = LiveListener(rate_hz=take.rate_hz, first_key=take.first_key, last_key=take.last_key)
    step, begun, known = round(PIECE_S * take.rate_hz), time.process_time(), dict[float, float]()
    for at in range(0, len(samples), step):
        for note in live.take(samples[at : at + step]):
            if note.over:
                known.setdefault(round(note.onset_s, 2), live.recent.end_s)
    notes = live.finish()
    cost = (time.process_time() - begun) / (len(samples) / take.rate_hz)
    # A note that gave way is over at the next blow; one that was let go or faded, when that was heard to begin.
    late = [
        known[round(n.onset_s, 2)] - n.sounding.ended_s
        for n in notes
        if n.sounding.ended_s is not None and round(n.onset_s, 2) in known
    ]
    return notes, cost, late


def compare(notes: Iterable[LiveNote], survey: Survey) -> tuple[int, int, tuple[str, ...]]:
    """Keys on which live and survey agree, of how many, and where they differ."""
    table = survey.table.set_index("key")
    live: dict[int, list[float]] = {}
    for note in notes:
        if note.sure:
            live.setdefault(note.key, []).append(note.onset_s)
    differ = []
    for key, row in table.iterrows():
        measured, found = row["status"] == "measured", live.get(int(key), [])
        near = any(abs(t - row["onset_s"]) < SAME_BLOW_S for t in found)
        if (measured and not near) or (not measured and found):
            differ.append(f"{key}: {row['status']}, live {[round(t, 2) for t in found] or 'nothing'}")
    return len(table) - len(differ), len(table), tuple(differ)


def run(take: Take, name: str) -> Compared:
    """One take heard both ways."""
    notes, cost, late = heard_live(take)
    survey = listen(take.samples, rate_hz=take.rate_hz, first_key=take.first_key, last_key=take.last_key)
    agree, keys, differ = compare(notes, survey)
    return Compared(name, agree, keys, cost, tuple(late), differ)


def main() -> None:
    """Print a line per take and the sums."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--family", nargs="*", default=list(FAMILIES))
    ask.add_argument("--most", type=int, default=3, help="takes of each family")
    asked = ask.parse_args()
    agree, keys, late, cost = Counter[str](), Counter[str](), list[float](), list[float]()
    for family in asked.family:
        for recipe in FAMILIES[family]()[: asked.most]:
            try:
                done = run(build(recipe), f"{family} {recipe.case} {recipe.name}")
            except (BadInput, ImportError, OSError) as error:
                print(f"{family} {recipe.name}: left out ({error})", flush=True)
                continue
            agree[family] += done.agree
            keys[family] += done.keys
            late += done.late_s
            cost.append(done.core_share)
            print(
                f"{done.name}: {done.agree} of {done.keys}, {done.core_share:.2f} of a core {done.differ}",
                flush=True,
            )
    for family in keys:
        print(f"{family}: {100 * agree[family] / keys[family]:.1f} % of {keys[family]} keys")
    if keys:
        half, most, all_but_one = np.percentile(late, [50, 90, 99])
        worst = (
            f"{max(cost):.2f} of a core at most; an end is known after {half:.2f} s (half of them), "
            f"{most:.2f} s (90 %), {all_but_one:.2f} s (99 %)"
        )
        print(f"all: {100 * agree.total() / keys.total():.1f} % of {keys.total()} keys; {worst}")


if __name__ == "__main__":
    main()
