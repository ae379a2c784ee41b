"""Listening: from one recording of all keys to a row of measures per key, with reasons for every gap."""

from pianolab.acoustics.holding import Holding, KeyHolding, holds_tuning
from pianolab.acoustics.pedal import LeftPedal, RegisterChange, left_pedal
from pianolab.acoustics.results import COLUMNS, FAULTS, LevelCurve, Survey, SurveySummary
from pianolab.acoustics.survey import listen
from pianolab.acoustics.takes import MergedSurvey, merge_takes

__all__ = [
    "COLUMNS",
    "FAULTS",
    "Holding",
    "KeyHolding",
    "LeftPedal",
    "LevelCurve",
    "MergedSurvey",
    "RegisterChange",
    "Survey",
    "SurveySummary",
    "holds_tuning",
    "left_pedal",
    "listen",
    "merge_takes",
]
