"""The answer: buy, buy if, find out first, or walk away; a stop is never talked away.

- *walk away*: every piano is barred, and no answer still to be had would clear one.
- *find out first*: too little was looked at, a doubt would decide it, or more than one weighty thing stands between.
- *buy if*: one thing that can be named and settled stands between.
- *buy*: nothing does; ordinary work may be due, the usual agreements remain.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil

from pianolab.assess import Assessment
from pianolab.compare.comparison import Standing, Verdict
from pianolab.compare.looked import Missing, minutes_of
from pianolab.compare.obstacles import Before, condition_of, may_be_lifted, what_stands_before
from pianolab.compare.price import PriceAdvice
from pianolab.compare.reasons import (
    CONFIRM,
    MOST_STEPS,
    beside_it,
    knows_already,
    others_out,
    price_reasons,
    step_reason,
    why_barred,
    work_due,
)
from pianolab.compare.steps import NextStep
from pianolab.model import Buyer
from pianolab.statements import Statement, statement


@dataclass(frozen=True, kw_only=True)
class Shortlist:
    """What the verdict looks at, in one order: judged pianos, their standings, what to learn, what is missing."""

    assessments: Sequence[Assessment]
    standings: Sequence[Standing]
    steps: Sequence[NextStep]
    missing: Sequence[Sequence[Missing]]
    advice: Sequence[PriceAdvice]
    profile: Buyer


def give_verdict(shortlist: Shortlist) -> Verdict:
    """The verdict on a shortlist."""
    open_to_buy = [i for i, s in enumerate(shortlist.standings) if not s.obstacles]
    if not open_to_buy:
        return _none_open(shortlist)
    first = max(
        open_to_buy,
        key=lambda i: (shortlist.standings[i].rank_shares[0], shortlist.standings[i].score_middle),
    )
    if shortlist.missing[first]:
        return _too_little(shortlist, first)
    a = shortlist.assessments[first]
    before = what_stands_before(
        a.piano, shortlist.steps, advice=shortlist.advice[first], profile=shortlist.profile
    )
    if a.hidden is not None or before.too_many:
        return _find_out(shortlist, first, before)
    return _buy(shortlist, first, before)


def _none_open(shortlist: Shortlist) -> Verdict:
    """Nothing may be bought as things stand: a stop that an answer could lift has to be settled, or that was it."""
    pairs = zip(shortlist.assessments, shortlist.standings, strict=True)
    liftable = [i for i, (a, s) in enumerate(pairs) if may_be_lifted(a, s.obstacles)]
    reasons = [why_barred(s) for s in shortlist.standings]
    if not liftable:
        nothing = statement("verdict.nothing", pianos=len(shortlist.standings))
        answer = statement("verdict.walk away", nothing=nothing)
        beside = [r for a in shortlist.assessments for r in beside_it(a)]
        return Verdict(
            kind="walk away", piano_id=None, answer=answer, reasons=(*reasons, *beside), how_sure=1.0
        )
    best = max(liftable, key=lambda i: shortlist.standings[i].score_middle)
    standing = shortlist.standings[best]
    doubt = statement("verdict.doubt", standing.piano_id, name=standing.name)
    steps = [
        step_reason(s, alone=_alone(shortlist)) for s in _own(shortlist, best) if s.action.kind == CONFIRM
    ]
    return Verdict(
        kind="find out first",
        piano_id=standing.piano_id,
        answer=statement("verdict.find out first", standing.piano_id, leads=doubt),
        reasons=(*reasons, *beside_it(shortlist.assessments[best]), *steps[:MOST_STEPS]),
        how_sure=standing.rank_shares[0],
    )


def _too_little(shortlist: Shortlist, first: int) -> Verdict:
    """Nobody leads before what a decision needs has been looked at."""
    standing, missing = shortlist.standings[first], shortlist.missing[first]
    what = tuple(m.says() for m in missing)
    minutes = minutes_of(missing)
    kind = "verdict.not looked at" if minutes is None else "verdict.not looked at, in"
    reasons = [
        statement(kind, "little looked at", name=standing.name, what=what, minutes=minutes and ceil(minutes)),
        *knows_already(shortlist.assessments[first]),
        *(step_reason(s, alone=_alone(shortlist)) for s in _own(shortlist, first)[:MOST_STEPS]),
        *others_out(shortlist.standings),
    ]
    little = statement("verdict.too little", pianos=len(shortlist.standings), name=standing.name)
    return Verdict(
        kind="find out first",
        piano_id=standing.piano_id if _alone(shortlist) else None,
        answer=statement("verdict.find out first", standing.piano_id, leads=little),
        reasons=tuple(reasons),
        how_sure=standing.rank_shares[0],
    )


def _find_out(shortlist: Shortlist, first: int, before: Before) -> Verdict:
    """More than one thing, or what the tuning hides, stands before buying the one that is ahead."""
    standing, a = shortlist.standings[first], shortlist.assessments[first]
    reasons = [*_leads(shortlist, first), *knows_already(a)]
    steps = before.first_looks or tuple(_own(shortlist, first))
    reasons += [step_reason(s, alone=_alone(shortlist)) for s in steps[:MOST_STEPS]]
    kind = "verdict.leads alone" if _alone(shortlist) else "verdict.leads"
    return Verdict(
        kind="find out first",
        piano_id=standing.piano_id,
        answer=statement(
            "verdict.find out first",
            standing.piano_id,
            leads=statement(kind, standing.piano_id, name=standing.name),
        ),
        reasons=(*reasons, *_agree(before, standing), *work_due(a), *others_out(shortlist.standings)),
        how_sure=standing.rank_shares[0],
    )


def _buy(shortlist: Shortlist, first: int, before: Before) -> Verdict:
    standing, a = shortlist.standings[first], shortlist.assessments[first]
    conditions = (*before.agree, *(condition_of(s) for s in before.first_looks))
    if conditions:
        answer = statement("verdict.buy if", standing.piano_id, name=standing.name, conditions=conditions)
    else:
        answer = statement("verdict.buy", standing.piano_id, name=standing.name)
    reasons = [
        *_leads(shortlist, first),
        *beside_it(a),
        *price_reasons(shortlist.advice[first], shortlist.profile, standing),
        *(statement("verdict.then", standing.piano_id, what=then) for then in before.outcomes),
        *others_out(shortlist.standings),
    ]
    return Verdict(
        kind="buy if" if conditions else "buy",
        piano_id=standing.piano_id,
        answer=answer,
        reasons=tuple(reasons),
        how_sure=standing.rank_shares[0],
    )


def _agree(before: Before, standing: Standing) -> list[Statement]:
    return [statement("verdict.agree", standing.piano_id, what=before.agree)] if before.agree else []


def _alone(shortlist: Shortlist) -> bool:
    return len(shortlist.standings) == 1


def _own(shortlist: Shortlist, piano: int) -> list[NextStep]:
    """The steps at one piano that pay, or else the first."""
    mine = [s for s in shortlist.steps if s.piano_id == shortlist.standings[piano].piano_id]
    return [s for s in mine if s.pays or s.action.kind == CONFIRM] or mine[:1]


def _leads(shortlist: Shortlist, first: int) -> list[Statement]:
    """How often it comes first, and in what it stands above the others that may be bought."""
    standing = shortlist.standings[first]
    if _alone(shortlist):
        return [statement("verdict.only one", standing.piano_id)]
    share = standing.rank_shares[0]
    pairs = enumerate(zip(shortlist.assessments, shortlist.standings, strict=True))
    rivals = [a for i, (a, s) in pairs if i != first and not s.obstacles]
    leads = statement("verdict.comes first", standing.piano_id, name=standing.name, share=share)
    return [leads, *stands_out(shortlist.assessments[first], rivals)]


def stands_out(assessment: Assessment, rivals: Sequence[Assessment]) -> tuple[Statement, ...]:
    """Where one piano is surely above all rivals, and where it only looks so.

    Surely is where even its lower end lies above every rival's upper end; what nobody has looked at reaches down far
    and is never sure. Where only the middles are ordered, the overlap is said.

    Returns
    -------
    tuple of Statement, none to two: ``verdict.highest`` and ``verdict.overlaps``

    Examples
    --------
    >>> from pianolab.assess import assess_piano, load_prices
    >>> from pianolab.checklist import load_checklist
    >>> from pianolab.model import Piano
    >>> one, other = (assess_piano(Piano(name=n), [], survey=None, checklist=load_checklist(), prices=load_prices())
    ...     for n in "ab")
    >>> stands_out(one, [other])
    ()
    """
    sure, open_ = [], []
    for own in assessment.aspects:
        others = [r.aspect(own.aspect) for r in rivals]
        if not others:
            continue
        if all(own.low > other.high for other in others):
            sure.append(own.aspect)
        elif all(own.middle > other.middle for other in others):
            open_.append(own.aspect)
    name, about = assessment.piano.name, assessment.piano.id
    found = [("verdict.highest", sure), ("verdict.overlaps", open_)]
    return tuple(statement(kind, about, name=name, aspects=tuple(a)) for kind, a in found if a)
