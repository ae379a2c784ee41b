"""Where everything in a decision comes from, in lines for the end of a page: versions, files, days, hashes."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from pathlib import Path

from pianolab.recordings import how_captured
from pianolab.release import VERSION
from pianolab.workflow.hearing import Heard
from pianolab.workflow.judging import Judged
from pianolab.workflow.settings import Settings


def provenance_of(judged: Judged, settings: Settings, notes: Sequence[str]) -> dict[str, str]:
    """Lines by what they are about, in the order in which a reader asks."""
    lines = {"Made by": f"pianolab {VERSION}, draws with seed {settings.seed}"}
    if settings.checklist is not None:
        lines["Points"] = f"the usual ones, with those of {settings.points_file}"
    lines["Prices"] = "; ".join(notes) if judged.reckoning.why_none else settings.price_list.origin()
    if notes and not judged.reckoning.why_none:
        lines["To be known"] = "; ".join(notes)
    for piano in judged.pianos:
        lines[f"Recording of {piano.name}"] = _recording(judged, piano.id)
    if judged.heard:
        lines["Clips"] = "equally loud (A-weighted, first second), so that tone and length can be compared"
    if judged.visits:
        lines["Visits"] = _days([v.day for v in judged.visits])
    return lines


def _recording(judged: Judged, piano_id: str) -> str:
    if piano_id in judged.problems:
        return f"can't be used: {judged.problems[piano_id]}"
    if piano_id not in judged.heard:
        return "none; its sound is unknown"
    return _origin(judged.heard[piano_id])


def _origin(h: Heard) -> str:
    r = h.recording
    more = [r.note, *how_captured(h.own, r.capture), *(_further(h))]
    note = "".join(f"; {m}" for m in more if m)
    return (
        f"{h.day}, {r.seconds:.0f} s at {r.rate_hz} Hz, SHA-256 {Path(r.media).stem[:16]}, "
        f"listened to by version {h.version}{note}"
    )


def _further(h: Heard) -> list[str]:
    """The visit's other takes: counted together with it, or not and why."""
    together = [f"with {o.seconds:.0f} s, SHA-256 {Path(o.media).stem[:16]}" for o in h.others]
    apart = [f"not with SHA-256 {Path(o.media).stem[:16]}: {why}" for o, why in h.apart]
    return [*together, *apart]


def _days(days: Sequence[date]) -> str:
    first, last = min(days).isoformat(), max(days).isoformat()
    return first if first == last else f"{first} to {last}"
