"""What the survey says for the scores: faults counted over ranges of keys, gaps kept as gaps.

Nothing here uses a measure that the room makes: no absolute brightness, no level, no reverberation time.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pianolab.acoustics.results import Survey
from pianolab.assess.evidence import Effort, Evidence, Gap
from pianolab.assess.findings import keys_in_words
from pianolab.assess.scoring import HeardItem, Scoring
from pianolab.assess.tuning_state import TuningState
from pianolab.keyboard import usually_damped
from pianolab.model import Piano

Flags = NDArray[np.bool_]
MASKED = "masked by unison"


@dataclass(frozen=True, eq=False)
class Heard:
    """One item of listening over its keys: which are faulty, and which can't be told.

    ``hidden`` are those the tuning hides, ``mute`` those that give no sound to judge, ``unheard`` the rest.
    """

    item: HeardItem
    faulty: tuple[int, ...]
    hidden: tuple[int, ...]
    mute: tuple[int, ...]
    unheard: tuple[int, ...]
    total: int
    reason: str = ""

    @property
    def shares(self) -> tuple[float, float, float, float]:
        """Share of the full loss: known; then what the hidden, the mute and the unheard keys could add."""
        scale = 1.0 / max(self.total, 1) / self.item.full_share
        counts = [len(self.faulty), len(self.hidden), len(self.mute), len(self.unheard)]
        known, *more = np.diff(np.minimum(np.cumsum([0, *counts]) * scale, 1.0))
        return float(known), float(more[0]), float(more[1]), float(more[2])


def hear(piano: Piano, survey: Survey | None, state: TuningState, *, scoring: Scoring) -> tuple[Heard, ...]:
    """Every item of listening for this piano; without a survey all keys are unknown."""
    keys = np.arange(piano.first_key, piano.last_key + 1)
    if survey is None:
        return tuple(_unheard(item, keys) for item in scoring.heard)
    table = survey.table.drop_duplicates("key").set_index("key").reindex(keys)
    return tuple(h for item in scoring.heard if (h := _hear(item, table, state)).total)


def _in_range(item: HeardItem, keys: NDArray[np.int_]) -> NDArray[np.int_]:
    inside = keys[(keys >= item.keys[0]) & (keys <= item.keys[1])]
    if item.fault == "damper":
        return np.array([k for k in inside if usually_damped(int(k)) is not False], dtype=int)
    return inside


def _unheard(item: HeardItem, keys: NDArray[np.int_]) -> Heard:
    mine = tuple(int(k) for k in _in_range(item, keys))
    return Heard(item, (), (), (), mine, len(mine), "no recording yet")


def _hear(item: HeardItem, table: pd.DataFrame, state: TuningState) -> Heard:
    rows = table.loc[_in_range(item, table.index.to_numpy())]
    status = rows["status"].fillna("skipped").astype(str)
    faulty, hidden, unheard = _flags(item, rows, status, state)
    keys = rows.index.to_numpy()
    mute = unheard & (status == "silent").to_numpy()
    groups = [tuple(int(k) for k in keys[flags]) for flags in (faulty, hidden, mute, unheard & ~mute)]
    return Heard(item, *groups, total=len(keys), reason=_why(rows, status, unheard & ~mute, item.fault))


def _flags(
    item: HeardItem, rows: pd.DataFrame, status: pd.Series, state: TuningState
) -> tuple[Flags, Flags, Flags]:
    none = np.zeros(len(rows), dtype=bool)
    measured = (status == "measured").to_numpy()
    if item.fault == "silent":
        return (status == "silent").to_numpy(), none, ~(measured | (status == "silent").to_numpy())
    if item.fault == "short_sustain":
        return _sustain_flags(rows, measured)
    if item.fault == "slipped":
        faulty = rows.index.isin(state.slipped)
        hidden = measured & ~faulty & state.neglected
        return faulty, hidden, ~faulty & ~hidden & (~measured | ~rows.index.isin(state.judged))
    faulty = has_entry(rows["faults"], item.fault)
    unheard = ~faulty & (~measured | has_entry(rows["not_judged"], item.fault))
    if item.fault == "damper":
        unheard &= np.array([usually_damped(int(k)) is True for k in rows.index], dtype=bool)
    hidden = unheard & measured & _because_of_tuning(rows["not_judged"], item.fault)
    return faulty, hidden, unheard & ~hidden


def _sustain_flags(rows: pd.DataFrame, measured: Flags) -> tuple[Flags, Flags, Flags]:
    verdict, trust = rows["sustain_verdict"].fillna(""), rows["sustain_trust"].fillna("")
    hidden = measured & ((verdict == "tune first") | (trust == MASKED)).to_numpy()
    short = (verdict == "short").to_numpy() | has_entry(rows["faults"], "short_sustain")
    faulty = measured & ~hidden & short
    return faulty, hidden, ~hidden & ~faulty & ~(measured & (verdict == "sound").to_numpy())


def has_entry(column: pd.Series, word: str) -> Flags:
    """Whether ``word`` stands in a ``;``-separated cell, alone or as ``word=reason``."""
    return (
        column.fillna("")
        .astype(str)
        .str.contains(rf"(?:^|;)\s*{word}\s*(?:=|;|$)", regex=True)
        .to_numpy(bool)
    )


def _because_of_tuning(column: pd.Series, word: str) -> Flags:
    return (
        column.fillna("")
        .astype(str)
        .str.contains(rf"(?:^|;)\s*{word}\s*=[^;]*unison", regex=True)
        .to_numpy(bool)
    )


def _why(rows: pd.DataFrame, status: pd.Series, unheard: Flags, fault: str) -> str:
    """The commonest reason why keys could not be judged."""
    missing = rows[unheard]
    if missing.empty:
        return ""
    told = missing["not_judged"].fillna("").astype(str).str.extract(rf"(?:^|;)\s*{fault}\s*=([^;]*)")[0]
    if fault == "short_sustain":
        told = told.fillna(missing["sustain_trust"].replace(["", "ok"], pd.NA))
    other = status[unheard].replace("measured", "not judged")
    return str(told.fillna(other).value_counts().index[0]).strip()


def evidence_of_heard(heard: Heard) -> Evidence:
    """One item of listening as evidence; what tuning hides, silence hides and nobody heard are three gaps."""
    item = heard.item
    known, *more = heard.shares
    parts: tuple[tuple[str, tuple[int, ...], str, Effort], ...] = (
        ("hidden", heard.hidden, "the strings are too far out of tune to tell", "tune and record again"),
        ("silent", heard.mute, "no sound to judge before the key is mended", "technician"),
        ("not heard", heard.unheard, heard.reason, "record again"),
    )
    gaps = tuple(
        Gap(
            key=f"listening: {item.key}, {part}",
            text=f"{item.unknown} ({len(keys)} of {heard.total} {item.of} {part})",
            reason=reason,
            share=share,
            effort=effort,
            minutes=12.0 if effort == "record again" else None,
        )
        for (part, keys, reason, effort), share in zip(parts, more, strict=True)
        if share > 0
    )
    text = f"{item.what} in {len(heard.faulty)} of {heard.total} {item.of} ({keys_in_words(heard.faulty)})"
    return Evidence(source="listening", text=text, share=known, strengths=item.aspects, gaps=gaps)
