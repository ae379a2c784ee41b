"""Recordings beside each other: several takes as one, two visits, with and without the left pedal. Only finished surveys are read."""

from pianolab.recordings.holding import Holding, KeyHolding, holds_tuning
from pianolab.recordings.merged import MergedSurvey
from pianolab.recordings.pedal import LeftPedal, RegisterChange, left_pedal
from pianolab.recordings.takes import merge_takes

__all__ = [
    "Holding",
    "KeyHolding",
    "LeftPedal",
    "MergedSurvey",
    "RegisterChange",
    "holds_tuning",
    "left_pedal",
    "merge_takes",
]
