"""Forms for a notebook that need a casebook: the recorder, the export as a button, and the whole visit."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pianolab.casebook import Casebook
from pianolab.model import Visit
from pianolab.workflow.deciding import Decision
from pianolab.workflow.exporting import PAGE, export
from pianolab.workflow.knowing import known_now
from pianolab.workflow.progress import Progress
from pianolab.workflow.settings import Settings

if TYPE_CHECKING:
    from pianolab.widgets.export_button import ExportButton
    from pianolab.widgets.recorder import RecorderForm
    from pianolab.widgets.visit_desk import VisitDesk


TABLES = "comparison-tables"


def export_button(
    what: Casebook | Decision, html: str | Path | None = None, *, settings: Settings | None = None
) -> ExportButton:
    """A form with one button that writes the comparison page, and a second one for the tables.

    Nothing is written before a button is pressed, and nothing that is there already is replaced unless the box
    that says so is ticked, anew each time.

    Parameters
    ----------
    what : a decision, or an open casebook, which is decided anew each time a button is pressed
    html : where the page goes, ``comparison.html`` beside the casebook's folder if not given; the tables
        go into the folder ``comparison-tables`` beside the page
    settings : as in `export`

    Returns
    -------
    ExportButton; a notebook shows it as it is
    """
    from pianolab.widgets.export_button import ExportButton, Outcome

    casebook = what.casebook if isinstance(what, Decision) else what
    path = Path(html) if html is not None else _beside(casebook) / PAGE
    folder = path.parent / TABLES

    def page(leave_out: Sequence[str], replace: bool, tell: Progress) -> Outcome:
        done = export(what, path, leave_out=leave_out, replace=replace, settings=settings, progress=tell)
        return Outcome(path, done.notes)

    def tables(leave_out: Sequence[str], replace: bool, tell: Progress) -> Outcome:
        done = export(
            what, tables=folder, leave_out=leave_out, replace=replace, settings=settings, progress=tell
        )
        return Outcome(folder, done.notes)

    return ExportButton(page=page, tables=tables, target=path, tables_target=folder)


def _beside(casebook: Casebook) -> Path:
    """The folder in which the casebook's folder lies; the current one where the casebook is on a server."""
    folder = Path(casebook.name)
    return folder.parent if folder.is_dir() else Path()


def visit_desk(
    casebook: Casebook,
    *,
    examiner: str = "me",
    minutes: float | None = None,
    settings: Settings | None = None,
) -> VisitDesk:
    """The whole visit on one screen: piano, walk, keyboard, recording, players, photos, and what is known so far.

    Parameters
    ----------
    casebook : an open casebook; an empty one gets its first piano
    examiner : str; who records
    minutes : how long there is, such as 20, 40 or 60 min, or None; it can be chosen on the screen too
    settings : for whom is judged, with which points and prices; what the casebook remembers if not given

    Returns
    -------
    VisitDesk; a notebook shows it as it is
    """
    from pianolab.widgets.visit_desk import VisitDesk

    return VisitDesk(
        casebook,
        examiner=examiner,
        minutes=minutes,
        know=lambda book, piano_id: known_now(book, piano_id, settings),
    )


def recorder_form(
    casebook: Casebook,
    visit: Visit | str,
    *,
    examiner: str = "",
    on_kept: Callable[[Any], None] | None = None,
) -> RecorderForm:
    """A form that records from the microphone or takes in a file, listens, and keeps both at a visit.

    Parameters
    ----------
    casebook : an open casebook
    visit : Visit or its id
    examiner : str; who records; empty takes the examiner named in the visit
    on_kept : called with each recording that was kept

    Returns
    -------
    RecorderForm; a notebook shows it as it is
    """
    from pianolab.widgets.recorder import RecorderForm

    return RecorderForm(casebook, visit, examiner=examiner, on_kept=on_kept)
