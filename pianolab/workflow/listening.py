"""From a sound file to a survey, and from a sound file into a casebook."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import TypedDict, Unpack

from pianolab.acoustics import Recorded, Survey, listen
from pianolab.acoustics.survey_rows import warning_sentences
from pianolab.casebook import Casebook
from pianolab.casebook.book import check_open
from pianolab.errors import BadInput
from pianolab.io import check_listenable, read_sound
from pianolab.model import Piano, Recording, RecordingPurpose, SurveyRecord, Visit
from pianolab.release import code_version
from pianolab.show import Row, Showable
from pianolab.workflow.progress import Progress, part_of, quiet, stoppable


@dataclass(frozen=True, kw_only=True, repr=False)
class Surveyed(Showable):
    """A recording that was kept in a casebook, and what was heard in it."""

    recording: Recording
    record: SurveyRecord
    survey: Survey

    def headline(self) -> str:
        return f"{self.recording.original_name}: {self.survey.headline()}"

    def rows(self) -> list[Row]:
        return self.survey.rows()


class Listening(TypedDict, total=False):
    """How to listen: what `listen_file` takes beside the file, by name."""

    first_key: int
    last_key: int
    a4_hz: float
    expected_offset_cents: float | None
    first_is_sure: bool
    progress: Progress | None


@stoppable("The recording was not heard to its end; nothing was kept. Run it again.")
def listen_file(
    path: str | Path,
    *,
    first_key: int = 1,
    last_key: int = 88,
    a4_hz: float = 440.0,
    expected_offset_cents: float | None = None,
    first_is_sure: bool = False,
    progress: Progress | None = None,
) -> Survey:
    """Measure every key of a piano from the recording of a scale in a sound file.

    Parameters
    ----------
    path : a sound file of any usual format; read as it is
    first_key, last_key : int; the keys that were played lie within these (A0 = 1, A4 = 49)
    a4_hz : float, Hz; what A4 should be
    expected_offset_cents : float, cents; how far the piano is from it, where a fork or a tuning device says so:
        then a recording played at the wrong speed shows
    first_is_sure : whether ``first_key`` is known to be the lowest key played; settles a doubtful reading
    progress : called with what is being done and a share from 0 to 1

    Returns
    -------
    Survey; see `pianolab.acoustics.listen`

    Raises
    ------
    BadInput
        no such file, no sound, no piano notes, keys that don't fit; one line that says what is needed

    Examples
    --------
    >>> from importlib.resources import as_file
    >>> from pianolab.io import real_notes
    >>> with as_file(real_notes()[49]) as path:
    ...     survey = listen_file(path, first_key=49, last_key=49)
    >>> survey.summary.measured
    1
    """
    tell = progress or quiet
    known = Recorded(expected_offset_cents=expected_offset_cents)
    tell("reading the sound", 0.0)
    check_listenable(path)
    sound = read_sound(path)
    survey = listen(
        sound.samples,
        rate_hz=sound.rate_hz,
        first_key=first_key,
        last_key=last_key,
        a4_hz=a4_hz,
        name=sound.name,
        recorded=replace(known, lossy=sound.lossy),
        progress=tell,
    )
    return _settled(survey, first_key) if first_is_sure else survey


def _settled(survey: Survey, first_key: int) -> Survey:
    """The reading is clear where somebody who knows says which key was the lowest, and it is that one."""
    measured = survey.table.loc[survey.table["status"] == "measured", "key"]
    if survey.summary.reading != "doubtful" or int(measured.min()) != first_key:
        return survey
    s = survey.summary
    warnings = warning_sentences(survey.table, offset=s.offset_cents, doubtful=False, quality=s.quality)
    return replace(survey, summary=replace(s, reading="clear", other_first_key=None, warnings=warnings))


@stoppable("The recording was not heard to its end; nothing was entered. Run it again.")
def survey_into(
    casebook: Casebook,
    path: str | Path,
    *,
    piano: str,
    visit: str | date,
    by: str = "listening",
    purpose: RecordingPurpose = "take",
    note: str = "",
    **listening: Unpack[Listening],
) -> Surveyed:
    """Listen to a recording and keep it, with its survey, at a visit to a piano of the casebook.

    Parameters
    ----------
    casebook : an open casebook
    path : the sound file
    piano : name or id of a piano in the casebook
    visit : the id of a visit, or its day: then the visit of that day is used, of several the one by ``by``, or a new
        one entered
    by : who enters it; stands in the casebook's log
    purpose : ``take``, or ``left pedal`` where that was held: such a recording is compared and never judged
    note : free text, kept with the recording
    **listening : how to listen, by name, as `listen_file` takes it: ``first_key``, ``last_key``, ``a4_hz``,
        ``expected_offset_cents``, ``first_is_sure``, ``progress``

    Returns
    -------
    Surveyed; the entered recording, its survey record, the survey

    Raises
    ------
    BadInput
        an unknown piano, a visit that is not to it or one of several, or a recording that can't be used; nothing is
        entered then
    """
    check_open(casebook, name="survey_into")
    known = casebook.piano(piano)
    find_visit(casebook, known, visit, by=by)
    tell = listening.get("progress") or quiet
    listening["progress"] = part_of(tell, known.name, begin=0.0, end=0.95)
    survey = listen_file(path, **listening)
    return keep_survey(casebook, path, survey, piano=known.id, visit=visit, by=by, purpose=purpose, note=note)


def keep_survey(
    casebook: Casebook,
    path: str | Path,
    survey: Survey,
    *,
    piano: str,
    visit: str | date,
    by: str,
    purpose: RecordingPurpose = "take",
    note: str = "",
) -> Surveyed:
    """Enter a recording that has been listened to already.

    All of it is entered, or nothing.

    Parameters
    ----------
    survey : what was measured
    casebook, path, piano, visit, by, purpose, note : as in `survey_into`

    Returns
    -------
    Surveyed
    """
    known = casebook.piano(piano)
    at = find_visit(casebook, known, visit, by=by)
    kept = casebook.keep_sound(path)
    s = survey.summary
    with casebook.editing(by=by) as edit:
        if at not in casebook.visits(known.id):
            edit.add(at)
        recording = edit.add_sound(
            at.id, kept, first_key=s.first_key, last_key=s.last_key, a4_hz=s.a4_hz, purpose=purpose, note=note
        )
        record = edit.add(survey_record(recording, survey))
    return Surveyed(recording=recording, record=record, survey=survey)


def find_visit(casebook: Casebook, piano: Piano, visit: str | date, *, by: str) -> Visit:
    """The visit to a piano by its id, or by its day where that says which; a new one where nobody was there that day.

    Raises
    ------
    BadInput
        no such visit, a visit to another piano, several on that day and none or more than one of them by ``by``
    """
    if isinstance(visit, str):
        found = casebook.visit(visit)
        if found.piano_id != piano.id:
            other = casebook.piano(found.piano_id).name
            raise BadInput("visit", f"a visit to {other}", f"one to {piano.name}")
        return found
    if not isinstance(visit, date):
        raise BadInput("visit", repr(visit)[:60], "the id of a visit, or its day")
    new = Visit(piano_id=piano.id, day=visit, examiner=by)
    that_day = [v for v in casebook.visits(piano.id) if v.day == new.day]
    own = [v for v in that_day if v.examiner == by]
    if len(that_day) > 1 and len(own) != 1:
        known = ", ".join(f"{v.id} ({v.examiner or 'nobody named'})" for v in that_day)
        got = f"{len(that_day)} visits to {piano.name} on {new.day.isoformat()}"
        raise BadInput("visit", got, f"the id of one: {known}", "Whose recording is it?")
    if len(that_day) > 1:
        return own[0]
    return that_day[0] if that_day else new


def survey_record(recording: Recording, survey: Survey) -> SurveyRecord:
    """The survey of a recording as a record, with the version of the listening that made it."""
    return SurveyRecord(
        recording_id=recording.id,
        visit_id=recording.visit_id,
        version=code_version("acoustics"),
        survey_json=survey.to_json(),
    )


def day_of(text: str) -> date:
    """A day written as 2026-03-14.

    Examples
    --------
    >>> day_of("2026-03-14")
    datetime.date(2026, 3, 14)
    """
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise BadInput("visit", repr(text), "a day such as 2026-03-14", "Year, month, day.") from None


def visit_named(text: str) -> str | date:
    """What somebody types for a visit: its day, or its id as a casebook makes them.

    Examples
    --------
    >>> visit_named("2026-03-14"), visit_named("0f" * 16) == "0f" * 16
    (datetime.date(2026, 3, 14), True)
    """
    return text if re.fullmatch(r"[0-9a-f]{32}", text) else day_of(text)
