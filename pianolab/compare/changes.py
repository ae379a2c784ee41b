"""Why the ranking is another one than before: two comparisons of one shortlist, and what lies between them."""

from __future__ import annotations

from dataclasses import dataclass

from pianolab.assess import Assessment
from pianolab.compare.results import Comparison
from pianolab.show import Fields, Row, Showable, about

LEAST_POINTS = 0.3
"""A reason that moved an aspect by less (of 10) is left out; own choice."""

LEAST_MONEY = 50.0


@dataclass(frozen=True, kw_only=True)
class Moved(Fields):
    """One piano before and after: how often it comes first, and what made the difference, largest first."""

    piano_id: str
    name: str
    first_before: float
    first_after: float
    reasons: tuple[str, ...]

    def sentence(self) -> str:
        """The move in words.

        Examples
        --------
        >>> Moved(piano_id="a", name="A", first_before=0.4, first_after=0.1, reasons=("short sustain",)).sentence()
        'A comes first in 10% of the cases, before in 40%: short sustain.'
        """
        moved = f"{self.name} comes first in {self.first_after:.0%} of the cases, before in {self.first_before:.0%}"
        return f"{moved}: {'; '.join(self.reasons)}." if self.reasons else f"{moved}."


@dataclass(frozen=True, kw_only=True, repr=False)
class RankingChange(Showable):
    """Two comparisons of one shortlist side by side; pianos that moved most come first."""

    before: Comparison
    after: Comparison
    moved: tuple[Moved, ...]
    header = ("piano", "first before", "first now", "because")

    @property
    def leader_changed(self) -> bool:
        return self.before.verdict.piano_id != self.after.verdict.piano_id

    def headline(self) -> str:
        before, after = self.before.verdict.headline, self.after.verdict.headline
        return f"Before: {before} Now: {after}" if before != after else f"The verdict stays: {after}"

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


def _moved(old: Assessment, new: Assessment, before: Comparison, after: Comparison) -> Moved:
    shares = [c.standing(new.piano.id).rank_shares[0] for c in (before, after)]
    reasons = [*_stops(old, new), *_scores(old, new), *_money(old, new, after)]
    if not reasons and abs(shares[1] - shares[0]) >= 0.01:
        reasons = ["nothing about it changed, others did"]
    return Moved(
        piano_id=new.piano.id,
        name=new.piano.name,
        first_before=shares[0],
        first_after=shares[1],
        reasons=tuple(reasons),
    )


def _stops(old: Assessment, new: Assessment) -> list[str]:
    was, now = ({v.text for v in a.vetoes} for a in (old, new))
    found = [f"a reason to stop: {text.rstrip('.')}" for text in sorted(now - was)]
    return found + [f"no longer a reason to stop: {text.rstrip('.')}" for text in sorted(was - now)]


def _scores(old: Assessment, new: Assessment) -> list[str]:
    """What costs points now and did not before, and what no longer does, largest first; then what became known."""
    found: list[tuple[float, str]] = []
    for was, now in zip(old.aspects, new.aspects, strict=True):
        cost = {c.source + _kind(c.text): c for c in was.made_by}
        costs = {c.source + _kind(c.text): c for c in now.made_by}
        for key in cost.keys() | costs.keys():
            lost = (costs[key].low if key in costs else 0.0) - (cost[key].low if key in cost else 0.0)
            text = (costs.get(key) or cost[key]).text
            found.append((lost, f"{now.aspect} {lost:+.1f}: {text if lost < 0 else f'no longer: {text}'}"))
    large = sorted((f for f in found if abs(f[0]) >= LEAST_POINTS), key=lambda f: (-abs(f[0]), f[1]))
    return [text for _, text in large] + _settled(old, new)


def _settled(old: Assessment, new: Assessment) -> list[str]:
    """Aspects that are known more closely than before, in one line."""
    widths = [
        (a.aspect, a.high - a.low, b.high - b.low) for a, b in zip(old.aspects, new.aspects, strict=True)
    ]
    closer = [w for w in widths if w[1] - w[2] >= LEAST_POINTS]
    said = [f"{name} to {now:.1f} points (before {was:.1f})" for name, was, now in closer]
    return [f"known more closely: {', '.join(said)}"] if said else []


def _kind(text: str) -> str:
    """What a contribution is about, without its counts and keys."""
    return text.split(" in ")[0].split(":")[0]


def _money(old: Assessment, new: Assessment, after: Comparison) -> list[str]:
    more = float(new.repairs.p50 - old.repairs.p50)
    if abs(more) < LEAST_MONEY:
        return []
    amount = about(abs(more), after.profile.currency, locale=after.profile.locale)
    return [f"repairs about {amount} {'dearer' if more > 0 else 'cheaper'}"]
