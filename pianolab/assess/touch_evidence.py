"""What players' opinions say about faults of the touch, as evidence that aspects are judged by."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pianolab.assess.agreement import FaultRule, load_touch_scoring
from pianolab.assess.evidence import Evidence, Gap
from pianolab.assess.findings import PointView
from pianolab.assess.scoring import Scoring
from pianolab.checklist import FaultScale, TouchScales
from pianolab.errors import BadInput
from pianolab.model import TouchOpinion
from pianolab.statements import Statement, statement

MINUTES = 10.0
"""What playing it once more takes; own estimate."""

FEW_PLAYERS = 3
"""Under so many nobody can be told to stand alone."""


def touch_evidence(
    opinions: Sequence[TouchOpinion],
    scales: TouchScales,
    *,
    scoring: Scoring,
    views: Sequence[PointView] = (),
) -> tuple[Evidence, ...]:
    """Evidence from several players' opinions of one piano; taste plays no part.

    Parameters
    ----------
    opinions : all of one piano, on one visit or on several; each player's latest counts
    scales : the described scales
    scoring : the same settings as for findings
    views : what was found at the checklist's points. Where a point asks for the same thing and was looked
        at, it has counted already: players then only widen what is possible, never count twice.

    Returns
    -------
    tuple of Evidence, one for each scale of faults that somebody answered

    Raises
    ------
    BadInput
        For an opinion on a fault that the scales don't have.

    Notes
    -----
    Of two players the kinder gives what is known, the harsher what is possible; where they disagree the interval
    widens. From three players on the quarter points of their grades stand for these, so that one who feels otherwise
    than all the others neither clears a fault nor makes one. A scale nobody answered adds nothing here: the
    checklist's own unchecked points hold that gap.

    Examples
    --------
    >>> from pianolab.assess.scoring import load_scoring
    >>> from pianolab.checklist import load_touch_scales
    >>> said = [TouchOpinion(visit_id="v", player=p, faults={"evenness": g}) for p, g in (("Ada", 5), ("Ben", 2))]
    >>> found = touch_evidence(said, load_touch_scales(), scoring=load_scoring())
    >>> found[0].share, found[0].gaps[0].why.kind
    (0.0, 'unknown.players disagree')
    """
    known = {s.id for s in scales.faults}
    for o in opinions:
        if unknown := sorted(set(o.faults) - known):
            raise BadInput(f"opinion of {o.player}", unknown[0], "one of " + ", ".join(sorted(known)))
    latest = _latest(opinions)
    checked = {v.point.id: v for v in views if v.applies and v.checked}
    found = []
    for scale in scales.faults:
        grades = [(o.player, o.faults[scale.id]) for o in latest if scale.id in o.faults]
        if grades:
            rule = load_touch_scoring().rule(scale.id)
            found.append(_evidence(scale, grades, rule, checked.get(rule.same_as), scoring))
    return tuple(found)


def _latest(opinions: Sequence[TouchOpinion]) -> list[TouchOpinion]:
    """Each player's latest opinion; all of a player's where one isn't dated, so that none is preferred."""
    by_player: dict[str, list[TouchOpinion]] = {}
    for o in opinions:
        by_player.setdefault(o.player, []).append(o)
    found: list[TouchOpinion] = []
    for _, mine in sorted(by_player.items()):
        undated = len(mine) > 1 and any(o.at is None for o in mine)
        found += mine if undated else [max(mine, key=lambda o: o.at.isoformat() if o.at else "")]
    return found


def _evidence(
    scale: FaultScale,
    grades: list[tuple[str, int]],
    rule: FaultRule,
    view: PointView | None,
    scoring: Scoring,
) -> Evidence:
    shares = [scoring.grade_share(grade) for _, grade in grades]
    known, worst = _spread(shares)
    strengths = dict(rule.aspects)
    why = statement("unknown.players disagree")
    if view is not None:
        known, worst = 0.0, max(0.0, worst - view.worst)
        strengths = dict(view.point.aspects)
        why = statement("unknown.felt worse")
    gaps: tuple[Gap, ...] = ()
    if worst > known:
        what = statement("unknown.felt", scale.id, scale=scale.name)
        gaps = (
            Gap(
                key=f"touch {scale.id}",
                what=what,
                why=why,
                share=worst - known,
                effort="look again",
                minutes=MINUTES,
            ),
        )
    return Evidence(source="players", says=_says(scale, grades), share=known, strengths=strengths, gaps=gaps)


def _spread(shares: Sequence[float]) -> tuple[float, float]:
    """Best and worst of two players' words; of three or more the points a quarter from either end."""
    if len(shares) < FEW_PLAYERS:
        return min(shares), max(shares)
    low, high = np.quantile(shares, (0.25, 0.75))
    return float(low), float(high)


def _says(scale: FaultScale, grades: list[tuple[str, int]]) -> Statement:
    ranked = sorted((grade for _, grade in grades), reverse=True)
    kindest = ranked[-(-(len(ranked) - 1) // 4) if len(ranked) >= FEW_PLAYERS else 0]
    players = len({player for player, _ in grades})
    anchor = scale.anchors[5 - kindest]
    return statement("found.players", scale.id, players=players, scale=scale.name, anchor=anchor)
