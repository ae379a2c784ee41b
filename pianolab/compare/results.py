"""What comparing a shortlist gives: standings, the next steps, a verdict in words."""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import Decimal
from typing import Literal

from pianolab.assess.results import Assessment
from pianolab.compare.weights import middle_weights
from pianolab.model import ASPECTS, BuyerProfile, Comparable
from pianolab.show import LOCALE, Row, Showable, about, money
from pianolab.statements import Statement, statement
from pianolab.words import Told, say

LOOK, FINISH = "step.look again", "step.finish the walk"
SAYS_NO_EFFORT = (FINISH, "step.confirm")
"""Steps whose own words don't tell what they take; having it confirmed tells where a technician does it."""
BESIDE_THE_WALK = ("listening", "players")
"""Sources of unknowns that no point of the checklist settles."""
VerdictKind = Literal["buy", "buy if", "find out first", "walk away"]
"""From best to worst; ``buy if``: one thing that can be named and settled stands between."""

LEAST_LEAN = 0.001
"""A weight that differs by less from the middle of its range says nothing: the simulation's error."""


@dataclass(frozen=True, kw_only=True)
class Standing(Told):
    """Where one piano stands: its share of each rank over the simulated weights and unknowns.

    ``rank_shares[r]`` is the share of draws in which it comes out at rank r + 1. ``total_*`` is asking
    price, repairs, moving and first tunings (10, 50, 90 %), None where the asking price is unknown.
    ``score_*`` is the weighted mean of the six aspects (low, middle and high ends) without money;
    ``weighted_sum`` is the plain weighted sum of the middles, money in it, None where the price is unknown.
    ``central_weights`` are the mean weights of the draws in which this piano comes first (empty if none);
    ``confidence`` is its share of rank 1 if exactly those weights hold. ``barred_by`` says why it can't be
    bought as things stand (None where it can); such a piano ranks behind all that can. ``cost_per_year`` is
    the 50 % total over the years of use, without the tunings of later years.
    """

    piano_id: str
    name: str
    rank_shares: tuple[float, ...]
    score_low: float
    score_middle: float
    score_high: float
    total_p10: Decimal | None
    total_p50: Decimal | None
    total_p90: Decimal | None
    highest_offer: Decimal | None
    offer_why: Statement
    vetoed: bool
    dominated_by: tuple[str, ...] = ()
    weighted_sum: float | None = None
    central_weights: dict[str, float] = field(default_factory=dict)
    confidence: float | None = None
    cost_per_year: Decimal | None = None
    barred_by: Statement | None = None

    @property
    def obstacle(self) -> str:
        return say(self.barred_by)

    @property
    def offer_reason(self) -> str:
        return say(self.offer_why)


@dataclass(frozen=True, kw_only=True)
class NextStep(Told):
    """Something worth finding out: where, what, how, and the chance that it changes the first choice.

    ``action`` is what to do and ``what`` that tells, None where the action says it all; ``because`` is why it is
    not known. ``worth`` is what knowing it is worth on average, in the buyer's money; an estimate.
    """

    piano_id: str
    piano_name: str
    action: Statement
    what: Statement | None = None
    effort: str
    minutes: float | None
    chance_to_change: float
    because: Statement
    source: str
    worth: Decimal | None = None

    @property
    def says(self) -> Statement:
        """The step as a whole."""
        if self.what is None:
            return statement("step.do", action=self.action)
        return statement("step.to learn", action=self.action, what=self.what)

    @property
    def text(self) -> str:
        return say(self.says)

    @property
    def why(self) -> str:
        return say(self.because)

    @property
    def takes(self) -> str:
        """What it takes, in words; the effort is left out where the step itself says it.

        Examples
        --------
        >>> said = {"piano_id": "a", "piano_name": "A", "chance_to_change": 0.1, "because": statement("unknown.no price")}
        >>> NextStep(**said, action=statement(FINISH), effort="look again", minutes=5.0, source="pins").takes
        'look again, about 5 min'
        >>> NextStep(**said, action=statement("step.technician"), effort="technician", minutes=None, source="pins").takes
        ''
        """
        unsaid = self.action.kind in SAYS_NO_EFFORT and self.effort != "technician"
        parts = [
            self.effort if unsaid else "",
            "" if self.minutes is None else f"about {self.minutes:.0f} min",
        ]
        return ", ".join(p for p in parts if p)


@dataclass(frozen=True, kw_only=True, repr=False)
class NextVisit(Showable):
    """What is worth finding out, in order: the chance that it changes the first choice, the money it saves on
    average, the effort.
    """

    steps: tuple[NextStep, ...]
    currency: str
    locale: str = LOCALE
    header = (
        "piano",
        "what",
        "could change the choice",
        "saves on average",
        "effort",
        "minutes",
        "why unknown",
    )

    def headline(self) -> str:
        if not self.steps:
            return "nothing left to find out"
        first = self.steps[0]
        return f"first of all: {first.piano_name}, {first.text}"

    def rows(self) -> list[Row]:
        return [
            (
                s.piano_name,
                s.text,
                f"{s.chance_to_change:.0%}",
                None if s.worth is None else about(s.worth, self.currency, locale=self.locale),
                s.effort,
                s.minutes,
                s.why,
            )
            for s in self.steps
        ]


@dataclass(frozen=True, kw_only=True)
class Verdict(Told):
    """The answer: what to do in one statement, and what it rests on; ``how_sure`` is the first choice's share of rank 1."""

    kind: VerdictKind
    piano_id: str | None
    answer: Statement
    reasons: tuple[Statement, ...]
    how_sure: float

    @property
    def headline(self) -> str:
        return say(self.answer)

    @property
    def sentences(self) -> tuple[str, ...]:
        return tuple(say(reason) for reason in self.reasons)

    def same_answer(self, other: Verdict) -> bool:
        """Whether both say to do the same, with the same piano."""
        return (self.kind, self.piano_id) == (other.kind, other.piano_id)


@dataclass(frozen=True, kw_only=True, repr=False)
class Comparison(Showable):
    """A shortlist compared for one buyer."""

    profile: BuyerProfile
    assessments: tuple[Assessment, ...]
    standings: tuple[Standing, ...]
    next_steps: tuple[NextStep, ...]
    verdict: Verdict
    seed: int
    draws: int
    comparables: tuple[Comparable, ...] = ()
    header = (
        "piano",
        "first choice in",
        "score from",
        "score to",
        "total from",
        "total to",
        "highest offer",
        "stop",
    )

    def standing(self, piano_id: str) -> Standing:
        return next(s for s in self.standings if s.piano_id == piano_id)

    def assessment(self, piano_id: str) -> Assessment:
        return next(a for a in self.assessments if a.piano.id == piano_id)

    def to_find_out(self, piano_id: str | None = None, *, most: int | None = None) -> NextVisit:
        """The list for the next visit, in order: of one piano or of all, the first ``most`` of them.

        Once finishing the walk at a piano is on the list, its single points behind that are left out.
        """
        mine = [s for s in self.next_steps if piano_id in (None, s.piano_id)]
        walks = {s.piano_id for s in mine if s.action.kind == FINISH}
        kept = [
            s for s in mine
            if s.piano_id not in walks or s.action.kind != LOOK or s.source in BESIDE_THE_WALK
        ]  # fmt: skip
        return NextVisit(steps=tuple(kept[:most]), currency=self.profile.currency, locale=self.profile.locale)

    def leans(self, piano_id: str) -> tuple[str, ...]:
        """What a buyer for whom this piano comes first cares for more than the middle of the ranges, most first."""
        central = self.standing(piano_id).central_weights
        middle = dict(zip([*ASPECTS, "money"], middle_weights(self.profile), strict=True))
        more = {name: central[name] - middle[name] for name in central}
        return tuple(n for n in sorted(more, key=lambda n: (-more[n], n)) if more[n] > LEAST_LEAN)

    def headline(self) -> str:
        return self.verdict.headline

    def rows(self) -> list[Row]:
        return [
            (
                s.name,
                f"{s.rank_shares[0]:.0%}",
                s.score_low,
                s.score_high,
                s.total_p10,
                s.total_p90,
                s.highest_offer,
                s.vetoed,
            )
            for s in self.standings
        ]

    def shown(self) -> list[Row]:
        code = self.profile.currency
        return [
            (name, first, f"{low:.1f}", f"{high:.1f}", about(total_low, code), about(total_high, code),
             "no offer" if offer is None else money(offer, code), stop)
            for name, first, low, high, total_low, total_high, offer, stop in self.rows()
        ]  # fmt: skip
