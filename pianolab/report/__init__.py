"""The report: one self-contained HTML page, and the same content as CSV tables."""

from pianolab.report.csv_tables import ALWAYS, check_folder, csv_tables, table_files, write_tables
from pianolab.report.further import Further, further
from pianolab.report.page import Enclosures, comparison_page
from pianolab.report.photos_and_clips import Clip, Picture, scaled_picture
from pianolab.report.redact import check_choices
from pianolab.report.render import write_page

__all__ = [
    "ALWAYS",
    "Clip",
    "Enclosures",
    "Further",
    "Picture",
    "check_choices",
    "check_folder",
    "comparison_page",
    "csv_tables",
    "further",
    "scaled_picture",
    "table_files",
    "write_page",
    "write_tables",
]
