"""Teaching a class: listening drills with known truth, grading alike, what was learnt, and how it is kept."""

from pianolab.classroom.desk import Desk
from pianolab.classroom.drills import DRILL_KINDS, Drill, DrillKind, Truth, set_seed
from pianolab.classroom.exhibits import GRADED_POINTS, Exhibit, make_exhibits
from pianolab.classroom.folder import SchoolClass, make_class, open_class
from pianolab.classroom.grading import ClassView, class_view
from pianolab.classroom.lessons import (
    Lesson,
    lesson_drills,
    lesson_examples,
    lesson_exhibits,
    load_lessons,
    sitting,
    write_answers,
    write_lesson_sheets,
)
from pianolab.classroom.making import drill_set, make_drill
from pianolab.classroom.own_piano import OwnPiano, open_own_piano, own_faults, own_piano, photo_exhibit
from pianolab.classroom.pages import write_class_page, write_progress_page
from pianolab.classroom.paper import enter_paper
from pianolab.classroom.psychometrics import (
    Sensitivity,
    Share,
    sensitivities_by_day,
    sensitivity,
    sensitivity_of,
    share_of,
    shares_by_day,
    shares_by_fault,
    shares_by_kind,
    threshold_of,
    thresholds_by_day,
)
from pianolab.classroom.sheets import Sheets, write_sheets
from pianolab.classroom.sittings import DrillSitting, GradingSitting
from pianolab.classroom.staircase import Ladder, Threshold, UpDown
from pianolab.classroom.talking import Talk, examples, talk

__all__ = [
    "DRILL_KINDS",
    "GRADED_POINTS",
    "ClassView",
    "Desk",
    "Drill",
    "DrillKind",
    "DrillSitting",
    "Exhibit",
    "GradingSitting",
    "Ladder",
    "Lesson",
    "OwnPiano",
    "SchoolClass",
    "Sensitivity",
    "Share",
    "Sheets",
    "Talk",
    "Threshold",
    "Truth",
    "UpDown",
    "class_view",
    "drill_set",
    "enter_paper",
    "examples",
    "lesson_drills",
    "lesson_examples",
    "lesson_exhibits",
    "load_lessons",
    "make_class",
    "make_drill",
    "make_exhibits",
    "open_class",
    "open_own_piano",
    "own_faults",
    "own_piano",
    "photo_exhibit",
    "sensitivities_by_day",
    "sensitivity",
    "sensitivity_of",
    "set_seed",
    "share_of",
    "shares_by_day",
    "shares_by_fault",
    "shares_by_kind",
    "sitting",
    "talk",
    "threshold_of",
    "thresholds_by_day",
    "write_answers",
    "write_class_page",
    "write_lesson_sheets",
    "write_progress_page",
    "write_sheets",
]
