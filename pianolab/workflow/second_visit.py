"""A second visit: what is different, and what that does to the ranking; and the demonstration's own second visit."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from pianolab.acoustics import Survey
from pianolab.assess import VisitChanges, compare_visits, load_prices
from pianolab.casebook import Casebook
from pianolab.checklist import Checklist, load_checklist
from pianolab.compare import RankingChange, compare_pianos, explain_change
from pianolab.errors import BadInput
from pianolab.model import BuyerProfile, Finding, Visit
from pianolab.shipped import shipped
from pianolab.workflow.judging import find_profile, judge_casebook
from pianolab.workflow.progress import quiet, stoppable


@dataclass(frozen=True, kw_only=True)
class SecondVisit:
    """The condition it belongs to, the sound that is heard, and what was looked at again."""

    condition: str
    sound: str
    day: date
    note: str
    found: dict[str, dict[str, Any]]

    def findings(self, *, visit_id: str, examiner: str) -> tuple[Finding, ...]:
        """The findings at the points that were looked at again."""
        return tuple(self._finding(point, visit_id=visit_id, examiner=examiner) for point in self.found)

    def _finding(self, point: str, *, visit_id: str, examiner: str) -> Finding:
        values: dict[str, Any] = {
            k: tuple(v) if isinstance(v, list) else v for k, v in self.found[point].items()
        }
        return Finding(id=f"{visit_id}-{point}", visit_id=visit_id, point=point, examiner=examiner, **values)


def load_second_visit() -> SecondVisit:
    """The second visit that comes with pianolab (``datasets/scenario/second_visit.toml``).

    Examples
    --------
    >>> load_second_visit().condition
    'masked treble'
    """
    raw = tomllib.loads(shipped("datasets/scenario/second_visit.toml").read_text(encoding="utf-8"))
    return SecondVisit(**raw)


def visit_changes(casebook: Casebook, piano: str, *, checklist: Checklist | None = None) -> VisitChanges:
    """What is different between the last visit to a piano and what was known before it.

    Parameters
    ----------
    casebook : an open casebook; it is only read
    piano : id or name
    checklist : the one that comes with pianolab if not given

    Raises
    ------
    BadInput
        no such piano, or only one visit to it
    """
    which = casebook.piano(piano)
    *earlier, last = _two_visits(casebook, which.id, which.name)
    return compare_visits(
        which,
        casebook.current_findings(which.id, until=earlier[-1].day),
        casebook.findings(last.id),
        checklist=checklist or load_checklist(),
        heard_before=_survey(casebook, earlier),
        heard_after=_survey(casebook, [last]),
        days=float((last.day - earlier[-1].day).days),
    )


@stoppable("Not compared to the end; the casebook is as it was.")
def ranking_changes(
    casebook: Casebook,
    *,
    profile: str | BuyerProfile = "first piano",
    since: date | None = None,
    seed: int = 0,
) -> RankingChange:
    """What the visits since a day did to the ranking of a casebook's shortlist, and why.

    Parameters
    ----------
    casebook : an open casebook; it is only read
    profile : a buyer, or the name of one
    since : the first day that counts as after; None takes the day of the latest second visit to a piano
    seed : int; the same for both comparisons

    Raises
    ------
    BadInput
        no piano was visited twice and no day given
    """
    buyer, checklist, prices = find_profile(casebook, profile), load_checklist(), load_prices()
    day = since or _latest_return(casebook)
    before, after = (
        judge_casebook(
            casebook,
            profile=buyer,
            checklist=checklist,
            prices=prices,
            seed=seed,
            until=until,
            progress=quiet,
        )
        for until in (day - timedelta(days=1), None)
    )
    return explain_change(
        compare_pianos(before.assessments, profile=buyer, seed=seed),
        compare_pianos(after.assessments, profile=buyer, seed=seed),
    )


def _two_visits(casebook: Casebook, piano_id: str, name: str) -> tuple[Visit, ...]:
    visits = casebook.visits(piano_id)
    if len({v.day for v in visits}) < 2:
        raise BadInput(
            f"visits to {name}",
            f"{len(visits)}",
            "two, on different days",
            "Nobody has been there again yet.",
        )
    return visits


def _latest_return(casebook: Casebook) -> date:
    visited = [casebook.visits(p.id) for p in casebook.pianos()]
    days = [visits[-1].day for visits in visited if len({v.day for v in visits}) > 1]
    if not days:
        raise BadInput("since", "no piano visited twice", "a day, or a second visit")
    return max(days)


def _survey(casebook: Casebook, visits: Iterable[Visit]) -> Survey | None:
    """The survey of the latest of these visits that has one."""
    days = {v.id: v.day for v in visits}
    mine = [(days[r.visit_id], n, r) for n, r in enumerate(casebook.surveys()) if r.visit_id in days]
    return Survey.from_json(max(mine)[2].survey_json) if mine else None
