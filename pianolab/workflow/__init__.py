"""The long ways through: a recording into a casebook, and a casebook into a decision, a page, tables."""

from pianolab.workflow.deciding import Decision, decide
from pianolab.workflow.exporting import Written, export, survey_csv, survey_json
from pianolab.workflow.listening import Surveyed, keep_survey, listen_file, survey_into
from pianolab.workflow.many import ManySurveys, OneOfMany, survey_many
from pianolab.workflow.notebook_forms import export_button
from pianolab.workflow.notebooks import copy_notebooks
from pianolab.workflow.progress import Printer, Progress
from pianolab.workflow.recordings import compare_recordings, listen
from pianolab.workflow.second_visit import ranking_changes, visit_changes
from pianolab.workflow.settings import Settings

__all__ = [
    "Decision",
    "ManySurveys",
    "OneOfMany",
    "Printer",
    "Progress",
    "Settings",
    "Surveyed",
    "Written",
    "compare_recordings",
    "copy_notebooks",
    "decide",
    "export",
    "export_button",
    "keep_survey",
    "listen",
    "listen_file",
    "ranking_changes",
    "survey_csv",
    "survey_into",
    "survey_json",
    "survey_many",
    "visit_changes",
]
