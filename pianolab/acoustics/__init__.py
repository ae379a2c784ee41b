"""Listening: from one recording of all keys to a row of measures per key, with reasons for every gap."""

from pianolab.acoustics.survey import Recorded, listen
from pianolab.acoustics.survey_result import COLUMNS, FAULTS, LevelCurve, Survey, SurveySummary

__all__ = [
    "COLUMNS",
    "FAULTS",
    "LevelCurve",
    "Recorded",
    "Survey",
    "SurveySummary",
    "listen",
]
