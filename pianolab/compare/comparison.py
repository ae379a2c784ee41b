"""What comparing a shortlist gives: standings, the next steps, a verdict in words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Literal

from pianolab.assess.assessment import Assessment
from pianolab.compare.price import PriceAdvice
from pianolab.compare.steps import BESIDE_THE_WALK, FINISH, LOOK, STOP_NOW, NextStep, NextVisit
from pianolab.compare.weights import middle_weights
from pianolab.model import ASPECTS, Buyer, Comparable
from pianolab.show import Row, Showable, about, money
from pianolab.statements import Statement, statement
from pianolab.words import Told, say

VerdictKind = Literal["buy", "buy if", "find out first", "walk away"]
"""From best to worst; ``buy if``: one thing that can be named and settled stands between."""

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
    bought as things stand, worst first (empty where it can), and ``barred_by`` is the worst of them. ``price`` is
    what to offer, and why.
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

    profile: Buyer
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
            s for s in mine if s.piano_id not in walks or s.action.kind != LOOK or s.source in BESIDE_THE_WALK
        ]

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
            (
                name,
                first,
                f"{low:.1f}",
                f"{high:.1f}",
                about(total_low, code),
                about(total_high, code),
                none if aim is None else money(aim, code),
                none if most is None else money(most, code),
                stop,
            )
            for name, first, low, high, total_low, total_high, aim, most, stop in self.rows()
        ]
