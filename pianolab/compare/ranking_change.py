"""Why the ranking is another one than before: two comparisons of one shortlist, and what lies between them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from pianolab.assess import Assessment, Contribution
from pianolab.compare.comparison import Comparison
from pianolab.show import Row, Showable
from pianolab.statements import Money, Statement, statement
from pianolab.words import Told, say

LEAST_POINTS = 0.3
"""A reason that moved an aspect by less (of 10) is left out; own choice."""

LEAST_MONEY = 50.0


@dataclass(frozen=True, kw_only=True)
class PianoMoved(Told):
    """One piano before and after: how often it comes first, and what made the difference, largest first."""

    piano_id: str
    name: str
    first_before: float
    first_after: float
    why: tuple[Statement, ...]

    @property
    def reasons(self) -> tuple[str, ...]:
        return tuple(say(reason) for reason in self.why)

    def says(self) -> Statement:
        """The move, and why."""
        values: dict[str, Any] = {"name": self.name, "after": self.first_after, "before": self.first_before}
        if not self.why:
            return statement("moved.first", self.piano_id, **values)
        return statement("moved.first because", self.piano_id, **values, reasons=self.why)

    def sentence(self) -> str:
        """The move in words.

        Examples
        --------
        >>> from pianolab.statements import as_written
        >>> why = (as_written("short sustain"),)
        >>> PianoMoved(piano_id="a", name="A", first_before=0.4, first_after=0.1, why=why).sentence()
        'A comes first in 10% of the cases, before in 40%: short sustain.'
        """
        return say(self.says())


@dataclass(frozen=True, kw_only=True, repr=False)
class RankingChange(Showable):
    """Two comparisons of one shortlist side by side; pianos that moved most come first."""

    before: Comparison
    after: Comparison
    moved: tuple[PianoMoved, ...]
    header = ("piano", "first before", "first now", "because")

    @property
    def leader_changed(self) -> bool:
        return self.before.verdict.piano_id != self.after.verdict.piano_id

    def headline(self) -> str:
        before, after = self.before.verdict, self.after.verdict
        if before.same_answer(after):
            return f"The verdict stays: {after.headline}"
        return f"Before: {before.headline} Now: {after.headline}"

    def rows(self) -> list[Row]:
        return [
            (m.name, f"{m.first_before:.0%}", f"{m.first_after:.0%}", "; ".join(m.reasons))
            for m in self.moved
        ]


def explain_change(before: Comparison, after: Comparison) -> RankingChange:
    """What moved between two comparisons of one shortlist, and why.

    Only what differs in the judgement of a piano itself is given as its reason; a piano that moved because
    another one did says so.

    Parameters
    ----------
    before, after : two comparisons, such as from before and after a second visit

    Returns
    -------
    RankingChange
    """
    known = {a.piano.id: a for a in before.assessments}
    moved = [_moved(known[a.piano.id], a, before, after) for a in after.assessments if a.piano.id in known]
    order = sorted(moved, key=lambda m: (-abs(m.first_after - m.first_before), m.name))
    return RankingChange(before=before, after=after, moved=tuple(order))


def _moved(old: Assessment, new: Assessment, before: Comparison, after: Comparison) -> PianoMoved:
    shares = [c.standing(new.piano.id).rank_shares[0] for c in (before, after)]
    reasons = [*_stops(old, new), *_scores(old, new), *_money(old, new, after)]
    if not reasons and abs(shares[1] - shares[0]) >= 0.01:
        reasons = [statement("moved.others")]
    return PianoMoved(
        piano_id=new.piano.id,
        name=new.piano.name,
        first_before=shares[0],
        first_after=shares[1],
        why=tuple(reasons),
    )


def _stops(old: Assessment, new: Assessment) -> list[Statement]:
    was, now = ([v.says for v in a.vetoes] for a in (old, new))
    found = [("moved.stop", s) for s in now if not any(s.same_as(t) for t in was)]
    found += [("moved.no stop", s) for s in was if not any(s.same_as(t) for t in now)]
    return [statement(kind, stop=stop) for kind, stop in found]


def _scores(old: Assessment, new: Assessment) -> list[Statement]:
    """What costs points now and did not before, and what no longer does, largest first; then what became known."""
    found: list[tuple[float, Statement]] = []
    for was, now in zip(old.aspects, new.aspects, strict=True):
        cost, costs = _by_subject(was.made_by), _by_subject(now.made_by)
        for key in cost.keys() | costs.keys():
            lost = (costs[key].low if key in costs else 0.0) - (cost[key].low if key in cost else 0.0)
            kind = "moved.lost" if lost < 0 else "moved.regained"
            why = (costs.get(key) or cost[key]).says
            found.append((lost, statement(kind, why.subject, aspect=now.aspect, points=lost, why=why)))
    large = sorted((f for f in found if abs(f[0]) >= LEAST_POINTS), key=lambda f: (-abs(f[0]), say(f[1])))
    return [said for _, said in large] + _settled(old, new)


def _by_subject(made_by: Iterable[Contribution]) -> dict[tuple[str, str], Contribution]:
    """What cost points, by what it is about: counts and keys may have changed."""
    return {(c.source, c.says.subject or say(c.says)): c for c in made_by}


def _settled(old: Assessment, new: Assessment) -> list[Statement]:
    """Aspects that are known more closely than before, in one line."""
    widths = [
        (a.aspect, a.high - a.low, b.high - b.low) for a, b in zip(old.aspects, new.aspects, strict=True)
    ]
    closer = tuple(
        statement("moved.closer by", name, aspect=name, now=now, before=was)
        for name, was, now in widths
        if was - now >= LEAST_POINTS
    )
    return [statement("moved.closer", aspects=closer)] if closer else []


def _needed(a: Assessment) -> Decimal:
    """What has to be spent on it, in half of the cases."""
    return a.repairs.p50 if a.repairs.needed_p50 is None else a.repairs.needed_p50


def _money(old: Assessment, new: Assessment, after: Comparison) -> list[Statement]:
    more = float(_needed(new) - _needed(old))
    if abs(more) < LEAST_MONEY:
        return []
    amount = Money(abs(more), after.profile.currency, after.profile.locale)
    return [statement("moved.dearer" if more > 0 else "moved.cheaper", amount=amount)]
