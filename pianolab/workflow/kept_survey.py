"""The survey that a casebook keeps of a recording, or one clear line where its text is no survey."""

from __future__ import annotations

from pianolab.acoustics import Survey
from pianolab.errors import BadInput
from pianolab.model import SurveyRecord


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
