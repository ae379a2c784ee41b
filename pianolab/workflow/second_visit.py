"""A second visit: what is different, and what that does to the ranking; and the demonstration's own second visit."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from pianolab.assess import VisitChanges, compare_visits
from pianolab.casebook import Casebook
from pianolab.compare import RankingChange, explain_change
from pianolab.errors import BadInput
from pianolab.model import Finding, Piano, Visit
from pianolab.shipped import shipped
from pianolab.workflow.deciding import decide
from pianolab.workflow.hearing import Heard, all_heard
from pianolab.workflow.progress import quiet, stoppable
from pianolab.workflow.settings import Settings


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


def visit_changes(casebook: Casebook, piano: str, settings: Settings | None = None) -> VisitChanges:
    """What is different between the last visit to a piano and what was known before it.

    Parameters
    ----------
    casebook : an open casebook; it is only read
    piano : id or name
    settings : with which points; what the casebook remembers if not given

    Raises
    ------
    BadInput
        no such piano, or only one visit to it
    """
    which = casebook.piano(piano)
    *earlier, last = _two_visits(casebook, which.id, which.name)
    before = earlier[-1].day
    then, now = heard_then_and_now(casebook, which)
    return compare_visits(
        which,
        casebook.current_findings(which.id, until=before),
        casebook.findings(last.id),
        checklist=(settings or Settings.of(casebook)).points,
        heard_before=None if then is None else then.survey,
        heard_after=None if now is None else now.survey,
        days=float((last.day - before).days),
    )


@stoppable("Not compared to the end; the casebook is as it was.")
def ranking_changes(
    casebook: Casebook, settings: Settings | None = None, *, since: date | None = None, **changes: Any
) -> RankingChange:
    """What the visits since a day did to the ranking of a casebook's shortlist, and why: two decisions side by side.

    Parameters
    ----------
    casebook : an open casebook; it is only read
    settings, changes : as in `decide`; the same for both
    since : the first day that counts as after; None takes the day of the latest second visit to a piano

    Raises
    ------
    BadInput
        no piano was visited twice and no day given, and what `decide` refuses
    """
    day = since or _latest_return(casebook)
    after = decide(casebook, settings, **changes)
    before = decide(casebook, after.settings, until=day - timedelta(days=1))
    return explain_change(before.comparison, after.comparison)


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


def heard_then_and_now(casebook: Casebook, piano: Piano) -> tuple[Heard | None, Heard | None]:
    """What was recorded of a piano before its last visit, and at it; None where nothing was.

    Raises
    ------
    BadInput
        only one visit to it
    """
    *earlier, last = _two_visits(casebook, piano.id, piano.name)
    then = _heard(casebook, piano, until=earlier[-1].day)
    now = _heard(casebook, piano)
    return then, None if now is None or now.day < last.day.isoformat() else now


def _heard(casebook: Casebook, piano: Piano, *, until: date | None = None) -> Heard | None:
    return all_heard(casebook, (piano,), {}, until=until, progress=quiet).get(piano.id)
