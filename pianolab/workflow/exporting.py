"""The comparison page of a casebook, and the whole demonstration in one call."""

from __future__ import annotations

import shutil
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from pianolab.casebook import Casebook
from pianolab.errors import BadInput
from pianolab.model import BuyerProfile
from pianolab.report import check_choices, check_folder, is_page, write_tables
from pianolab.workflow.demo_book import demo_casebook
from pianolab.workflow.outputs import staged
from pianolab.workflow.page_making import page_of, tables_of, work_out
from pianolab.workflow.progress import Progress, part_of, quiet, stoppable

CASEBOOK, PAGE = "casebook", "comparison.html"


@stoppable("The page was not written; what was there before is as it was.")
def export_page(
    casebook: Casebook,
    html_path: str | Path,
    *,
    profile: str | BuyerProfile = "first piano",
    leave_out: Sequence[str] = (),
    seed: int = 0,
    progress: Progress | None = None,
) -> Path:
    """Write the comparison page of a casebook: one HTML file with everything inside.

    Parameters
    ----------
    casebook : an open casebook; it is only read
    html_path : where to write; the file appears when it is complete, in the place of an earlier page
    profile : a buyer, or the name of one
    leave_out : any of ``names``, ``addresses``, ``prices``, which then stand nowhere in the page

    Returns
    -------
    Path of the page

    Raises
    ------
    BadInput
        a place that can't be written, another file there, an unknown profile, an empty casebook
    """
    path = Path(html_path)
    export_both(casebook, html_path=path, profile=profile, leave_out=leave_out, seed=seed, progress=progress)
    return path


@dataclass(frozen=True, kw_only=True)
class Written:
    """What an export wrote, and which of it was there before and has been replaced."""

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
    progress: Progress | None = None,
) -> Written:
    """Write the page, the tables or both of a casebook that is judged once.

    Parameters
    ----------
    html_path, folder : where page and tables go; None leaves them out
    casebook, profile, leave_out, seed, progress : as in `export_page`

    Raises
    ------
    BadInput
        as `export_page`; a file in the way that is no earlier page or table is never replaced
    """
    tell, page = progress or quiet, None if html_path is None else Path(html_path)
    check_choices(leave_out)
    if page is not None:
        _check_page(page)
    if folder is not None:
        check_folder(Path(folder))
    with staged(page) as (part,):
        worked_out = work_out(casebook, profile=profile, seed=seed, progress=tell)
        tables = {} if folder is None else tables_of(worked_out, leave_out=leave_out)
        paths = [p for p in (page, *(Path(folder or "") / name for name in tables)) if p is not None]
        replaced = tuple(p for p in paths if p.exists())
        tell("writing", 0.9)
        if part is not None:
            part.write_text(page_of(worked_out, leave_out=leave_out), encoding="utf-8", newline="\n")
        if folder is not None:
            write_tables(folder, tables)
    tell("written", 1.0)
    return Written(paths=tuple(paths), replaced=replaced)


def _check_page(path: Path) -> None:
    """Refuses to replace a file that is no earlier page."""
    if path.is_file() and not is_page(path):
        raise BadInput(
            str(path),
            "a file that isn't a comparison page",
            "another name for the page",
            "It stays as it is.",
        )


@stoppable("Not all tables were written; each that is there is whole.")
def export_tables(
    casebook: Casebook,
    folder: str | Path,
    *,
    profile: str | BuyerProfile = "first piano",
    leave_out: Sequence[str] = (),
    seed: int = 0,
    progress: Progress | None = None,
) -> Path:
    """Write the same content as a set of CSV tables into a folder, for those who want the numbers.

    Parameters
    ----------
    folder : made where it is missing; earlier tables of the same names and columns in it are replaced
    casebook, profile, leave_out, seed, progress : as in `export_page`

    Returns
    -------
    Path of the folder

    Raises
    ------
    BadInput
        as `export_page`
    """
    path = Path(folder)
    export_both(casebook, folder=path, profile=profile, leave_out=leave_out, seed=seed, progress=progress)
    return path


@stoppable("The demonstration is not complete. Run it again.")
def demo(out: str | Path, *, progress: Progress | None = None) -> Path:
    """The whole job on the invented shortlist: ``OUT/casebook`` and ``OUT/comparison.html``.

    Returns
    -------
    Path of the comparison page

    Raises
    ------
    BadInput
        a folder that holds anything else; nothing in it is touched
    """
    folder, tell = Path(out), progress or quiet
    new = _check_folder(folder)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        got = (error.strerror or "a write error").lower()
        raise BadInput(str(folder), got, "a folder that can be made") from None
    try:
        with demo_casebook(folder / CASEBOOK, progress=part_of(tell, "", begin=0.0, end=0.8)) as casebook:
            export_page(casebook, folder / PAGE, progress=part_of(tell, "", begin=0.8, end=1.0))
    except BaseException:
        if new:
            shutil.rmtree(folder, ignore_errors=True)
        raise
    return folder / PAGE


def _check_folder(folder: Path) -> bool:
    """Whether the folder is to be made; `BadInput` where it holds anything that isn't the demonstration's."""
    if not folder.exists():
        return True
    if not folder.is_dir():
        raise BadInput(str(folder), "a file", "a folder that is new, empty or a demonstration")
    inside = {p.name for p in folder.iterdir() if not _left_over(p.name)}
    strange = sorted(inside - {CASEBOOK, PAGE})
    if strange or (inside and CASEBOOK not in inside):
        raise BadInput(
            str(folder), f"a folder with other things in it ({(strange or [PAGE])[0]})",
            "a folder that is new, empty or a demonstration", "Choose another with --out.",
        )  # fmt: skip
    return False


def _left_over(name: str) -> bool:
    """What an interrupted run may leave behind."""
    return name.startswith(f".{CASEBOOK}.") and name.endswith(".part")
