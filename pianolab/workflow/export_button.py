"""The export as a button in a notebook: what to leave out, page or tables, and where they went."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from pianolab.casebook import Casebook
from pianolab.model import BuyerProfile
from pianolab.workflow.exporting import PAGE, export_page, export_tables
from pianolab.workflow.progress import Progress

if TYPE_CHECKING:
    from pianolab.widgets.export_button import ExportButton

TABLES = "comparison-tables"


def export_button(
    casebook: Casebook,
    html_path: str | Path = PAGE,
    *,
    profile: str | BuyerProfile = "first piano",
    seed: int = 0,
) -> ExportButton:
    """A form with one button that writes the comparison page, and a second one for the tables.

    Parameters
    ----------
    casebook : an open casebook; it is only read
    html_path : where the page goes; the tables go into the folder ``comparison-tables`` beside it
    profile, seed : as in `export_page`

    Returns
    -------
    ExportButton; a notebook shows it as it is
    """
    from pianolab.widgets.export_button import ExportButton

    path = Path(html_path)

    def page(leave_out: Sequence[str], tell: Progress) -> Path:
        return export_page(casebook, path, profile=profile, leave_out=leave_out, seed=seed, progress=tell)

    def tables(leave_out: Sequence[str], tell: Progress) -> Path:
        folder = path.parent / TABLES
        return export_tables(casebook, folder, profile=profile, leave_out=leave_out, seed=seed, progress=tell)

    return ExportButton(page=page, tables=tables, target=str(path))
