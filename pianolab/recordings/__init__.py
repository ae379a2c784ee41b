"""Recordings beside each other: several takes as one, two visits, with and without the left pedal. Only finished surveys are read."""

from pianolab.recordings.captured import how_captured, lost_keys, with_capture
from pianolab.recordings.holding import Holding, KeyHolding, holds_tuning
from pianolab.recordings.left_pedal import LeftPedal, RegisterChange, left_pedal
from pianolab.recordings.merged import MergedSurvey
from pianolab.recordings.pairing import check_one_piano
from pianolab.recordings.takes import merge_takes

__all__ = [
    "Holding",
    "KeyHolding",
    "LeftPedal",
    "MergedSurvey",
    "RegisterChange",
    "check_one_piano",
    "holds_tuning",
    "how_captured",
    "left_pedal",
    "lost_keys",
    "merge_takes",
    "with_capture",
]
