"""The one road from a casebook to a decision: everything that page, tables, charts and notebooks show."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pianolab.acoustics import Survey
from pianolab.assess import Assessment
from pianolab.assess.by_recording import COMPARED
from pianolab.casebook import Casebook
from pianolab.casebook.book import check_open
from pianolab.checklist import Checklist, load_touch_scales
from pianolab.compare import Comparison, NextVisit, Standing, compare_pianos
from pianolab.html import paragraphs
from pianolab.model import Comparable, Finding, Piano, Room
from pianolab.recordings import Holding, LeftPedal
from pianolab.report import Clip
from pianolab.report.photos_and_clips import ClaimClips
from pianolab.rooms import RoomChange, compare_rooms, room_of_visit
from pianolab.show import Row, Showable
from pianolab.touch import TouchView, touch_view
from pianolab.upkeep import CarePlan, Life, MoneyOverYears, care_plan, money_over_years, remaining_life
from pianolab.words import as_sentence, say
from pianolab.workflow.clips import clips_of
from pianolab.workflow.currencies import Reckoning, without_money, years_unknown
from pianolab.workflow.fault_clips import claims_of
from pianolab.workflow.hearing import Heard
from pianolab.workflow.judging import Judged, judge_casebook, provenance_of
from pianolab.workflow.progress import Progress, quiet, stoppable
from pianolab.workflow.settings import Settings

if TYPE_CHECKING:
    from pianolab.workflow.exporting import Written


@dataclass(frozen=True, kw_only=True, repr=False, eq=False)
class Decision(Showable):
    """One shortlist decided for one buyer, with all it stands on; everything by piano id where not of all.

    ``comparison`` holds the judged pianos, standings with offers, next steps and the verdict; ``surveys`` and
    ``findings`` what was heard and found. ``rooms`` says what the buyer's room alone changes, ``touch`` what players
    said, ``lives`` how long parts may last, ``years`` what each costs over the years of use, ``care`` the first year with each
    piano; ``holding`` what became of the tuning and ``pedals`` what the left pedal does, of those that were recorded
    so. ``no_money`` says why money could not be reckoned (empty where it was), ``notes`` what else should be known,
    ``provenance`` where everything comes from.
    """

    settings: Settings
    comparison: Comparison
    surveys: Mapping[str, Survey]
    findings: Mapping[str, tuple[Finding, ...]]
    rooms: Mapping[str, RoomChange]
    touch: TouchView
    lives: Mapping[str, Life]
    years: Mapping[str, MoneyOverYears]
    care: Mapping[str, CarePlan]
    holding: Mapping[str, Holding]
    pedals: Mapping[str, LeftPedal]
    provenance: Mapping[str, str]
    notes: tuple[str, ...] = ()
    no_money: str = ""
    casebook: Casebook = field(repr=False)
    heard: Mapping[str, Heard] = field(repr=False)
    header = Comparison.header

    @property
    def checklist(self) -> Checklist:
        """The points that were judged by."""
        return self.settings.points

    @property
    def pianos(self) -> tuple[Piano, ...]:
        """The shortlist as the casebook has it."""
        return tuple(a.piano for a in self.comparison.assessments)

    @cached_property
    def clips(self) -> dict[str, tuple[Clip, ...]]:
        """The same few keys of every piano, equally loud; cut when first asked for, from the casebook's sounds."""
        return clips_of(self.casebook, self.heard)

    @cached_property
    def claims(self) -> dict[str, tuple[ClaimClips, ...]]:
        """The worst claimed faults of every piano beside a sound key of the same recording, to be heard."""
        return claims_of(self.casebook, self.heard)

    def piano(self, name_or_id: str = "") -> Piano:
        """A piano by name or id; the one that the verdict is about, or else the one ahead, where none is named.

        Raises
        ------
        BadInput
            no such piano
        """
        ahead = self.comparison.verdict.piano_id or self.comparison.standings[0].piano_id
        wanted = self.casebook.piano(name_or_id or ahead)
        return next(p for p in self.pianos if p.id == wanted.id)

    def assessment(self, piano: str = "") -> Assessment:
        """One piano judged: its aspects, alerts and repairs; of the piano ahead where none is named."""
        return self.comparison.assessment(self.piano(piano).id)

    def standing(self, piano: str = "") -> Standing:
        """Where one piano stands, what it costs in the end and what to offer at most."""
        return self.comparison.standing(self.piano(piano).id)

    def to_find_out(self, piano: str = "", *, most: int | None = None) -> NextVisit:
        """What is worth finding out next, of one piano or of all where none is named."""
        return self.comparison.to_find_out(self.piano(piano).id if piano else None, most=most)

    def plan(self, piano: str = "") -> NextVisit:
        """The steps that are worth their cost, in the best order, and when to stop looking."""
        return self.comparison.plan(self.piano(piano).id if piano else None)

    def table(self, kind: str, piano: str = "") -> Showable:
        """A part of it as a table; see `pianolab.workflow.decision_tables.table_of` for the kinds.

        Parameters
        ----------
        kind : which part
        piano : name or id, where the part is about one piano
        """
        from pianolab.workflow.decision_tables import table_of

        return table_of(self, kind, piano=piano)

    def export(self, html: str | Path | None = None, **more: Any) -> Written:
        """Write the page, the tables or both; see `pianolab.export`.

        Parameters
        ----------
        html : where the page goes; None writes no page
        **more : as in `pianolab.export`: ``tables``, ``leave_out``, ``replace``, ``progress``
        """
        from pianolab.workflow.exporting import export

        return export(self, html, **more)

    def headline(self) -> str:
        return self.comparison.headline()

    def rows(self) -> list[Row]:
        return self.comparison.rows()

    def shown(self) -> list[Row]:
        return self.comparison.shown()

    def _repr_html_(self) -> str:
        hangs = (as_sentence(say(h)) for h in self.comparison.hangs_on)
        said = (*self.comparison.verdict.sentences, *hangs, *self.notes)
        return super()._repr_html_() + paragraphs(said)


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
