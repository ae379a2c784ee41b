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
    html_path: str | Path | None = None,
    *,
    profile: str | BuyerProfile = "first piano",
    seed: int = 0,
) -> ExportButton:
    """A form with one button that writes the comparison page, and a second one for the tables.

    Nothing is written before a button is pressed, and nothing that is there already is replaced before the
    button says so.

    Parameters
    ----------
    casebook : an open casebook; it is only read
    html_path : where the page goes, ``comparison.html`` beside the casebook's folder if not given; the tables
        go into the folder ``comparison-tables`` beside the page
    profile, seed : as in `export_page`

    Returns
    -------
    ExportButton; a notebook shows it as it is
    """
    from pianolab.widgets.export_button import ExportButton

    path = Path(html_path) if html_path is not None else _beside(casebook) / PAGE
    folder = path.parent / TABLES

    def page(leave_out: Sequence[str], tell: Progress) -> Path:
        return export_page(casebook, path, profile=profile, leave_out=leave_out, seed=seed, progress=tell)

    def tables(leave_out: Sequence[str], tell: Progress) -> Path:
        return export_tables(casebook, folder, profile=profile, leave_out=leave_out, seed=seed, progress=tell)

    return ExportButton(page=page, tables=tables, target=path, tables_target=folder)


def _beside(casebook: Casebook) -> Path:
    """The folder in which the casebook's folder lies; the current one where the casebook is on a server."""
    folder = Path(casebook.name)
    return folder.parent if folder.is_dir() else Path()
