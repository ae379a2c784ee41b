"""The page and the tables made from a decision."""

from __future__ import annotations

from collections.abc import Sequence

from pianolab.report import comparison_page, csv_tables
from pianolab.workflow.deciding import Decision
from pianolab.workflow.page_content import further_of, photos_of, private_words


def page_of(decision: Decision, *, leave_out: Sequence[str] = ()) -> str:
    """The comparison page as HTML text, with photos from the casebook and what else follows from the decision."""
    photos, photo_lines = photos_of(decision.casebook, decision.pianos)
    return comparison_page(
        decision.comparison,
        surveys=decision.surveys,
        findings=decision.findings,
        checklist=decision.checklist,
        clips=decision.clips,
        claims=decision.claims,
        photos=photos,
        provenance={**decision.provenance, **photo_lines},
        further=further_of(decision),
        leave_out=left_out(decision, leave_out),
        private=private_words(decision.casebook),
    )


def tables_of(decision: Decision, *, leave_out: Sequence[str] = ()) -> dict[str, str]:
    """The same content as CSV texts by file name."""
    return csv_tables(
        decision.comparison,
        surveys=decision.surveys,
        findings=decision.findings,
        checklist=decision.checklist,
        leave_out=left_out(decision, leave_out),
        private=private_words(decision.casebook),
    )


def left_out(decision: Decision, wanted: Sequence[str]) -> tuple[str, ...]:
    """What stays out: what somebody wants left out, and all money where none could be reckoned."""
    return tuple(dict.fromkeys([*wanted, *(["prices"] if decision.no_money else [])]))
