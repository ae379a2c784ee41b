"""The comparison page of a casebook, and its tables."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from pianolab.casebook import Casebook
from pianolab.errors import BadInput
from pianolab.files import check_outputs, check_place, own_files, write_files
from pianolab.model import BuyerProfile
from pianolab.report import ALWAYS, check_choices, check_folder, table_files
from pianolab.workflow.page_making import page_of, tables_of, work_out
from pianolab.workflow.progress import Progress, quiet, stoppable

PAGE = "comparison.html"


@stoppable("The page was not written; what was there before is as it was.")
def export_page(
    casebook: Casebook,
    html_path: str | Path,
    *,
    profile: str | BuyerProfile = "first piano",
    leave_out: Sequence[str] = (),
    seed: int = 0,
    replace: bool = False,
    progress: Progress | None = None,
) -> Path:
    """Write the comparison page of a casebook: one HTML file with everything inside.

    Parameters
    ----------
    casebook : an open casebook; it is only read
    html_path : where to write; the file appears when it is complete
    profile : a buyer, or the name of one
    leave_out : any of ``names``, ``addresses``, ``prices``, which then stand nowhere in the page
    replace : whether a file that is there may be replaced

    Returns
    -------
    Path of the page

    Raises
    ------
    BadInput
        a place that can't be written, a file there and not ``replace``, a casebook's own file, an unknown profile,
        an empty casebook
    """
    path = Path(html_path)
    export_both(
        casebook, html_path=path, profile=profile, leave_out=leave_out, seed=seed, replace=replace, progress=progress
    )  # fmt: skip
    return path


@dataclass(frozen=True, kw_only=True)
class Written:
    """What an export wrote, and which of it was there before and has been replaced, as was asked."""

    paths: tuple[Path, ...]
    replaced: tuple[Path, ...]


def export_both(
    casebook: Casebook,
    *,
    html_path: str | Path | None = None,
    folder: str | Path | None = None,
    profile: str | BuyerProfile = "first piano",
    leave_out: Sequence[str] = (),
    seed: int = 0,
    replace: bool = False,
    progress: Progress | None = None,
) -> Written:
    """Write the page, the tables or both of a casebook that is judged once.

    Parameters
    ----------
    html_path, folder : where page and tables go; None leaves them out
    casebook, profile, leave_out, seed, replace, progress : as in `export_page`

    Raises
    ------
    BadInput
        as `export_page`; then neither page nor tables are written
    """
    tell, page = progress or quiet, None if html_path is None else Path(html_path)
    check_choices(leave_out)
    own = tuple(own_files(casebook.folder))
    _check_free(page, folder, inputs=own, replace=replace)
    worked_out = work_out(casebook, profile=profile, seed=seed, progress=tell)
    contents = {} if page is None else {page: page_of(worked_out, leave_out=leave_out).encode("utf-8")}
    if folder is not None:
        contents |= table_files(Path(folder), tables_of(worked_out, leave_out=leave_out))
    there = tuple(p for p in contents if p.exists())
    tell("writing", 0.9)
    made = None if folder is None else Path(folder)
    write_files(contents, folder=made, inputs=own, replace=replace)
    tell("written", 1.0)
    return Written(paths=tuple(contents), replaced=there)


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


@stoppable("The tables were not written; what was there before is as it was.")
def export_tables(
    casebook: Casebook,
    folder: str | Path,
    *,
    profile: str | BuyerProfile = "first piano",
    leave_out: Sequence[str] = (),
    seed: int = 0,
    replace: bool = False,
    progress: Progress | None = None,
) -> Path:
    """Write the same content as a set of CSV tables into a folder, for those who want the numbers.

    Parameters
    ----------
    folder : made where it is missing; other files in it stay
    casebook, profile, leave_out, seed, replace, progress : as in `export_page`

    Returns
    -------
    Path of the folder

    Raises
    ------
    BadInput
        as `export_page`
    """
    path = Path(folder)
    export_both(
        casebook, folder=path, profile=profile, leave_out=leave_out, seed=seed, replace=replace, progress=progress
    )  # fmt: skip
    return path
