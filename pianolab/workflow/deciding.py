"""Everything a decision stands on, from a casebook: ranking, rooms, touch, years to come, what to find out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from html import escape

from pianolab.acoustics import Survey
from pianolab.acoustics.holding import Holding
from pianolab.acoustics.pedal import LeftPedal
from pianolab.assess import PriceList, load_prices
from pianolab.assess.care import CarePlan, care_plan
from pianolab.assess.life import Life, remaining_life
from pianolab.assess.listening import COMPARED
from pianolab.assess.touch import TouchView, touch_view
from pianolab.assess.yearly import YearlyCost, cost_per_year
from pianolab.casebook import Casebook
from pianolab.checklist import Checklist, load_checklist, load_touch_scales
from pianolab.compare import Comparison, compare_pianos
from pianolab.model import BuyerProfile, Room
from pianolab.rooms import RoomChange, compare_rooms
from pianolab.show import Row, Showable
from pianolab.workflow.judging import Judged, find_profile, judge_casebook
from pianolab.workflow.progress import Progress, quiet, stoppable


@dataclass(frozen=True, kw_only=True, repr=False, eq=False)
class Decision(Showable):
    """One shortlist decided for one buyer, with all it stands on; everything by piano id where not of all.

    ``rooms`` says what the buyer's room alone changes, ``touch`` what players said, ``lives`` how long parts may
    last, ``yearly`` what a year of use costs, ``care`` the first year with each piano; ``holding`` what became of the
    tuning and ``pedals`` what the left pedal does, of those that were recorded so.
    """

    comparison: Comparison
    rooms: Mapping[str, RoomChange]
    touch: TouchView
    lives: Mapping[str, Life]
    yearly: Mapping[str, YearlyCost]
    care: Mapping[str, CarePlan]
    holding: Mapping[str, Holding]
    pedals: Mapping[str, LeftPedal]
    header = Comparison.header

    def headline(self) -> str:
        return self.comparison.headline()

    def rows(self) -> list[Row]:
        return self.comparison.rows()

    def shown(self) -> list[Row]:
        return self.comparison.shown()

    def _repr_html_(self) -> str:
        sentences = "".join(f"<p>{escape(s)}</p>" for s in self.comparison.verdict.sentences)
        return super()._repr_html_() + sentences


@stoppable("Not decided to the end; the casebook is as it was.")
def decide(
    casebook: Casebook,
    *,
    profile: str | BuyerProfile = "first piano",
    player: str = "",
    year: int | None = None,
    checklist: Checklist | None = None,
    prices: PriceList | None = None,
    seed: int = 0,
    progress: Progress | None = None,
) -> Decision:
    """Decide about all pianos of a casebook for one buyer.

    Parameters
    ----------
    casebook : an open casebook; it is only read
    profile : a buyer, or the name of one
    player : for whom the touch should suit; empty: nobody in particular
    year : the present year, for the age of parts; None takes the year of the latest visit
    checklist, prices : those that come with pianolab if not given
    seed : int; the same seed gives the same result
    progress : called with what is being done and a share from 0 to 1

    Returns
    -------
    Decision

    Raises
    ------
    BadInput
        an empty casebook, an unknown profile, weights that exclude each other, prices in another currency
    """
    checklist, prices = checklist or load_checklist(), prices or load_prices()
    buyer = find_profile(casebook, profile)
    buyer.check()
    judged = judge_casebook(
        casebook, profile=buyer, checklist=checklist, prices=prices, seed=seed, progress=progress or quiet
    )
    comparison = compare_pianos(judged.assessments, profile=buyer, seed=seed)
    return decision_of(
        casebook, judged, comparison, checklist=checklist, prices=prices, player=player, year=year
    )


def decision_of(
    casebook: Casebook, judged: Judged, comparison: Comparison, *, checklist: Checklist, prices: PriceList,
    player: str = "", year: int | None = None,
) -> Decision:  # fmt: skip
    """What a comparison of judged pianos means for the buyer's room, hands, purse and first year."""
    buyer, seed = comparison.profile, comparison.seed
    year = year or max((v.day.year for v in casebook.visits()), default=date.today().year)
    return Decision(
        comparison=comparison,
        rooms=_rooms(casebook, judged, buyer.home_room),
        touch=touch_view(
            casebook.touch_opinions(), casebook.touch_trials(), scales=load_touch_scales(),
            pianos=judged.pianos, visits=casebook.visits(), player=player, wish=buyer.touch_taste or None, seed=seed,
        ),
        lives={
            p.id: remaining_life(p, judged.findings[p.id], profile=buyer, year=year, checklist=checklist)
            for p in judged.pianos
        },
        yearly={
            a.piano.id: cost_per_year(a.piano, a.repairs, profile=buyer, prices=prices, seed=seed)
            for a in judged.assessments
        },
        care={
            p.id: care_plan(
                p, judged.findings[p.id], survey=_survey(judged, p.id), profile=buyer,
                holds=holds_of(judged.holding.get(p.id)), checklist=checklist,
            )
            for p in judged.pianos
        },
        holding=dict(judged.holding),
        pedals=dict(judged.pedals),
    )  # fmt: skip


def _survey(judged: Judged, piano_id: str) -> Survey | None:
    heard = judged.heard.get(piano_id)
    return None if heard is None else heard.survey


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


def _rooms(casebook: Casebook, judged: Judged, home: Room) -> dict[str, RoomChange]:
    """For each piano the room of its latest visit that is described, against the buyer's own."""
    changes = {}
    for piano in judged.pianos:
        described = [v.room for v in casebook.visits(piano.id) if v.room != Room()]
        heard = judged.heard.get(piano.id)
        changes[piano.id] = compare_rooms(
            described[-1] if described else Room(),
            home,
            kind=piano.kind,
            heard_t60_s=heard.survey.summary.t60_s if heard is not None else None,
        )
    return changes
