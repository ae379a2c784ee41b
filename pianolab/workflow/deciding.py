"""The one road from a casebook to a decision: everything that page, tables, charts and notebooks show."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

from pianolab.assess.by_recording import COMPARED
from pianolab.casebook import Casebook
from pianolab.casebook.book import check_open
from pianolab.checklist import load_touch_scales
from pianolab.compare import Comparison, compare_pianos
from pianolab.errors import BadInput
from pianolab.model import Comparable, Room
from pianolab.recordings import Holding
from pianolab.rooms import RoomChange, compare_rooms, room_of_visit
from pianolab.show import Showable
from pianolab.touch import TouchView, touch_view
from pianolab.upkeep import CarePlan, Life, MoneyOverYears, care_plan, money_over_years, remaining_life
from pianolab.workflow.currencies import Reckoning, without_money, years_unknown
from pianolab.workflow.decided import Decided
from pianolab.workflow.decision_tables import table_of
from pianolab.workflow.judging import Judged, judge_casebook, provenance_of
from pianolab.workflow.page_making import Written, write_out
from pianolab.workflow.progress import Progress, quiet, stoppable
from pianolab.workflow.settings import Settings


class Decision(Decided):
    """One shortlist decided for one buyer, with all it stands on: what `Decided` holds, as tables and written out."""

    def table(self, kind: str, piano: str = "") -> Showable:
        """A part of it as a table; see `pianolab.workflow.decision_tables.table_of` for the kinds.

        Parameters
        ----------
        kind : which part
        piano : name or id, where the part is about one piano
        """
        return table_of(self, kind, piano=piano)

    def export(
        self, html: str | Path | None = None, *, settings: Settings | None = None, **more: Any
    ) -> Written:
        """Write the page, the tables or both; see `pianolab.export`.

        Parameters
        ----------
        html : where the page goes; None writes no page
        settings : None; this one is decided already
        **more : as in `pianolab.export`: ``tables``, ``leave_out``, ``replace``, ``progress``

        Raises
        ------
        BadInput
            what `pianolab.export` refuses
        """
        if settings is not None:
            raise BadInput("settings", "those of another decision", "none", "This one is decided already.")
        return write_out(self.casebook, lambda: self, html, **more)


@stoppable("Not decided to the end; the casebook is as it was.")
def decide(
    casebook: Casebook, settings: Settings | None = None, *, progress: Progress | None = None, **changes: Any
) -> Decision:
    """Decide about all pianos of a casebook for one buyer.

    Of each piano the latest findings count and the recording of the latest visit; a recording that has no
    survey yet is listened to. A piano without a recording, or with one that can't be used, is judged by
    its findings alone, and its sound stays unknown. Where money can't be reckoned in one currency, the pianos are
    compared without it, and the decision says so.

    Parameters
    ----------
    casebook : an open casebook; it is only read
    settings : for whom, with which points and prices; what the casebook remembers if not given
    progress : called with what is being done and a share from 0 to 1
    changes : fields of `Settings` that shall be otherwise, such as ``profile="patient restorer"``

    Returns
    -------
    Decision

    Raises
    ------
    BadInput
        an empty casebook, an unknown buyer, weights that exclude each other, findings of another checklist, a job
        without a price

    Examples
    --------
    >>> import tempfile
    >>> from pianolab.casebook import create_casebook
    >>> from pianolab.model import Piano
    >>> with tempfile.TemporaryDirectory() as folder, create_casebook(folder) as casebook:
    ...     with casebook.editing(by="Ana") as edit:
    ...         piano = edit.add(Piano(name="by the window"))
    ...     decide(casebook, profile="patient restorer").comparison.verdict.kind
    'find out first'
    """
    check_open(casebook, name="decide")
    wanted = settings if settings is not None else Settings.of(casebook)
    wanted = replace(wanted, **changes) if changes else wanted
    judged = judge_casebook(casebook, wanted, progress=progress or quiet)
    reckoning = judged.reckoning
    comparison = compare_pianos(
        judged.assessments,
        profile=reckoning.buyer,
        comparables=_comparables(casebook, wanted, reckoning),
        prices=reckoning.prices,
        on=max((v.day for v in judged.visits), default=None),
        seed=wanted.seed,
    )
    if reckoning.why_none:
        buyer = wanted.buyer(casebook)
        comparison = without_money(comparison, judged.pianos, buyer=buyer, why=reckoning.why_none)
    notes, lives = _notes(judged, wanted), _lives(judged, wanted)
    return Decision(
        settings=wanted,
        comparison=comparison,
        surveys={i: h.survey for i, h in judged.heard.items()},
        findings=judged.findings,
        rooms=_rooms(judged, reckoning.buyer.home_room),
        touch=_touch(casebook, judged, wanted),
        lives=lives,
        years=_years(judged, comparison, lives, wanted),
        care=_care(judged, wanted),
        holding=judged.holding,
        pedals=judged.pedals,
        provenance=provenance_of(judged, wanted, notes),
        notes=notes,
        no_money=reckoning.why_none,
        casebook=casebook,
        heard=judged.heard,
    )


def _comparables(casebook: Casebook, settings: Settings, reckoning: Reckoning) -> tuple[Comparable, ...]:
    """Prices of like instruments known by then; none where money can't be reckoned."""
    if reckoning.why_none:
        return ()
    until = settings.until
    known = casebook.comparables()
    return tuple(c for c in known if until is None or c.seen_on is None or c.seen_on <= until)


def _notes(judged: Judged, settings: Settings) -> tuple[str, ...]:
    """What whoever reads a result should know of the prices behind it."""
    if judged.reckoning.why_none:
        return judged.reckoning.notes
    jobs = ["tuning", *(job.job for a in judged.assessments for job in a.repairs.jobs)]
    prices = settings.price_list
    said = (prices.stand_ins(jobs), prices.gaps(), prices.aged(_day_of(judged, settings)))
    return (*judged.reckoning.notes, *prices.notes, *(note for note in said if note))


def _day_of(judged: Judged, settings: Settings) -> date:
    """The day from which prices are looked back at: that of the latest visit, or the year that was asked for."""
    latest = max((v.day for v in judged.visits), default=date.today())
    return latest if settings.year is None else max(latest, date(settings.year, 1, 1))


def _rooms(judged: Judged, home: Room) -> dict[str, RoomChange]:
    """For each piano the room of its latest visit, as described and as the walk found it, against the buyer's own."""
    changes = {}
    for piano in judged.pianos:
        described = [v.room for v in judged.visits if v.piano_id == piano.id and v.room != Room()]
        survey = judged.survey(piano.id)
        changes[piano.id] = compare_rooms(
            room_of_visit(described[-1] if described else Room(), judged.findings[piano.id]),
            home,
            kind=piano.kind,
            heard_t60_s=survey.summary.t60_s if survey is not None else None,
        )
    return changes


def _touch(casebook: Casebook, judged: Judged, settings: Settings) -> TouchView:
    there, until = {v.id for v in judged.visits}, settings.until
    return touch_view(
        [o for o in casebook.touch_opinions() if o.visit_id in there],
        [t for t in casebook.touch_trials() if until is None or t.day is None or t.day <= until],
        scales=load_touch_scales(),
        pianos=judged.pianos,
        visits=judged.visits,
        player=settings.player,
        wish=judged.reckoning.buyer.touch_taste or None,
        seed=settings.seed,
    )


def _lives(judged: Judged, settings: Settings) -> dict[str, Life]:
    year = settings.year or max((v.day.year for v in judged.visits), default=date.today().year)
    buyer = judged.reckoning.buyer
    return {
        p.id: remaining_life(p, judged.findings[p.id], profile=buyer, year=year, checklist=settings.points)
        for p in judged.pianos
    }


def _years(
    judged: Judged, comparison: Comparison, lives: Mapping[str, Life], settings: Settings
) -> dict[str, MoneyOverYears]:
    reckoning = judged.reckoning
    if reckoning.why_none:
        return {p.id: years_unknown(p, reckoning.buyer, reckoning.why_none) for p in judged.pianos}
    return {
        a.piano.id: money_over_years(
            a.piano,
            a.repairs,
            profile=reckoning.buyer,
            prices=reckoning.prices,
            life=lives[a.piano.id],
            plans=settings.money_plans,
            seed=settings.seed,
        )
        for a in comparison.assessments
    }


def _care(judged: Judged, settings: Settings) -> dict[str, CarePlan]:
    return {
        p.id: care_plan(
            p,
            judged.findings[p.id],
            survey=judged.survey(p.id),
            profile=judged.reckoning.buyer,
            holds=holds_of(judged.holding.get(p.id)),
            checklist=settings.points,
        )
        for p in judged.pianos
    }


def holds_of(holding: Holding | None) -> bool | None:
    """Whether two recordings show that a piano holds its tuning; None where they can't tell.

    Examples
    --------
    >>> holds_of(None) is None
    True
    """
    if holding is None or holding.state != COMPARED:
        return None
    return not holding.listed
