"""Forms for a notebook that need a casebook: the export as a button, and a recording into the casebook."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from pianolab.casebook import Casebook
from pianolab.errors import BadInput
from pianolab.io import sound_info
from pianolab.model import Piano, Visit
from pianolab.workflow.deciding import Decision
from pianolab.workflow.exporting import PAGE, export
from pianolab.workflow.knowing import known_now
from pianolab.workflow.listening import survey_into
from pianolab.workflow.progress import Progress
from pianolab.workflow.settings import Settings

if TYPE_CHECKING:
    from pianolab.widgets.export_button import ExportButton
    from pianolab.widgets.recording_form import RecordingForm
    from pianolab.widgets.visit_desk import VisitDesk

TABLES = "comparison-tables"
SUFFIXES = frozenset(
    {
        ".wav",
        ".flac",
        ".ogg",
        ".oga",
        ".opus",
        ".mp3",
        ".aif",
        ".aiff",
        ".m4a",
        ".aac",
        ".3gp",
        ".mp4",
        ".mov",
        ".webm",
        ".mkv",
        ".caf",
        ".w64",
    }
)


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


def recording_form(
    casebook: Casebook, piano: Piano, visit: Visit, *, folder: str | Path = ".", examiner: str = "me"
) -> RecordingForm:
    """A form that hears one of the sound files in a folder and keeps it at a visit.

    Parameters
    ----------
    casebook : an open casebook
    piano, visit : whose recording it is
    folder : where to look for sound files, the newest first
    examiner : str; who enters it

    Returns
    -------
    RecordingForm; a notebook shows it as it is
    """
    from pianolab.widgets.recording_form import RecordingForm

    def keep(path: Path, tell: Progress) -> str:
        _check_new(casebook, path)
        surveyed = survey_into(
            casebook,
            path,
            piano=piano.id,
            visit=visit.id,
            first_key=piano.first_key,
            last_key=piano.last_key,
            by=examiner,
            progress=tell,
        )
        return surveyed.headline()

    about = f"{piano.name}, visit of {visit.day.isoformat()}"
    return RecordingForm(about=about, files=lambda: sound_files(folder), keep=keep)


def sound_files(folder: str | Path) -> tuple[Path, ...]:
    """Sound and video files of a folder, the newest first.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     for name in ("a.m4a", "notes.txt", ".hidden.wav"):
    ...         (Path(folder) / name).touch()
    ...     [p.name for p in sound_files(folder)]
    ['a.m4a']
    """
    found = [
        p
        for p in Path(folder).iterdir()
        if p.is_file() and p.suffix.lower() in SUFFIXES and not p.name.startswith(".")
    ]
    return tuple(sorted(found, key=lambda p: (-p.stat().st_mtime, p.name)))


def _check_new(casebook: Casebook, path: Path) -> None:
    seconds = sound_info(path).seconds
    mine = [r.seconds for r in casebook.recordings() if r.original_name == path.name]
    same = seconds is not None and any(abs(known - seconds) < 0.01 for known in mine)
    if same:
        raise BadInput(
            path.name, "a recording that is in the casebook already", "another one", "Kept before?"
        )
