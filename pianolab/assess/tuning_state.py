"""How the piano is tuned today, and what that says about its pins: neglect and slipping are told apart."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pianolab.acoustics.judging.tuning_need import need_of_table
from pianolab.acoustics.named_reasons import split_names
from pianolab.acoustics.survey_result import Survey
from pianolab.assess.scoring import Scoring
from pianolab.keyboard import usual_strings


@dataclass(frozen=True, kw_only=True)
class TuningState:
    """The tuning as heard.

    ``offset_cents`` is the whole piano against A4; ``neglected`` says that a tuning is overdue, which is no
    fault of the instrument but hides others; ``slipped`` are keys where one string stands far from its
    neighbours; ``judged`` are the keys where that could be told at all; ``other_offset_cents`` is the offset if
    a recording that can be read in two ways is read in the other. ``offset_source`` is what tells the offset, a point or
    ``listening``; ``unisons_judged`` says that the recording tells whether a tuning is due, ``fresh`` that it was tuned for the visit and
    nothing yet tells whether the pins hold it.
    """

    heard: bool = False
    offset_cents: float | None = None
    unison_cents: float | None = None
    neglected: bool = False
    slipped: tuple[int, ...] = ()
    judged: tuple[int, ...] = ()
    other_offset_cents: float | None = None
    offset_source: str = "listening"
    unisons_judged: bool = False
    fresh: bool = False


FIRST_KEY = "which key was played first"
"""The key of the unknown behind a recording that can be read a semitone higher or lower."""

SEMITONE_CENTS = 100.0


def tuning_state(survey: Survey | None, *, scoring: Scoring) -> TuningState:
    """The state of the tuning from a survey; nothing known without one.

    Examples
    --------
    >>> from pianolab.assess.scoring import load_scoring
    >>> tuning_state(None, scoring=load_scoring()).heard
    False
    """
    if survey is None:
        return TuningState()
    limits = scoring.tuning
    table = survey.table[survey.table["status"] == "measured"].drop_duplicates("key").sort_values("key")
    keys = table["key"].to_numpy(int)
    unison = table["unison_cents"].to_numpy(float)
    off = np.abs(table["off_curve_cents"].to_numpy(float))
    typical = float(np.nanmedian(unison)) if np.isfinite(unison).any() else None
    neglected = need_of_table(survey.table).needed
    slipped = _stands_alone(keys, unison, limits["slip_unison_cents"], limits)
    faults = [split_names(cell) for cell in table["faults"]]
    off_pitch = np.array(["off_pitch" in own for own in faults], dtype=bool)
    slipped &= off_pitch | np.array(["unison" in own for own in faults], dtype=bool)
    if not neglected:
        alone = np.array([usual_strings(int(k)) == 1 for k in keys], dtype=bool) | ~np.isfinite(unison)
        off_alone = _stands_alone(keys, off, limits["slip_off_curve_cents"], limits)
        slipped |= alone & off_alone & off_pitch
    return TuningState(
        heard=True,
        offset_cents=survey.summary.offset_cents,
        unison_cents=typical,
        neglected=neglected,
        slipped=tuple(int(k) for k in keys[slipped]),
        judged=tuple(int(k) for k in keys[np.isfinite(unison) | np.isfinite(off)]),
        other_offset_cents=_other_offset(survey),
        unisons_judged=typical is not None,
    )


def _other_offset(survey: Survey) -> float | None:
    """The same sound counted from a key further up is flatter by a semitone for each key."""
    s = survey.summary
    if s.reading != "doubtful" or s.other_first_key is None or s.offset_cents is None:
        return None
    lowest = survey.table.loc[survey.table["status"] == "measured", "key"].min()
    return float(s.offset_cents - SEMITONE_CENTS * (s.other_first_key - int(lowest)))


def _stands_alone(
    keys: NDArray[np.int_], value: NDArray[np.float64], least: float, limits: dict[str, float]
) -> NDArray[np.bool_]:
    """Keys whose value is far above their neighbours' median: one string, not the whole tuning."""
    found = np.zeros(len(keys), dtype=bool)
    for i in np.flatnonzero(value >= least):
        near = (np.abs(keys - keys[i]) <= limits["neighbours"]) & (keys != keys[i]) & np.isfinite(value)
        usual = float(np.median(value[near])) if near.any() else 0.0
        found[i] = value[i] >= limits["slip_times_neighbours"] * usual
    return found
