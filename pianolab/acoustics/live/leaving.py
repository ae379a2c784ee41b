"""Before one leaves the piano: what the survey could not tell, and how to play it so that the next take can.

Each key stands once, under the reason that has to be mended first: a key that was not heard says nothing about its pitch.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from pianolab.acoustics.limits import limits
from pianolab.acoustics.live.guide import time_needed_s
from pianolab.acoustics.survey_result import Survey
from pianolab.keyboard import usual_strings
from pianolab.statements import Statement, statement

Spans = Iterable[tuple[float, float]]


@dataclass(frozen=True)
class PlayAgain:
    """Keys to play again for one reason; ``says`` is why and how."""

    keys: tuple[int, ...]
    says: Statement


@dataclass(frozen=True)
class Leaving:
    """All that should be played again, most urgent first, and how long it takes in s."""

    again: tuple[PlayAgain, ...]
    seconds: float

    @property
    def keys(self) -> tuple[int, ...]:
        """Every key to play again, rising."""
        return tuple(sorted(k for part in self.again for k in part.keys))


def keys_in_gaps(survey: Survey, gaps_s: Spans) -> tuple[int, ...]:
    """Keys of one recording whose first seconds hold a stretch that is not what the microphone heard.

    Parameters
    ----------
    survey : Survey of that recording
    gaps_s : begin and end of each stretch, in s from the recording's beginning
    """
    spans, table = tuple(gaps_s), survey.table[survey.table["status"] == "measured"]
    return tuple(int(row["key"]) for _, row in table.iterrows() if _hit(row, spans))


def before_leaving(
    survey: Survey,
    *,
    asked: Collection[int],
    lost: Collection[int] = (),
    clipped: Collection[int] | None = None,
) -> Leaving:
    """What to play again.

    Parameters
    ----------
    survey : Survey of what was recorded, of one take or of several (`pianolab.recordings.merge_takes`)
    asked : the keys that were to be played
    lost : keys of which a piece of sound is missing, see `keys_in_gaps`
    clipped : keys that were cut off at the top wherever they were heard; None takes what the survey says

    Returns
    -------
    Leaving
    """
    table = survey.table[survey.table["key"].isin(list(asked))]
    missing = tuple(sorted(set(asked) - set(table["key"])))
    lim, cut = limits()["live"], survey.summary.clipped_keys if clipped is None else clipped
    measured = table["status"] == "measured"
    strings = table["key"].map(lambda k: usual_strings(int(k)))
    rules = {
        "gap": measured & table["key"].isin(list(lost)),
        "clipped": measured & table["key"].isin(list(cut)),
        "soft": measured & ~(table["snr_db"] >= lim["least_snr_db"]),
        "short": measured & (table["hold_s"] < lim["least_s"]),
        "pitch": measured & ~(table["cents_sd"] <= lim["most_cents_sd"]),
        "decay": measured & table["decay_20_s"].isna(),
        "unison": measured & (strings > 1) & ~(table["unison_cents_sd"] <= lim["most_unison_sd"]),
    }
    parts = [
        _part(
            _keys(table, table["status"].isin(["skipped", "unclear"])) + missing,
            statement("leaving.not heard"),
        ),
        _part(_keys(table, table["status"] == "silent"), statement("leaving.no sound")),
    ]
    told = {k for p in parts for k in p.keys}
    for kind, chosen in rules.items():
        keys = tuple(k for k in _keys(table, chosen) if k not in told)
        told |= set(keys)
        parts.append(_part(keys, statement(f"leaving.{kind}")))
    again = tuple(p for p in parts if p.keys)
    return Leaving(again, time_needed_s([k for p in again for k in p.keys]))


def _part(keys: tuple[int, ...], says: Statement) -> PlayAgain:
    return PlayAgain(tuple(sorted(keys)), says)


def _keys(table: pd.DataFrame, chosen: pd.Series) -> tuple[int, ...]:
    return tuple(int(k) for k in table.loc[chosen.astype(bool), "key"])


def _hit(row: pd.Series, spans: tuple[tuple[float, float], ...]) -> bool:
    """Whether a stretch lies in the first seconds of a note, which its measures rest on."""
    begin = float(row["onset_s"])
    length = float(row["hold_s"]) if np.isfinite(row["hold_s"]) else 2.0
    return any(first < begin + length and last > begin for first, last in spans)
