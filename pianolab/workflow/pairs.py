"""Two recordings of one piano: what became of the tuning between two days, and what the left pedal does."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from pianolab.casebook import Casebook
from pianolab.errors import BadInput
from pianolab.model import Piano, Recording, SurveyRecord
from pianolab.recordings import Holding, LeftPedal, holds_tuning, left_pedal
from pianolab.workflow.hearing import Heard
from pianolab.workflow.kept_survey import kept_survey


def pedals_of(
    casebook: Casebook, pianos: tuple[Piano, ...], heard: Mapping[str, Heard]
) -> dict[str, LeftPedal]:
    """What the left pedal does, where the recording that counts has a twin of the same visit with the pedal held."""
    found = {}
    for piano in pianos:
        counted = heard.get(piano.id)
        twins = [] if counted is None else _twins(casebook, piano, counted.recording)
        if counted is None or not twins:
            continue
        try:
            twin = kept_survey(twins[-1])
            found[piano.id] = left_pedal(counted.survey, twin, kind=piano.kind)
        except BadInput:  # too few keys in both: then nothing is said about the pedal
            continue
    return found


def _twins(casebook: Casebook, piano: Piano, recording: Recording) -> list[SurveyRecord]:
    pedal = {r.id for r in casebook.recordings(recording.visit_id) if r.purpose == "left pedal"}
    return [r for r in casebook.surveys(piano.id) if r.recording_id in pedal]


def holding_of(casebook: Casebook, last: Heard | None, piano_id: str) -> Holding | None:
    """The recording that counts against the latest one of an earlier day; None where there is no such pair."""
    if last is None:
        return None
    days = {v.id: v.day for v in casebook.visits(piano_id)}
    now = date.fromisoformat(last.day)
    pedal = {r.id for v in days for r in casebook.recordings(v) if r.purpose == "left pedal"}
    earlier = [
        (days[r.visit_id], n, r)
        for n, r in enumerate(casebook.surveys(piano_id))
        if days[r.visit_id] < now and r.recording_id not in pedal
    ]
    if not earlier:
        return None
    day, _, record = max(earlier)
    try:
        return holds_tuning(kept_survey(record), last.survey, days=float((now - day).days))
    except BadInput:  # too few keys in both: then nothing is said about the pins
        return None
