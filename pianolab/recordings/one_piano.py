"""Whether several takes can be of one piano in one tuning. Source: common practice of repeated measurement."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

import numpy as np

from pianolab.acoustics.judging.tuning import robust_spread
from pianolab.acoustics.results import Survey
from pianolab.errors import BadInput
from pianolab.recordings.pairing import OTHER_PIANO, pair_keys

SAME_CENTS, SAME_SPREADS = 3.0, 5.0
"""Takes of one day agree within this, and within this many times the spread of their differences [practice]."""
SAME_WITHOUT_OVERLAP_CENTS = 20.0


def check_one_piano(takes: Sequence[Survey]) -> None:
    """Refuse takes that can't be of one piano in one tuning.

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
