"""What the survey says for the scores: faults counted over ranges of keys, gaps kept as gaps.

Nothing here uses a measure that the room makes: no absolute brightness, no level, no reverberation time.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pianolab.acoustics.holding import Holding
from pianolab.acoustics.results import Survey
from pianolab.assess.evidence import Evidence, Gap
from pianolab.assess.scoring import HeardItem, Scoring
from pianolab.assess.tuning_state import TuningState, has_entry
from pianolab.keyboard import keys_in_words, usually_damped
from pianolab.model import Piano

Flags = NDArray[np.bool_]
MASKED = "masked by unison"
MOVED, COMPARED = "moved", "compared"


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
    items = [item for item in scoring.heard if item.fault != MOVED]
    if survey is None:
        return tuple(_unheard(item, keys) for item in items)
    table = survey.table.drop_duplicates("key").set_index("key").reindex(keys)
    return tuple(h for item in items if (h := _hear(item, table, state, scoring)).total)


def hear_twice(piano: Piano, holding: Holding | None, *, scoring: Scoring) -> tuple[Heard, ...]:
    """What two recordings on different days say about the pins; nothing where they can't be compared.

    A string that moved by a cent or two says nothing against its pin.
    """
    if holding is None or holding.state != COMPARED:
        return ()
    item = next(i for i in scoring.heard if i.fault == MOVED)
    keys = range(piano.first_key, piano.last_key + 1)
    moved = tuple(sorted(k.key for k in holding.moved_far if k.key in keys))
    told = {k.key for k in holding.keys if k.chance is not None}
    untold = tuple(k for k in keys if k not in told)
    reason = "not measured in both recordings" if untold else ""
    return (Heard(item, moved, (), (), untold, len(keys), reason),)


def _in_range(item: HeardItem, keys: NDArray[np.int_]) -> NDArray[np.int_]:
    inside = keys[(keys >= item.keys[0]) & (keys <= item.keys[1])]
    if item.fault == "damper":
        return np.array([k for k in inside if usually_damped(int(k)) is not False], dtype=int)
    return inside


def _unheard(item: HeardItem, keys: NDArray[np.int_]) -> Heard:
    mine = tuple(int(k) for k in _in_range(item, keys))
    return Heard(item, (), (), (), mine, len(mine), "no recording yet")


def _hear(item: HeardItem, table: pd.DataFrame, state: TuningState, scoring: Scoring) -> Heard:
    rows = table.loc[_in_range(item, table.index.to_numpy())]
    status = rows["status"].fillna("skipped").astype(str)
    faulty, hidden, unheard = _flags(item, rows, status, state)
    keys = rows.index.to_numpy()
    mute = unheard & (status == "silent").to_numpy()
    unheard &= ~mute
    return Heard(
        item=item,
        faulty=_picked(keys, faulty),
        hidden=_picked(keys, hidden),
        mute=_picked(keys, mute),
        unheard=_picked(keys, unheard),
        total=len(keys),
        reason=_why(rows, status, unheard, item.fault, scoring),
    )


def _picked(keys: NDArray[np.int_], flags: Flags) -> tuple[int, ...]:
    return tuple(int(k) for k in keys[flags])


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


def _because_of_tuning(column: pd.Series, word: str) -> Flags:
    return (
        column.fillna("")
        .astype(str)
        .str.contains(rf"(?:^|;)\s*{word}\s*=[^;]*unison", regex=True)
        .to_numpy(bool)
    )


def _why(rows: pd.DataFrame, status: pd.Series, unheard: Flags, fault: str, scoring: Scoring) -> str:
    """The commonest reason why keys could not be judged."""
    missing = rows[unheard]
    if missing.empty:
        return ""
    told = missing["not_judged"].fillna("").astype(str).str.extract(rf"(?:^|;)\s*{fault}\s*=([^;]*)")[0]
    if fault == "short_sustain":
        told = told.fillna(missing["sustain_trust"].replace(["", "ok"], pd.NA))
    other = status[unheard].replace("measured", "not judged")
    commonest = str(told.fillna(other).mode().iloc[0]).strip()
    return scoring.reasons.get(commonest, commonest)


def evidence_of_heard(heard: Heard) -> Evidence:
    """One item of listening as evidence.

    What the tuning hides, what gives no sound, and what nobody heard are three gaps with remedies of their own.
    """
    item = heard.item
    known, *more = heard.shares
    gaps = tuple(
        gap
        for gap in (_hidden_gap(heard, more[0]), _mute_gap(heard, more[1]), _unheard_gap(heard, more[2]))
        if gap.share > 0
    )
    text = f"{item.what} in {len(heard.faulty)} of {heard.total} {item.of} ({keys_in_words(heard.faulty)})"
    return Evidence(source="listening", text=text, share=known, strengths=item.aspects, gaps=gaps)


def _hidden_gap(heard: Heard, share: float) -> Gap:
    return Gap(
        key=hidden_key(heard.item.together or heard.item.key),
        text=_counted(heard, heard.hidden, "hidden"),
        reason="the strings are too far out of tune to tell",
        share=share,
        effort="tune and record again",
    )


def hidden_key(what: str) -> str:
    """The key of what a bad tuning hides; a checklist point that it hides too shares it."""
    return f"hidden by the tuning: {what}"


def _mute_gap(heard: Heard, share: float) -> Gap:
    return Gap(
        key="silent keys",
        text=f"how the silent keys will sound ({keys_in_words(heard.mute)})",
        reason="no sound to judge before they are mended",
        share=share,
        effort="technician",
    )


def _unheard_gap(heard: Heard, share: float) -> Gap:
    key = f"not heard: {heard.item.together or heard.item.key}"
    if heard.item.untold:
        text = f"{heard.item.unknown} ({heard.item.untold})"
        return Gap(key=key, text=text, reason=heard.reason, share=share, effort="look again", minutes=12.0)
    text = _counted(heard, heard.unheard, "not heard")
    return Gap(key=key, text=text, reason=heard.reason, share=share, effort="record again", minutes=12.0)


def _counted(heard: Heard, keys: tuple[int, ...], how: str) -> str:
    return f"{heard.item.unknown} ({len(keys)} of {heard.total} {heard.item.of} {how})"
