"""The comparison page of a casebook, and the whole demonstration in one call."""

from __future__ import annotations

import shutil
from collections.abc import Sequence
from datetime import date
from pathlib import Path

from pianolab.casebook import Casebook
from pianolab.errors import BadInput
from pianolab.model import BuyerProfile
from pianolab.report import comparison_page, csv_tables, write_tables
from pianolab.workflow.comparing import CasebookComparison, compare_casebook
from pianolab.workflow.deciding import Decision, decide
from pianolab.workflow.demo_book import demo_casebook
from pianolab.workflow.outputs import staged
from pianolab.workflow.page_content import further_of, photos_of
from pianolab.workflow.progress import Progress, part_of, quiet

CASEBOOK, PAGE = "casebook", "comparison.html"


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
    html_path : where to write; the file appears when it is complete
    profile : a buyer, or the name of one
    leave_out : any of ``names``, ``addresses``, ``prices``, which then stand nowhere in the page

    Returns
    -------
    Path of the page

    Raises
    ------
    BadInput
        a place that can't be written, an unknown profile, an empty casebook
    """
    path, tell = Path(html_path), progress or quiet
    with staged(path) as (part,):
        compared = compare_casebook(casebook, profile=profile, seed=seed, progress=tell)
        tell("writing the page", 0.9)
        decision = decide(casebook, profile=profile, seed=seed, checklist=compared.checklist)
        if part is not None:
            html = page_of(compared, casebook=casebook, decision=decision, leave_out=leave_out)
            part.write_text(html, encoding="utf-8", newline="\n")
    tell("page ready", 1.0)
    return path


def page_of(
    compared: CasebookComparison, *, casebook: Casebook | None = None, decision: Decision | None = None, leave_out: Sequence[str] = ()
) -> str:  # fmt: skip
    """The comparison page as HTML text; photos come from the casebook, what else it shows from the decision."""
    pianos = [a.piano for a in compared.comparison.assessments]
    photos, photo_lines = photos_of(casebook, pianos) if casebook is not None else ({}, {})
    visits = [v.day for v in casebook.visits()] if casebook is not None else []
    days = {"Visits": _days(visits)} if visits else {}
    return comparison_page(
        compared.comparison,
        surveys=compared.surveys,
        findings=compared.findings,
        checklist=compared.checklist,
        clips=compared.clips,
        photos=photos,
        provenance={**compared.provenance, **days, **photo_lines},
        further=further_of(decision) if decision is not None else (),
        leave_out=leave_out,
    )


def _days(days: Sequence[date]) -> str:
    first, last = min(days).isoformat(), max(days).isoformat()
    return first if first == last else f"{first} to {last}"


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
    folder : made where it is missing; tables of the same names in it are replaced, each as a whole
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
    if path.exists() and not path.is_dir():
        raise BadInput(str(path), "a file", "a folder, or a name for a new one")
    compared = compare_casebook(casebook, profile=profile, seed=seed, progress=progress)
    tables = csv_tables(
        compared.comparison,
        surveys=compared.surveys,
        findings=compared.findings,
        checklist=compared.checklist,
        leave_out=leave_out,
    )
    return write_tables(path, tables)


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
