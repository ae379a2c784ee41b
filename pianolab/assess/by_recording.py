"""What the survey says for the scores: faults counted over ranges of keys, gaps kept as gaps.

Nothing here uses a measure that the room makes: no absolute brightness, no level, no reverberation time.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pianolab.acoustics.named_reasons import split_names, split_reasons
from pianolab.acoustics.survey_result import Survey
from pianolab.assess.evidence import Effort, Evidence, Gap
from pianolab.assess.scoring import HeardItem, Scoring
from pianolab.assess.tuning_state import TuningState
from pianolab.keyboard import usually_damped
from pianolab.model import Piano
from pianolab.recordings.holding import Holding
from pianolab.statements import Statement, as_written, statement

Flags = NDArray[np.bool_]
MASKED = "masked by unison"
HIDDEN_BY_TUNING = ("short_sustain", "slipped")
MOVED, COMPARED = "moved", "compared"
UNHEARD = frozenset({"skipped", "unclear", "too short", "noisy", "clipped", "automatic gain", "not judged"})
"""Words of the survey for why a key could not be judged that have words of our own; others are passed on."""


@dataclass(frozen=True, eq=False)
class HeardKeys:
    """One item of listening over its keys: which are faulty, and which can't be told.

    ``hidden`` are those the tuning hides, ``mute`` those that give no sound to judge, ``unheard`` the rest;
    ``effort`` is what it takes to tell of these.
    """

    item: HeardItem
    faulty: tuple[int, ...]
    hidden: tuple[int, ...]
    mute: tuple[int, ...]
    unheard: tuple[int, ...]
    total: int
    why: Statement | None = None
    effort: Effort = "record again"

    @property
    def shares(self) -> tuple[float, float, float, float]:
        """Share of the full loss: known; then what the hidden, the mute and the unheard keys could add."""
        scale = 1.0 / max(self.total, 1) / self.item.full_share
        counts = [len(self.faulty), len(self.hidden), len(self.mute), len(self.unheard)]
        known, *more = np.diff(np.minimum(np.cumsum([0, *counts]) * scale, 1.0))
        return float(known), float(more[0]), float(more[1]), float(more[2])


def hear(
    piano: Piano, survey: Survey | None, tuning: TuningState, *, scoring: Scoring
) -> tuple[HeardKeys, ...]:
    """Every item of listening for this piano; without a survey all keys are unknown."""
    keys = np.arange(piano.first_key, piano.last_key + 1)
    items = [item for item in scoring.heard if item.fault != MOVED]
    if survey is None:
        return tuple(_unheard(item, keys, tuning) for item in items)
    table = survey.table.drop_duplicates("key").set_index("key").reindex(keys)
    return tuple(h for item in items if (h := _hear(item, table, tuning)).total)


def hear_twice(piano: Piano, holding: Holding | None, *, scoring: Scoring) -> tuple[HeardKeys, ...]:
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
    return (HeardKeys(item, moved, (), (), untold, len(keys), statement("unknown.one recording")),)


def _in_range(item: HeardItem, keys: NDArray[np.int_]) -> NDArray[np.int_]:
    inside = keys[(keys >= item.keys[0]) & (keys <= item.keys[1])]
    if item.fault == "damper":
        return np.array([k for k in inside if usually_damped(int(k)) is not False], dtype=int)
    return inside


def _unheard(item: HeardItem, keys: NDArray[np.int_], tuning: TuningState) -> HeardKeys:
    """Nothing of it is heard; where the ear tells that the strings disagree, recording alone would not tell it either."""
    mine = tuple(int(k) for k in _in_range(item, keys))
    if tuning.neglected and item.fault in HIDDEN_BY_TUNING:
        return HeardKeys(item, (), mine, (), (), len(mine))
    why = statement("unknown.by ear only" if item.untold else "unknown.no recording")
    return HeardKeys(item, (), (), (), mine, len(mine), why)


def _hear(item: HeardItem, table: pd.DataFrame, tuning: TuningState) -> HeardKeys:
    rows = table.loc[_in_range(item, table.index.to_numpy())]
    status = rows["status"].fillna("skipped").astype(str)
    faulty, hidden, unheard = _flags(item, rows, status, tuning)
    keys = rows.index.to_numpy()
    mute = unheard & (status == "silent").to_numpy()
    unheard &= ~mute
    return HeardKeys(
        item=item,
        faulty=_picked(keys, faulty),
        hidden=_picked(keys, hidden),
        mute=_picked(keys, mute),
        unheard=_picked(keys, unheard),
        total=len(keys),
        why=_why(rows[unheard], status[unheard], item.fault) if unheard.any() else None,
    )


def _picked(keys: NDArray[np.int_], flags: Flags) -> tuple[int, ...]:
    return tuple(int(k) for k in keys[flags])


def _flags(
    item: HeardItem, rows: pd.DataFrame, status: pd.Series, tuning: TuningState
) -> tuple[Flags, Flags, Flags]:
    none = np.zeros(len(rows), dtype=bool)
    measured = (status == "measured").to_numpy()
    if item.fault == "silent":
        return (status == "silent").to_numpy(), none, ~(measured | (status == "silent").to_numpy())
    if item.fault == "short_sustain":
        return _sustain_flags(rows, measured)
    if item.fault == "slipped":
        faulty = rows.index.isin(tuning.slipped)
        hidden = measured & ~faulty & tuning.neglected
        return faulty, hidden, ~faulty & ~hidden & (~measured | ~rows.index.isin(tuning.judged))
    faulty = _faulty(rows, item.fault)
    unheard = ~faulty & (
        ~measured | np.array([item.fault in split_reasons(c) for c in rows["not_judged"]], bool)
    )
    if item.fault == "damper":
        unheard &= np.array([usually_damped(int(k)) is True for k in rows.index], dtype=bool)
    return faulty, none, unheard


def _faulty(rows: pd.DataFrame, fault: str) -> Flags:
    return np.array([fault in split_names(cell) for cell in rows["faults"]], dtype=bool)


def _sustain_flags(rows: pd.DataFrame, measured: Flags) -> tuple[Flags, Flags, Flags]:
    verdict, trust = rows["sustain_verdict"].fillna(""), rows["sustain_trust"].fillna("")
    hidden = measured & ((verdict == "tune first") | (trust == MASKED)).to_numpy()
    short = (verdict == "short").to_numpy() | _faulty(rows, "short_sustain")
    faulty = measured & ~hidden & short
    return faulty, hidden, ~hidden & ~faulty & ~(measured & (verdict == "sound").to_numpy())


def _why(rows: pd.DataFrame, status: pd.Series, fault: str) -> Statement:
    """The commonest reason why keys could not be judged."""
    told = Counter(_reason(row, how, fault) for (_, row), how in zip(rows.iterrows(), status, strict=True))
    commonest = min(told, key=lambda reason: (-told[reason], reason))
    return statement(f"unheard.{commonest}") if commonest in UNHEARD else as_written(commonest)


def _reason(row: pd.Series, status: str, fault: str) -> str:
    """Why one key could not be judged: the survey's own reason, what spoils the sustain, or its status."""
    told = split_reasons(row["not_judged"]).get(fault)
    if told is None and fault == "short_sustain" and row["sustain_trust"] not in ("", "ok", None):
        told = row["sustain_trust"] if isinstance(row["sustain_trust"], str) else None
    return told or ("not judged" if status == "measured" else status)


def evidence_of_heard(heard: HeardKeys) -> Evidence:
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
    says = counted("heard.faulty", item, keys=heard.faulty, total=heard.total)
    return Evidence(
        source="listening",
        says=says,
        share=known,
        strengths=item.aspects,
        gaps=gaps,
        fault=item.fault_name,
        keys=frozenset(heard.faulty),
        count=len(heard.faulty),
    )


def counted(kind: str, item: HeardItem, *, keys: Iterable[int], total: int) -> Statement:
    """How many keys of a range have what is heard, or can't be judged for it."""
    named = tuple(keys)
    terms = {name: statement(f"heard.{item.key}.{name}") for name in ("what", "of", "unknown")}
    return statement(
        kind, item.key, evidence=["listening"], count=len(named), total=total, keys=named, **terms
    )


def _hidden_gap(heard: HeardKeys, share: float) -> Gap:
    return Gap(
        key=hidden_key(heard.item.together or heard.item.key),
        what=counted("heard.part hidden", heard.item, keys=heard.hidden, total=heard.total),
        why=statement("unknown.out of tune"),
        share=share,
        effort="tune and record again",
    )


def hidden_key(what: str) -> str:
    """The key of what a bad tuning hides; a checklist point that it hides too shares it."""
    return f"hidden by the tuning: {what}"


def _mute_gap(heard: HeardKeys, share: float) -> Gap:
    return Gap(
        key="silent keys",
        what=statement("heard.no sound", "silent", keys=heard.mute),
        why=statement("unknown.no sound"),
        share=share,
        effort="technician",
    )


def _unheard_gap(heard: HeardKeys, share: float) -> Gap:
    item = heard.item
    key, why = f"not heard: {item.together or item.key}", heard.why or statement("unheard.not judged")
    if item.untold:
        terms: dict[str, Any] = {n: statement(f"heard.{item.key}.{n}") for n in ("unknown", "untold")}
        what = statement("heard.never told", item.key, **terms)
        return Gap(key=key, what=what, why=why, share=share, effort="look again", minutes=12.0)
    what = counted("heard.part unheard", item, keys=heard.unheard, total=heard.total)
    return Gap(key=key, what=what, why=why, share=share, effort=heard.effort, minutes=_minutes(heard))


def _minutes(heard: HeardKeys) -> float | None:
    return None if heard.effort == "technician" else 12.0
