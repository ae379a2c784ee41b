"""The survey's summary: pitch of the whole piano, what tuning and recording hide, and what to be warned of."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from pianolab.acoustics.columns import Listened
from pianolab.acoustics.judging.fault_rules import FoundFaults
from pianolab.acoustics.judging.tuning import robust_spread
from pianolab.acoustics.judging.tuning_need import need_of_table, pitch_words
from pianolab.acoustics.keys.compass import usual_stretch_cents
from pianolab.acoustics.keys.keypath import KeyPath
from pianolab.acoustics.notes import NoteMeasures
from pianolab.acoustics.recorder.quality import RecordingQuality
from pianolab.acoustics.survey_result import SurveySummary, count_faults

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, kw_only=True)
class Asked:
    """What was asked of the listening: the keys that the recording covers, and what A4 should be, in Hz."""

    first_key: int
    last_key: int
    a4_hz: float


def summarise(
    listened: Listened,
    path: KeyPath,
    table: pd.DataFrame,
    *,
    asked: Asked,
    quality: RecordingQuality,
    clipped: NDArray[np.bool_],
) -> SurveySummary:
    """What holds for the whole piano and the whole recording."""
    m, j = listened.m, listened.judged
    by_status = {
        s: tuple(int(k) for k in table.loc[table["status"] == s, "key"])
        for s in ("silent", "skipped", "unclear")
    }
    offset = offset_cents(m, j)
    doubtful = path.other_shift != 0
    said = tuple(i for i in quality.impairments if i.says)
    says = tuple(i.says for i in said)
    withheld = quality.withholds("t60_s")
    t60_s, t60_reason = (np.nan, withheld) if withheld else (m.t60_s, m.t60_reason)
    return SurveySummary(
        first_key=asked.first_key,
        last_key=asked.last_key,
        a4_hz=asked.a4_hz,
        rate_hz=listened.rate_hz,
        channels=listened.channels.shape[0],
        seconds=listened.channels.shape[1] / listened.rate_hz,
        measured=len(m.strikes.key),
        silent=by_status["silent"],
        skipped=by_status["skipped"],
        unclear=by_status["unclear"],
        offset_cents=offset,
        tuning_spread_cents=robust_spread(j.cents - j.curve_cents) if len(j.cents) > 4 else None,
        reading="doubtful" if doubtful else "clear",
        other_first_key=int(m.strikes.key.min()) + path.other_shift if doubtful else None,
        t60_s=None if np.isnan(t60_s) else float(t60_s),
        t60_reason=t60_reason,
        noise_db=m.noise_db,
        clipped_keys=tuple(int(k) for k in m.strikes.key[clipped]),
        quality=says,
        sustain_hidden=tuned_first(table),
        sustain_heard=len(j.verdict),
        fault_counts=count_faults(table),
        warnings=warning_sentences(table, offset=offset, doubtful=doubtful, quality=says),
        impairments=tuple(i.name for i in said),
        quality_unknown=quality.unknown,
        **tuning_fields(table),
    )


def offset_cents(m: NoteMeasures, j: FoundFaults) -> float | None:
    """How far the whole piano is from the pitch that was asked for, usual stretch taken out; None without notes."""
    off = j.cents - usual_stretch_cents(m.strikes.key)
    return float(np.nanmedian(off)) if np.isfinite(off).any() else None


def tuning_fields(table: pd.DataFrame) -> dict[str, Any]:
    """The summary's fields on the state of the unisons."""
    need = need_of_table(table)
    return {"unisons_judged": need.judged, "wide_unisons": need.wide, "needs_tuning": need.needed}


def warning_sentences(
    table: pd.DataFrame, *, offset: float | None, doubtful: bool, quality: tuple[str, ...]
) -> tuple[str, ...]:
    """What the reader must know first: the pitch, what the tuning hides, what can't be told, what the recording forbids."""
    first = (
        pitch_words(offset),
        need_of_table(table).says(
            hidden=tuned_first(table), heard=int((table["status"] == "measured").sum())
        ),
        "the keys may all be one semitone off: --first-key N settles it" if doubtful else "",
    )
    return (*(w for w in first if w), *quality)


def tuned_first(table: pd.DataFrame) -> int:
    """How many notes sing through unisons too wide to judge how long."""
    return int((table["sustain_verdict"] == "tune first").sum())
