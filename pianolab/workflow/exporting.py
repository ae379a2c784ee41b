"""The comparison page of a casebook, and the whole demonstration in one call."""

from __future__ import annotations

import shutil
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from pianolab.assess import load_prices
from pianolab.casebook import Casebook
from pianolab.checklist import load_checklist
from pianolab.compare import compare_pianos
from pianolab.errors import BadInput
from pianolab.model import BuyerProfile
from pianolab.report import check_folder, comparison_page, csv_tables, write_tables
from pianolab.workflow.comparing import CasebookComparison, compared_of
from pianolab.workflow.deciding import Decision, decision_of
from pianolab.workflow.demo_book import demo_casebook
from pianolab.workflow.judging import find_profile, judge_casebook
from pianolab.workflow.outputs import staged
from pianolab.workflow.page_content import further_of, photos_of, private_words
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
        worked_out = work_out(casebook, profile=profile, seed=seed, progress=tell)
        tell("writing the page", 0.9)
        if part is not None:
            part.write_text(page_of(worked_out, leave_out=leave_out), encoding="utf-8", newline="\n")
    tell("page ready", 1.0)
    return path


@dataclass(frozen=True, kw_only=True)
class WorkedOut:
    """A casebook judged once, with all that a page or tables of it are made from."""

    casebook: Casebook
    compared: CasebookComparison
    decision: Decision


def work_out(
    casebook: Casebook, *, profile: str | BuyerProfile = "first piano", seed: int = 0, progress: Progress | None = None
) -> WorkedOut:  # fmt: skip
    """Judge, compare and decide in one go, for `page_of` and `tables_of`.

    Raises
    ------
    BadInput
        an empty casebook, an unknown profile, weights that exclude each other
    """
    tell, checklist, prices = progress or quiet, load_checklist(), load_prices()
    buyer = find_profile(casebook, profile)
    buyer.check()
    judged = judge_casebook(
        casebook, profile=buyer, checklist=checklist, prices=prices, seed=seed, progress=tell
    )
    comparison = compare_pianos(judged.assessments, profile=buyer, seed=seed)
    return WorkedOut(
        casebook=casebook,
        compared=compared_of(casebook, judged, comparison, checklist=checklist, progress=tell),
        decision=decision_of(casebook, judged, comparison, checklist=checklist, prices=prices),
    )


def page_of(worked_out: WorkedOut, *, leave_out: Sequence[str] = ()) -> str:
    """The comparison page as HTML text, with photos from the casebook and what else follows from the decision."""
    casebook, compared = worked_out.casebook, worked_out.compared
    photos, photo_lines = photos_of(casebook, [a.piano for a in compared.comparison.assessments])
    visits = [v.day for v in casebook.visits()]
    days = {"Visits": _days(visits)} if visits else {}
    return comparison_page(
        compared.comparison,
        surveys=compared.surveys,
        findings=compared.findings,
        checklist=compared.checklist,
        clips=compared.clips,
        photos=photos,
        provenance={**compared.provenance, **days, **photo_lines},
        further=further_of(worked_out.decision),
        leave_out=leave_out,
        private=private_words(casebook),
    )


def tables_of(worked_out: WorkedOut, *, leave_out: Sequence[str] = ()) -> dict[str, str]:
    """The same content as CSV texts by file name."""
    compared = worked_out.compared
    return csv_tables(
        compared.comparison,
        surveys=compared.surveys,
        findings=compared.findings,
        checklist=compared.checklist,
        leave_out=leave_out,
        private=private_words(worked_out.casebook),
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
    check_folder(path)
    worked_out = work_out(casebook, profile=profile, seed=seed, progress=progress)
    return write_tables(path, tables_of(worked_out, leave_out=leave_out))


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
