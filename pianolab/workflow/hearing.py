"""Which recording of a piano counts, and its survey."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from pianolab.acoustics import Survey, listen
from pianolab.casebook import Casebook
from pianolab.errors import PianolabError
from pianolab.io import read_sound
from pianolab.model import Piano, Recording, SurveyRecord
from pianolab.release import VERSION
from pianolab.workflow.kept_survey import kept_survey
from pianolab.workflow.progress import Progress


@dataclass(frozen=True, kw_only=True)
class Heard:
    """The survey of a piano that counts, the recording it is of, and how it was made."""

    survey: Survey
    recording: Recording
    day: str
    version: str


def all_heard(
    casebook: Casebook,
    pianos: tuple[Piano, ...],
    problems: dict[str, str],
    *,
    until: date | None,
    progress: Progress,
) -> dict[str, Heard]:
    heard = {}
    for n, piano in enumerate(pianos):
        try:
            found = _heard(casebook, piano, until=until, progress=progress, share=0.7 * n / len(pianos))
        except PianolabError as error:
            problems[piano.id] = str(error)
            continue
        if found is not None:
            heard[piano.id] = found
    return heard


def _heard(
    casebook: Casebook, piano: Piano, *, until: date | None, progress: Progress, share: float
) -> Heard | None:
    """What counts of a piano's sound: its latest visit with a recording, there the one with most keys."""
    records = {r.recording_id: r for r in casebook.surveys(piano.id)}
    for visit in reversed([v for v in casebook.visits(piano.id) if until is None or v.day <= until]):
        candidates: list[Heard] = []
        unheard: PianolabError | None = None
        for recording in (r for r in casebook.recordings(visit.id) if r.purpose == "take"):
            record = records.get(recording.id)
            if record is None:
                progress(f"{piano.name}: listening to {recording.original_name}", share)
            try:
                survey = _survey_of(casebook, recording, record)
            except PianolabError as error:  # one that was stopped at once takes nothing from the others
                unheard = error
                continue
            version = record.version if record else f"{VERSION}, listened to for this page"
            candidates.append(
                Heard(survey=survey, recording=recording, day=visit.day.isoformat(), version=version)
            )
        if not candidates and unheard is not None:
            raise unheard
        if candidates:
            return max(reversed(candidates), key=lambda h: h.survey.summary.measured)
    return None


def _survey_of(casebook: Casebook, recording: Recording, record: SurveyRecord | None) -> Survey:
    if record is not None:
        return kept_survey(record)
    sound = read_sound(casebook.media_path(recording.media))
    return listen(
        sound.samples,
        rate_hz=sound.rate_hz,
        first_key=recording.first_key,
        last_key=recording.last_key,
        a4_hz=recording.a4_hz,
        lossy=sound.lossy,
        name=recording.original_name or recording.media,
    )
