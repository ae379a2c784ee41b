"""The comparison page of a casebook, and its tables, into files."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from pianolab.casebook import Casebook
from pianolab.casebook.book import check_open
from pianolab.errors import BadInput
from pianolab.files import check_outputs, check_place, own_files, write_files
from pianolab.report import ALWAYS, check_choices, check_folder, table_files
from pianolab.show import Row, Showable
from pianolab.workflow.deciding import Decision, decide
from pianolab.workflow.page_making import page_of, tables_of
from pianolab.workflow.progress import Progress, quiet, stoppable
from pianolab.workflow.settings import Settings

PAGE = "comparison.html"


@dataclass(frozen=True, kw_only=True, repr=False)
class Written(Showable):
    """What an export wrote, which of it was there before and has been replaced, as was asked, and from what.

    ``notes`` says what a reader of the page should know, such as that it was compared without money.
    """

    paths: tuple[Path, ...]
    replaced: tuple[Path, ...]
    decision: Decision
    header = ("file", "note")

    @property
    def notes(self) -> tuple[str, ...]:
        return self.decision.notes

    def headline(self) -> str:
        return f"written: {', '.join(str(p) for p in self.paths)}"

    def rows(self) -> list[Row]:
        return [(str(p), "replaced" if p in self.replaced else "") for p in self.paths]


@stoppable("Nothing was written; what was there before is as it was.")
def export(
    what: Casebook | Decision,
    html: str | Path | None = None,
    *,
    tables: str | Path | None = None,
    leave_out: Sequence[str] = (),
    replace: bool = False,
    settings: Settings | None = None,
    progress: Progress | None = None,
) -> Written:
    """Write the comparison page (one HTML file with everything inside), its numbers as CSV tables, or both.

    Parameters
    ----------
    what : a decision, or an open casebook, which is decided first
    html : where the page goes; the file appears when it is complete
    tables : the folder for the tables; made where it is missing, other files in it stay
    leave_out : any of ``names``, ``addresses``, ``prices``, which then stand nowhere in them
    replace : whether files that are there may be replaced
    settings : for a casebook: for whom, with which points and prices; what it remembers if not given
    progress : called with what is being done and a share from 0 to 1

    Raises
    ------
    BadInput
        no place, one that can't be written, a file there and not ``replace``, a casebook's own file, settings for what
        is decided already, and what `decide` refuses; then neither page nor tables are written
    """
    if html is None and tables is None:
        raise BadInput("export", "nowhere to write", "a file for the page, a folder for the tables, or both")
    if isinstance(what, Decision) and settings is not None:
        raise BadInput("settings", "those of another decision", "none", "This one is decided already.")
    if not isinstance(what, Decision):
        check_open(what, name="export")
    tell, page = progress or quiet, None if html is None else Path(html)
    check_choices(leave_out)
    own = tuple(own_files((what.casebook if isinstance(what, Decision) else what).folder))
    _check_free(page, tables, inputs=own, replace=replace)
    decision = what if isinstance(what, Decision) else decide(what, settings, progress=tell)
    contents = {}
    if page is not None:
        tell("cutting the clips", 0.8)
        contents[page] = page_of(decision, leave_out=leave_out).encode("utf-8")
    if tables is not None:
        contents |= table_files(Path(tables), tables_of(decision, leave_out=leave_out))
    there = tuple(p for p in contents if p.exists())
    tell("writing", 0.9)
    write_files(contents, folder=None if tables is None else Path(tables), inputs=own, replace=replace)
    tell("written", 1.0)
    return Written(paths=tuple(contents), replaced=there, decision=decision)


def _check_free(
    page: Path | None, folder: str | Path | None, *, inputs: Sequence[Path], replace: bool
) -> None:
    """What can be known of the places before the work begins; which tables there are of pianos shows after it."""
    places = [page]
    if folder is not None:
        check_folder(Path(folder))
        if page is not None and os.path.abspath(page) == os.path.abspath(folder):
            raise BadInput(str(page), "the same place for page and tables", "a place of its own for each")
        places += [Path(folder) / name for name in ALWAYS]
    check_outputs(*places, inputs=inputs, replace=replace)
    for path in (page, places[-1]):
        if path is not None and (path is page or path.parent.exists()):
            check_place(path)
