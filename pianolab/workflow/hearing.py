"""Which recordings of a piano count, and their survey."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date

from pianolab.acoustics import Recorded, Survey, listen
from pianolab.casebook import Casebook
from pianolab.errors import BadInput, PianolabError
from pianolab.io import read_sound
from pianolab.model import Piano, Recording, SurveyRecord
from pianolab.recordings import check_one_piano, lost_keys, merge_takes, with_capture
from pianolab.release import VERSION
from pianolab.workflow.progress import Progress


@dataclass(frozen=True, kw_only=True)
class Heard:
    """The survey of a piano that counts, and how it was made.

    ``survey`` is of all takes of the visit that go together; ``recording`` is the one with most keys and ``own`` the
    survey of it alone, whose times are those of its sound. ``others`` are the further takes in ``survey``, ``apart``
    those that don't go together with it, each with the reason.
    """

    survey: Survey
    recording: Recording
    own: Survey
    day: str
    version: str
    others: tuple[Recording, ...] = ()
    apart: tuple[tuple[Recording, str], ...] = ()


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
    """What counts of a piano's sound: its latest visit with a recording, there all takes that go together."""
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
                Heard(
                    survey=survey, recording=recording, own=survey, day=visit.day.isoformat(), version=version
                )
            )
        if not candidates and unheard is not None:
            raise unheard
        if candidates:
            return _together(candidates)
    return None


def _together(takes: list[Heard]) -> Heard:
    """The take with most keys, the last of several, with all others that can be of one piano in one tuning."""
    best = max(reversed(takes), key=lambda h: h.survey.summary.measured)
    fit, apart = [best], []
    for take in (t for t in takes if t is not best):
        try:
            check_one_piano([*(t.survey for t in fit), take.survey])
            fit.append(take)
        except BadInput as error:
            apart.append((take.recording, str(error)))
    lost = [lost_keys(t.own, t.recording.capture) for t in fit]
    survey = merge_takes([t.survey for t in fit], lost=lost) if len(fit) > 1 else best.survey
    others = tuple(t.recording for t in fit[1:])
    return replace(best, survey=survey, others=others, apart=tuple(apart))


def _survey_of(casebook: Casebook, recording: Recording, record: SurveyRecord | None) -> Survey:
    if record is not None:
        return kept_survey(record)
    sound = read_sound(casebook.media_path(recording.media))
    survey = listen(
        sound.samples,
        rate_hz=sound.rate_hz,
        first_key=recording.first_key,
        last_key=recording.last_key,
        a4_hz=recording.a4_hz,
        name=recording.original_name or recording.media,
        recorded=Recorded(lossy=sound.lossy),
    )
    return with_capture(survey, recording.capture)


def kept_survey(record: SurveyRecord) -> Survey:
    """The survey in a record.

    Raises
    ------
    BadInput
        a text that is no survey

    Examples
    --------
    >>> kept_survey(SurveyRecord(recording_id="r", visit_id="v", version="0", survey_json="{}"))
    Traceback (most recent call last):
    ...
    pianolab.errors.BadInput: kept survey: got a text that can't be read, need what listening wrote. ...
    """
    try:
        return Survey.from_json(record.survey_json)
    except (KeyError, ValueError, TypeError, AttributeError, RecursionError):
        hint = "Damaged, or kept by a newer pianolab? Listen to the recording again."
        raise BadInput("kept survey", "a text that can't be read", "what listening wrote", hint) from None
