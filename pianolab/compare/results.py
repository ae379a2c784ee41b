"""What comparing a shortlist gives: standings, the next steps, a verdict in words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Literal

from pianolab.assess.results import Assessment
from pianolab.compare.costs import Payer
from pianolab.compare.price import PriceAdvice
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

STOP_NOW = statement("step.stop now")
LEAST_LEAN = 0.001
"""A weight that differs by less from the middle of its range says nothing: the simulation's error."""


@dataclass(frozen=True, kw_only=True)
class Standing(Told):
    """Where one piano stands: its share of each rank over the simulated weights and unknowns.

    ``rank_shares[r]`` is the share of draws in which it is fit to be bought and comes out at rank r + 1 of those that
    are; ``unfit`` is the share in which it is not. ``total_*`` is the money that has to be spent: asking price, the
    repairs that are needed, moving and first tunings (10, 50, 90 %), None where the asking price is unknown.
    ``score_*`` is the weighted mean of the six aspects (low, middle and high ends) without money;
    ``weighted_sum`` is the plain weighted sum of the middles, money in it, None where the price is unknown.
    ``central_weights`` are the mean weights of the draws in which this piano comes first (empty if none);
    ``confidence`` is its share of rank 1 if exactly those weights hold. ``obstacles`` says why it can't be
    bought as things stand, worst first (empty where it can), and ``barred_by`` is the worst of them. ``cost_per_year`` is
    the 50 % total over the years of use, without the tunings of later years; ``price`` is what to offer, and why.
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
    vetoed: bool
    price: PriceAdvice
    dominated_by: tuple[str, ...] = ()
    weighted_sum: float | None = None
    central_weights: dict[str, float] = field(default_factory=dict)
    confidence: float | None = None
    cost_per_year: Decimal | None = None
    barred_by: Statement | None = None
    obstacles: tuple[Statement, ...] = ()

    @property
    def unfit(self) -> float:
        """Share of the draws in which it is not fit to be bought."""
        return max(0.0, 1.0 - sum(self.rank_shares))

    @property
    def obstacle(self) -> str:
        return say(self.barred_by)


@dataclass(frozen=True, kw_only=True)
class NextStep(Told):
    """Something to find out: where, what, how, the chance that it changes what to do, its worth and its cost.

    ``action`` is what to do and ``what`` that tells, None where the action says it all; ``because`` is why it is
    not known. ``worth`` is what knowing it is worth on average, in the buyer's money; an estimate. ``fee`` is what
    has to be paid for it, by the ``payer`` (you, the seller if asked, nobody), ``cost`` that with one's own time;
    None where no price list tells. ``then`` says what each answer would make one do.
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
    payer: Payer = "nobody"
    fee: Decimal | None = None
    cost: Decimal | None = None
    then: tuple[Statement, ...] = ()

    @property
    def net(self) -> Decimal | None:
        """What it is worth beyond what it costs; its worth alone where the cost is not known, None without money."""
        return None if self.worth is None else self.worth - (self.cost or 0)

    @property
    def pays(self) -> bool:
        """Whether it is worth what it costs; without money, whether it changes anything."""
        return self.chance_to_change > 0 and (self.net is None or self.net > 0)

    @property
    def outcomes(self) -> str:
        """What each answer would make one do, in words."""
        return "; ".join(say(s) for s in self.then)

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
            say(statement("step.pays seller")) if self.payer == "seller" else "",
        ]
        return ", ".join(p for p in parts if p)


@dataclass(frozen=True, kw_only=True, repr=False)
class NextVisit(Showable):
    """What could be found out, what is worth most beyond its cost first; ``stop`` says when to stop looking."""

    steps: tuple[NextStep, ...]
    currency: str
    locale: str = LOCALE
    stop: Statement = STOP_NOW
    header = (
        "piano",
        "what",
        "changes what to do",
        "worth",
        "cost",
        "who pays",
        "effort",
        "minutes",
        "what then",
        "why unknown",
    )

    @property
    def when_to_stop(self) -> str:
        """After which step nothing that is left is worth what it costs, in words."""
        return say(self.stop)

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
                self._money(s.worth),
                self._money(s.cost),
                s.payer,
                s.effort,
                s.minutes,
                s.outcomes,
                s.why,
            )
            for s in self.steps
        ]

    def _money(self, amount: Decimal | None) -> str | None:
        return None if amount is None else about(amount, self.currency, locale=self.locale)


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
    """A shortlist compared for one buyer; ``none_fit`` is the share of the draws in which not one is fit to buy."""

    profile: BuyerProfile
    assessments: tuple[Assessment, ...]
    standings: tuple[Standing, ...]
    next_steps: tuple[NextStep, ...]
    verdict: Verdict
    seed: int
    draws: int
    none_fit: float = 0.0
    hangs_on: tuple[Statement, ...] = ()
    comparables: tuple[Comparable, ...] = ()
    header = (
        "piano",
        "first choice in",
        "score from",
        "score to",
        "total from",
        "total to",
        "aim at",
        "walk away above",
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
        return self._listed(self._without_doubles(piano_id)[:most])

    def plan(self, piano_id: str | None = None) -> NextVisit:
        """The steps that are worth their cost, in the best order: what most likely ends the matter for the least first.

        A cheap step that may rule a piano out comes before a dear one, which is then spared. Source: the order of
        tests by chance over cost, common practice of fault finding [practice].
        """
        paying = [s for s in self._without_doubles(piano_id) if s.pays]
        best_first = sorted(
            paying, key=lambda s: (-s.chance_to_change / float(max(s.cost or 1, 1)), s.piano_id)
        )
        return self._listed(best_first)

    def _listed(self, steps: Sequence[NextStep]) -> NextVisit:
        paying = sum(s.pays for s in steps)
        stop = statement("step.stop after", count=paying) if paying else STOP_NOW
        return NextVisit(
            steps=tuple(steps), currency=self.profile.currency, locale=self.profile.locale, stop=stop
        )

    def _without_doubles(self, piano_id: str | None) -> list[NextStep]:
        mine = [s for s in self.next_steps if piano_id in (None, s.piano_id)]
        walks = {s.piano_id for s in mine if s.action.kind == FINISH}
        return [
            s for s in mine
            if s.piano_id not in walks or s.action.kind != LOOK or s.source in BESIDE_THE_WALK
        ]  # fmt: skip

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
                s.price.aim_at,
                s.price.walk_away_above,
                s.vetoed,
            )
            for s in self.standings
        ]

    def shown(self) -> list[Row]:
        code, none = self.profile.currency, "no price yet"
        return [
            (name, first, f"{low:.1f}", f"{high:.1f}", about(total_low, code), about(total_high, code),
             none if aim is None else money(aim, code), none if most is None else money(most, code), stop)
            for name, first, low, high, total_low, total_high, aim, most, stop in self.rows()
        ]  # fmt: skip
