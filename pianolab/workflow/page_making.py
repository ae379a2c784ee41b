"""A casebook judged once, and the page and the tables made from that."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from pianolab.assess import load_prices
from pianolab.casebook import Casebook
from pianolab.checklist import load_checklist
from pianolab.compare import compare_pianos
from pianolab.model import BuyerProfile
from pianolab.report import comparison_page, csv_tables
from pianolab.workflow.comparing import CasebookComparison, compared_of
from pianolab.workflow.deciding import Decision, decision_of
from pianolab.workflow.judging import find_profile, judge_casebook
from pianolab.workflow.page_content import further_of, photos_of, private_words
from pianolab.workflow.progress import Progress, quiet


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
