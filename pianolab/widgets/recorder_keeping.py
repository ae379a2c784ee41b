"""From what arrived, or a file, to a recording of the casebook that has been listened to."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pianolab.acoustics import Survey, listen
from pianolab.acoustics.live.leaving import Leaving, before_leaving
from pianolab.casebook.arrived import Arrived, Gap, file_away
from pianolab.io import read_sound
from pianolab.keyboard import note_name
from pianolab.model import Recording, SurveyRecord
from pianolab.words import say

if TYPE_CHECKING:
    from pianolab.casebook import Casebook

Tell = Callable[[str, float], None]

SCALES = ("take", "left pedal")
"""Purposes of recordings in which keys are played one after another."""


@dataclass(frozen=True)
class Kept:
    """A recording that is in the casebook: what was heard in it, if anything was to be, and what to play again."""

    recording: Recording
    survey: Survey | None
    leaving: Leaving | None
    gaps: tuple[Gap, ...] = ()
    says: str = ""


def keep_arrived(
    casebook: Casebook, arrived: Arrived, *, asked: tuple[int, ...], compass: tuple[int, int] | None, by: str, version: str,
    tell: Tell,
) -> Kept:  # fmt: skip
    """File what arrived, then listen to it; it stays filed whatever becomes of the listening."""
    gaps = arrived.gaps()
    recording = file_away(
        casebook, arrived, by=by, keys=compass, progress=lambda what, share: tell(what, 0.1 * share)
    )
    return listen_to(casebook, recording, asked=asked, gaps=gaps, by=by, version=version, tell=tell)


def keep_file(
    casebook: Casebook, path: Path, visit_id: str, *, asked: tuple[int, ...], by: str, version: str, tell: Tell, **more: Any
) -> Kept:  # fmt: skip
    """Keep a sound file at a visit, then listen to it."""
    tell("keeping the file", 0.02)
    kept = casebook.keep_sound(path)
    with casebook.editing(by=by) as edit:
        recording = edit.add_sound(visit_id, kept, **more)
    return listen_to(casebook, recording, asked=asked, gaps=(), by=by, version=version, tell=tell)


def listen_to(
    casebook: Casebook,
    recording: Recording,
    *,
    asked: tuple[int, ...],
    gaps: tuple[Gap, ...],
    by: str,
    version: str,
    tell: Tell,
) -> Kept:
    """Listen to a recording of the casebook and enter what was heard."""
    if recording.purpose not in SCALES:
        return Kept(recording, None, None, gaps)
    sound = read_sound(casebook.media_path(recording.media))
    survey = listen(
        sound.samples, rate_hz=sound.rate_hz, first_key=recording.first_key, last_key=recording.last_key,
        a4_hz=recording.a4_hz, lossy=sound.lossy, name=recording.original_name or "recording",
        progress=lambda what, share: tell(what, 0.1 + 0.85 * share),
    )  # fmt: skip
    record = SurveyRecord(
        recording_id=recording.id, visit_id=recording.visit_id, version=version, survey_json=survey.to_json()
    )
    with casebook.editing(by=by) as edit:
        edit.add(record)
    leaving = before_leaving(survey, asked=asked, gaps_s=[(g.begin_s, g.end_s) for g in gaps])
    return Kept(recording, survey, leaving, gaps, survey.headline())


def leaving_view(kept: Kept) -> dict[str, Any]:
    """What the screen shows of what to play again."""
    if kept.leaving is None:
        return {"parts": [], "keys": [], "seconds": 0.0, "says": kept.says}
    parts = [
        {"keys": [{"key": k, "note": note_name(k)} for k in part.keys], "text": say(part.says)}
        for part in kept.leaving.again
    ]
    warnings = list(kept.survey.summary.warnings) if kept.survey is not None else []
    return {
        "parts": parts, "keys": list(kept.leaving.keys), "seconds": kept.leaving.seconds, "says": kept.says,
        "warnings": warnings, "gaps": [_gap_view(g) for g in kept.gaps],
    }  # fmt: skip


def _gap_view(gap: Gap) -> dict[str, Any]:
    return {"kind": gap.kind, "at_s": gap.begin_s, "lost_s": gap.lost_s}
