"""Evidence and what it makes of an aspect: one thing known or unknown, how bad at best and at worst, and the scores.

From evidence to aspect scores: every known fault multiplies the score down, every gap widens it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import exp
from typing import Literal

from pianolab.assess.assessment import BEST, AspectResult, Contribution, Unknown
from pianolab.model import ASPECTS, AspectName
from pianolab.statements import Statement
from pianolab.words import say

Effort = Literal["look again", "record again", "tune and record again", "technician"]


@dataclass(frozen=True, kw_only=True)
class Gap:
    """A part of the evidence that is not known, and why; ``share`` is how much worse it could turn out (0 to 1)."""

    key: str
    what: Statement
    why: Statement
    share: float
    effort: Effort
    minutes: float | None = None
    veto_chance: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Evidence:
    """What one checklist point or one measure says; whose it is stands in ``source``, what it is about in ``says``.

    ``share`` is what is known to be wrong, 0 (nothing) to 1 (failed); the gaps come on top of it.
    ``strengths`` maps each aspect to how strongly this bears on it. ``fault`` names what is wrong where it may be noticed
    in several ways: evidence of one fault counts once, the heaviest of it. ``keys`` are those named of ``count`` that have it.
    """

    source: str
    says: Statement
    share: float
    strengths: dict[str, float]
    gaps: tuple[Gap, ...] = ()
    fault: str = ""
    keys: frozenset[int] = frozenset()
    count: int = 0


def once_at_a_key(evidence: Sequence[Evidence], faults: Sequence[str]) -> list[Evidence]:
    """The same with the part that stands for keys named at all of these faults as evidence of one fault."""
    named = [frozenset[int]().union(*(e.keys for e in evidence if e.fault == fault)) for fault in faults]
    shared = frozenset.intersection(*named)
    out: list[Evidence] = []
    for e in evidence:
        if e.fault not in faults or not (mine := e.keys & shared):
            out.append(e)
            continue
        part = e.share * len(mine) / max(len(e.keys), e.count)
        out.append(replace(e, share=e.share - part))
        out.append(replace(e, share=part, gaps=(), fault=" and ".join(faults)))
    return out


def judge_aspects(evidence: Sequence[Evidence], *, full_loss: float) -> tuple[AspectResult, ...]:
    """All six aspects as intervals from 0 to 10.

    Parameters
    ----------
    evidence : what findings and listening say, in any order
    full_loss : float; natural logarithm of the factor that a failed thing of strength 1 costs

    Returns
    -------
    tuple of AspectResult, one for each aspect

    Notes
    -----
    The upper end is 10 exp(-known losses), the lower end 10 exp(-(known + possible losses)). A product can
    only fall when something is added, so one more gap never raises the lower end nor narrows the
    interval, and a worse value never raises either end. Own construction.

    Examples
    --------
    >>> from pianolab.statements import as_written
    >>> dull = Evidence(source="x", says=as_written("dull bass"), share=0.5, strengths={"tone": 0.4})
    >>> judge_aspects([dull], full_loss=1.0)[0]
    <AspectResult tone: 8.2 to 8.2 of 10>
    """
    return tuple(_judge(aspect, evidence, full_loss) for aspect in ASPECTS)


def _judge(aspect: AspectName, evidence: Sequence[Evidence], full_loss: float) -> AspectResult:
    bearing = sorted((e for e in evidence if aspect in e.strengths), key=lambda e: (e.source, say(e.says)))
    losses = [loss for same in _by_fault(bearing) for loss in _once(same, aspect, full_loss)]
    known = [(loss.evidence, loss.known) for loss in losses if loss.known > 0]
    gaps = [(loss.evidence, gap, more) for loss in losses for gap, more in loss.gaps if more > 0]
    known_loss = sum(loss for _, loss in known)
    possible = sum(loss for _, _, loss in gaps)
    high = BEST * exp(-known_loss)
    low = BEST * exp(-(known_loss + possible))
    return AspectResult(
        aspect=aspect,
        low=low,
        high=high,
        made_by=_contributions(known, known_loss, BEST - high),
        unknown=_unknowns(gaps, possible, high - low),
    )


@dataclass(frozen=True)
class _Loss:
    """What one piece of evidence takes from an aspect, as logarithms: what is known, and what its gaps may add."""

    evidence: Evidence
    known: float
    gaps: tuple[tuple[Gap, float], ...]

    @property
    def worst(self) -> float:
        return self.known + sum(more for _, more in self.gaps)


def _by_fault(bearing: Sequence[Evidence]) -> list[list[Evidence]]:
    """Evidence of one fault together; what names no fault stands for itself."""
    groups: dict[object, list[Evidence]] = {}
    for i, e in enumerate(bearing):
        groups.setdefault(e.fault or i, []).append(e)
    return list(groups.values())


def _once(same: Sequence[Evidence], aspect: AspectName, full_loss: float) -> list[_Loss]:
    """One fault once: the heaviest of what is known, and up to the worst that any way of noticing it leaves open."""
    losses = [_loss(e, full_loss * e.strengths[aspect]) for e in same]
    known = max(loss.known for loss in losses)
    room = max(loss.worst for loss in losses) - known
    told, counted = False, []
    for loss in sorted(losses, key=lambda loss: -loss.worst):
        gaps = []
        for gap, more in loss.gaps:
            gaps.append((gap, min(more, room)))
            room -= gaps[-1][1]
        heaviest = not told and loss.known == known
        told |= heaviest
        counted.append(_Loss(loss.evidence, known if heaviest else 0.0, tuple(gaps)))
    return counted


def _loss(e: Evidence, factor: float) -> _Loss:
    return _Loss(e, factor * e.share, tuple((gap, factor * gap.share) for gap in e.gaps))


def _contributions(
    known: list[tuple[Evidence, float]], total: float, points: float
) -> tuple[Contribution, ...]:
    lost: dict[tuple[str, Statement], float] = {}
    for e, loss in known:
        lost[e.source, e.says] = lost.get((e.source, e.says), 0.0) + points * loss / total
    parts = sorted(lost.items(), key=lambda part: (-part[1], say(part[0][1])))
    return tuple(
        Contribution(says=says, low=-points, high=-points, source=source) for (source, says), points in parts
    )


def _unknowns(gaps: list[tuple[Evidence, Gap, float]], total: float, points: float) -> tuple[Unknown, ...]:
    """Gaps in points of the scale; what one repair or one recording settles alike stands once."""
    same: dict[tuple[str, Statement], list[tuple[Evidence, Gap, float]]] = {}
    for e, gap, loss in gaps:
        same.setdefault((gap.key, gap.what), []).append((e, gap, loss))
    parts = []
    for group in same.values():
        e, gap, _ = group[0]
        loss = sum(loss for _, _, loss in group)
        parts.append(
            Unknown(
                what=gap.what,
                why=gap.why,
                width=points * loss / total,
                source=e.source,
                effort=gap.effort,
                minutes=gap.minutes,
                key=gap.key,
                loss=loss,
                veto_chance=gap.veto_chance,
            )
        )
    return tuple(sorted(parts, key=lambda u: (-u.width, u.text)))
