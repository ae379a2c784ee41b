"""Can a drill be won without hearing what it asks for? An observer that knows one simple feature, kind by kind.

::

    python -m benchmarks.class_cues [--draws 300] [--source modelled] [--kinds "same or different"] [--faults buzz] [--seed 78]

For every kind of drill and every fault it can have, two-choice draws are made: the faulty sound and a sound one, from
the drill's own clips as a pupil gets them (a pair; or the note asked for beside its neighbours in one clip, against
the same of another drill). The observer sees one figure of each and says "the larger" or "the smaller"; which of the
two is learnt on one half of the draws and scored on the other, both ways round. Half of them right is chance. A feature
that carries the question (``classroom/data/carriers.toml``) may be any; every other one should stay at 57 % or under.

With 300 draws 57 % means 51 to 62 % (95 %, Wilson): one in 125 features that tell nothing lands above it, which over all
rows is about one. The table says for the best feature of each row what it may be in truth, and the last lines how many
are above 57 % and how many would be if none told anything. Try such a row again with other draws and more of them.

peak
    largest sample of the note
blow
    level of its strongest 30 ms
energy
    its whole energy
centroid
    power-weighted mean frequency of its first 0.8 s
length
    samples of the clip
size
    bytes of the clip as it is sent to the page (tried on twenty of a kind)
"""

from __future__ import annotations

import argparse
from collections.abc import Callable

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.stats import binom

from pianolab.classroom.altering import RATE_HZ, blow_level
from pianolab.classroom.blows import NOTE_S, SourceName
from pianolab.classroom.drills import DRILL_KINDS, Drill, DrillKind
from pianolab.classroom.faults import HeardFault
from pianolab.classroom.feedback import encoded
from pianolab.classroom.kinds import LEVELS, carriers
from pianolab.classroom.making import make_drill
from pianolab.classroom.pairs import BETTER
from pianolab.classroom.psychometrics import share_of
from pianolab.classroom.rows import NAMED
from pianolab.classroom.sounds import DrillClip, centroid_hz, note_starts

FEATURES = ("peak", "blow", "energy", "centroid", "length", "size")
MOST = 0.57
FloatArray = NDArray[np.float64]


def features_of(note: FloatArray, *, clip: int, size: int) -> FloatArray:
    """The figures of one note of a clip of so many samples and bytes, in the order of `FEATURES`."""
    peak = 20.0 * np.log10(float(np.abs(note).max()))
    energy = 10.0 * np.log10(float(np.sum(note**2)))
    return np.array([peak, blow_level(note), energy, np.log(centroid_hz(note)), clip, size])


A_SET = 20
"""So many rows of one set, each of whose five inner keys is the bad one four times; the next set has other keys."""

SIZES: dict[str, list[int]] = {}
TRIED = 20


def coded_bytes(kind: str, clip: DrillClip) -> int:
    """Size of a clip as it is sent; coding is slow, and once twenty of a kind had one size it is taken to stay so."""
    known = SIZES.setdefault(kind, [])
    if len(known) < TRIED or len(set(known)) > 1:
        known.append(len(encoded(clip)[1]))
    return known[-1]


def notes_in(drill: Drill, clip: int = 0, count: int = 1) -> FloatArray:
    """Figures of each note of a clip, shape (notes, features)."""
    sound = drill.clips[clip]
    samples = np.asarray(sound.samples, float)
    size = coded_bytes(drill.kind, sound)
    starts = [round(s * RATE_HZ) for s in note_starts(count)]
    return np.array(
        [features_of(samples[s : s + round(NOTE_S * RATE_HZ)], clip=samples.size, size=size) for s in starts]
    )


def pair(drill: Drill) -> FloatArray:
    """Figures of the worse clip less those of the better."""
    answer = drill.truth.answer
    if drill.kind == "order by sustain":
        longest, _, shortest = answer.split(" then ")
        return (notes_in(drill, "ABC".index(shortest)) - notes_in(drill, "ABC".index(longest)))[0]
    worse = "AB".index(answer[0])
    worse = 1 - worse if drill.kind == "which is better" else worse
    return (notes_in(drill, worse) - notes_in(drill, 1 - worse))[0]


def spread(drill: Drill) -> FloatArray:
    """How far the two clips of a pair are apart, whichever way: for "same or different"."""
    return np.abs(notes_in(drill, 0) - notes_in(drill, 1))[0]


def middle(drill: Drill, count: int = 3) -> FloatArray:
    """Figures of the note that is asked for, less the mean of its neighbours."""
    found = notes_in(drill, count=count)
    at = 1 if drill.kind != "find the bad key" else drill.choices.index(drill.truth.answer)
    return np.asarray(found[at] - 0.5 * (found[at - 1] + found[at + 1]))


def other_key(drill: Drill, rng: np.random.Generator) -> FloatArray:
    """The same of a sound key of a row, drawn."""
    found, bad = notes_in(drill, count=len(drill.choices)), drill.choices.index(drill.truth.answer)
    at = int(rng.choice([i for i in range(1, len(found) - 1) if i != bad]))
    return np.asarray(found[at] - 0.5 * (found[at - 1] + found[at + 1]))


def scored(differences: FloatArray) -> FloatArray:
    """Share right of "the larger" or "the smaller", learnt on one half of the draws and tried on the other; shape (features,).

    Examples
    --------
    >>> scored(np.array([[1.0, 0.0], [2.0, 0.0], [0.5, 0.0], [1.5, 0.0]]))
    array([1. , 0.5])
    """
    right = np.where(differences == 0.0, 0.5, (differences > 0.0).astype(float))
    half = len(right) // 2
    shares = []
    for learnt, tried in ((right[:half], right[half:]), (right[half:], right[:half])):
        way = learnt.mean(axis=0) >= 0.5
        shares.append(np.where(way, tried.mean(axis=0), 1.0 - tried.mean(axis=0)))
    return np.asarray(np.mean(shares, axis=0))


def drawn(
    kind: DrillKind, fault: HeardFault | None, *, draws: int, source: SourceName, seed: int
) -> FloatArray:
    """Differences between the faulty and the sound of so many draws, shape (draws, features)."""
    about = (fault,) if fault else ()
    rng = np.random.default_rng(seed)

    def make(n: int, hardness: float = 0.2) -> Drill:
        level = None if kind not in LEVELS else float(np.sqrt(np.prod(LEVELS[kind])))
        own = seed + (n // A_SET if kind == "find the bad key" else 0)
        return make_drill(
            kind, seed=own, number=n, hardness=hardness, level=level, about=about, source=source
        )

    if kind in ("name the fault", "can you judge the sustain", "same or different"):
        figure: Callable[[Drill], FloatArray] = spread if kind == "same or different" else middle
        bad, good = [], []
        number = 0
        while min(len(bad), len(good)) < draws:
            drill = make(number)
            number += 1
            wrong = drill.truth.fault == (fault or "unison")
            if (wrong and len(bad) < draws) or (not drill.truth.fault and len(good) < draws):
                (bad if wrong else good).append(figure(drill))
        return np.array(bad) - np.array(good)
    drills = (make(n) for n in range(draws))
    if kind == "find the bad key":
        return np.array([middle(d, len(d.choices)) - other_key(d, rng) for d in drills])
    return np.array([pair(d) for d in drills])


def asked() -> list[tuple[DrillKind, HeardFault | None, str]]:
    """Every kind with every fault it can have, and the name under which its carriers stand."""
    rows: list[tuple[DrillKind, HeardFault | None, str]] = []
    for kind in DRILL_KINDS:
        if kind in ("name the fault", "find the bad key"):
            rows += [(kind, f, f) for f in NAMED]
        elif kind == "which is better":
            rows += [(kind, f, f) for f in BETTER]
        elif kind == "can you judge the sustain":
            rows += [(kind, f, f) for f in ("short_sustain", "unison")]
        else:
            carried = {"same or different": "unison", "which is further out": "unison"}.get(
                kind, "short_sustain"
            )
            rows.append((kind, None, kind if kind in carriers() else carried))
    return rows


def table(*, draws: int, source: SourceName, kinds: list[str], faults: list[str], seed: int) -> pd.DataFrame:
    """Share right of every observer, a row per kind and fault; ``worst`` among the features that carry nothing, with its
    95 % interval."""
    rows = []
    for kind, fault, name in asked():
        if (kinds and kind not in kinds) or (faults and fault not in faults):
            continue
        shares = dict(
            zip(FEATURES, scored(drawn(kind, fault, draws=draws, source=source, seed=seed)), strict=True)
        )
        idle = [f for f in FEATURES if f not in carriers()[name]]
        worst = max(idle, key=lambda f: shares[f])
        at = share_of(round(shares[worst] * draws), draws)
        rows.append(
            {
                "kind": kind,
                "fault": fault or name,
                **shares,
                "carried by": " ".join(carriers()[name]),
                "best idle": worst,
                "low": at.low,
                "high": at.high,
                "above": sum(shares[f] > MOST for f in idle),
                "idle": sum(shares[f] != 0.5 for f in idle),
            }
        )
        print({k: round(v, 3) if isinstance(v, float) else v for k, v in rows[-1].items()}, flush=True)
    return pd.DataFrame(rows)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description="Observers that know one simple feature.")
    parser.add_argument("--draws", type=int, default=300)
    parser.add_argument("--source", default="recorded")
    parser.add_argument("--kinds", nargs="*", default=[])
    parser.add_argument("--faults", nargs="*", default=[])
    parser.add_argument("--seed", type=int, default=77)
    given = parser.parse_args()
    found = table(
        draws=given.draws, source=given.source, kinds=given.kinds, faults=given.faults, seed=given.seed
    )
    print(found.to_string(index=False, float_format=lambda x: f"{x:.3f}"))
    chance = float(binom.sf(int(MOST * given.draws), given.draws, 0.5)) * int(found["idle"].sum())
    print(f"{int((found['above'] == 0).sum())} of {len(found)} rows with no idle feature above {MOST:.0%}")
    print(
        f"features above: {int(found['above'].sum())}; of so many that tell nothing about {chance:.1f} would be"
    )


if __name__ == "__main__":
    main()
