"""Teaching a class: listening drills with known truth, grading alike, what was learnt, and how it is kept."""

from pianolab.classroom.drills import DRILL_KINDS, Drill, DrillKind, Truth, drill_set, make_drill, set_seed
from pianolab.classroom.measures import (
    Sensitivity,
    Share,
    sensitivity,
    sensitivity_of,
    share_of,
    shares_by_day,
    shares_by_fault,
    shares_by_kind,
    threshold_of,
)
from pianolab.classroom.staircase import Ladder, Threshold, UpDown

__all__ = [
    "DRILL_KINDS",
    "Drill",
    "DrillKind",
    "Ladder",
    "Sensitivity",
    "Share",
    "Threshold",
    "Truth",
    "UpDown",
    "drill_set",
    "make_drill",
    "sensitivity",
    "sensitivity_of",
    "set_seed",
    "share_of",
    "shares_by_day",
    "shares_by_fault",
    "shares_by_kind",
    "threshold_of",
]
