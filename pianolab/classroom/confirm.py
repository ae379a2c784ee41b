"""Whether pianolab's own listening hears what a drill says is true; where it can't, the drill is marked.

The margins are those beyond which the listening tells two notes apart on its own measured error (unison
0.35 cents, decay a few percent; see the benchmarks): a smaller difference is true, but not confirmed.
"""

from __future__ import annotations

import numpy as np

from pianolab.acoustics.reasons import join_reasons, split_names, split_reasons
from pianolab.classroom.drills import CONFIRMED
from pianolab.classroom.faults import HeardFault
from pianolab.classroom.sounds import Played

NOT = "not confirmed by measurement"
COLUMN: dict[HeardFault, tuple[str, str]] = {
    "unison": ("unison_cents", "cents"),
    "short_sustain": ("decay_20_s", "s"),
    "damper": ("release_20_s", "s"),
    "off_pitch": ("cents", "cents"),
}
PROVES: dict[str, tuple[str, str, str]] = {
    "short_sustain": ("decay_20_bound", "=<", "=>"),
    "damper": ("release_bound", "=>", "=<"),
}
"""Column of the bound of a time, and what the worse and the better note's may be for the order to be proven."""
SAID = {"<": "at most ", ">": "at least "}
APART_CENTS, ALIKE_CENTS, SHORTER, LONGER_RELEASE, BESIDE_CENTS = 0.7, 0.5, 0.93, 1.3, 2.0


def by_faults(played: Played, key: int, fault: HeardFault | None, *, alone: bool = False) -> str:
    """Confirmed where the listening finds this fault at this key (None: finds none); ``alone``: and at no other."""
    found = _faults(played, key)
    if fault is None:
        # One blow never tells the voicing, so that it is untested says nothing against a sound note.
        reasons = split_reasons(played.row(key)["not_judged"])
        untested = join_reasons({f: why for f, why in reasons.items() if f != "voicing"})
        if found or untested:
            return (
                f"{NOT}: heard {', '.join(sorted(found)) or 'nothing'}, not judged: {untested or 'nothing'}"
            )
        return CONFIRMED
    if fault not in found:
        return f"{NOT}: the listening does not report it ({', '.join(sorted(found)) or 'nothing'} heard)"
    others = [int(k) for k in played.table["key"] if int(k) != key and _faults(played, int(k))]
    if alone and others:
        return f"{NOT}: the listening reports other keys too"
    return CONFIRMED


def _faults(played: Played, key: int) -> set[str]:
    return set(split_names(played.row(key)["faults"]))


def by_measure(fault: HeardFault, worse: Played, better: Played, key: int, *, alike: bool = False) -> str:
    """Confirmed where the measure of this fault puts the two notes in the true order (``alike``: no order)."""
    column, unit = COLUMN[fault]
    bounds = _bounds(fault, worse, better, key)
    if fault == "short_sustain" and not _may_prove(fault, bounds):
        return _by_slope(worse, better, key)
    bad, good = (float(p.row(key)[column]) for p in (worse, better))
    if not (np.isfinite(bad) and np.isfinite(good)):
        return f"{NOT}: {column} can't be measured here"
    told = {
        "unison": bad - good > max(APART_CENTS, _sd(worse, better, key, column)),
        "short_sustain": bad < SHORTER * good,
        "damper": bad > LONGER_RELEASE * good,
        "off_pitch": abs(bad - good) > BESIDE_CENTS,
    }[fault]  # fmt: skip
    if alike:
        told = abs(bad - good) < ALIKE_CENTS and bounds == ("=", "=")
    if told and _may_prove(fault, bounds):
        return CONFIRMED
    said = [f"{SAID.get(b, '')}{value:.2f} {unit}" for b, value in zip(bounds, (bad, good), strict=True)]
    return f"{NOT}: {' beside '.join(said)} measured"


def _sd(worse: Played, better: Played, key: int, column: str) -> float:
    """Standard deviation of the difference of two measures, 0 where none is stated."""
    stated = [float(p.row(key).get(f"{column}_sd", 0.0)) for p in (worse, better)]
    return float(np.hypot(*np.nan_to_num(stated)))


def _bounds(fault: HeardFault, worse: Played, better: Played, key: int) -> tuple[str, str]:
    """How the two values are to be taken: ``=`` measured, ``>`` at least, ``<`` at most, empty where there is none."""
    if fault not in PROVES:
        return "=", "="
    column = PROVES[fault][0]
    return str(worse.row(key)[column]), str(better.row(key)[column])


def _may_prove(fault: HeardFault, bounds: tuple[str, str]) -> bool:
    """Whether values with these bounds can show which note is worse: a bound counts where what it leaves open makes them differ more."""
    _, of_worse, of_better = PROVES.get(fault, ("", "=", "="))
    return all(b and b in ways for b, ways in zip(bounds, (of_worse, of_better), strict=True))


def _by_slope(worse: Played, better: Played, key: int) -> str:
    """Where a fall by 20 dB isn't known, the first slope tells which note dies faster."""
    bad, good = (float(p.row(key)["early_db_per_s"]) for p in (worse, better))
    if not (np.isfinite(bad) and np.isfinite(good)):
        return f"{NOT}: neither the fall by 20 dB nor the first slope can be measured here"
    return CONFIRMED if SHORTER * bad > good else f"{NOT}: {bad:.0f} dB/s beside {good:.0f} dB/s measured"


def by_verdict(played: Played, key: int, verdict: str) -> str:
    """Confirmed where the listening's own verdict on the sustain is the drill's."""
    heard = str(played.row(key)["sustain_verdict"] or "")
    return CONFIRMED if heard == verdict else f"{NOT}: the listening says {heard or 'nothing'}"
