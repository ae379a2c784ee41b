"""The verdict on a shortlist, with its reasons worst first; a stop is never talked away.

- *walk away*: every piano is barred, and no answer still to be had would clear one.
- *find out first*: too little was looked at, a doubt would decide it, or more than one weighty thing stands between.
- *buy if*: one thing that can be named and settled stands between.
- *buy*: nothing does; ordinary work may be due, the usual agreements remain.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil
from typing import Any

from pianolab.assess import Assessment, RepairJob
from pianolab.compare.comparison import Standing, Verdict
from pianolab.compare.looked import Missing, minutes_of
from pianolab.compare.obstacles import Before, condition_of, may_be_lifted, what_stands_before
from pianolab.compare.price import MORE_WORK, PriceAdvice
from pianolab.compare.steps import NextStep
from pianolab.model import Buyer
from pianolab.statements import Money, Statement, statement

OFFER = "verdict.offer"
STEPS = (
    "verdict.step",
    "verdict.step that changes",
    "verdict.step that decides",
    "verdict.step that clears",
)
"""Kinds of reasons that a page says elsewhere: the offer and the next steps."""

MOST_STEPS, MOST_STOPS, MOST_WARNINGS, MOST_JOBS = 3, 4, 3, 3
CONFIRM = "step.confirm"
"""The kind of a step that may lift a stop."""

CHANGES = 0.01
"""Under this chance a step's chance is not said; own choice."""

SAID_ELSEWHERE = frozenset(("warning.hidden",))
"""Warnings whose matter the verdict says by itself."""

LIKELY = 0.5
"""From this chance on, for what is known already, a job counts as due; own choice."""


def why_barred(standing: Standing) -> Statement:
    """Everything that matters of what bars a piano, worst first, in one line."""
    name, shown = standing.name, standing.obstacles[:MOST_STOPS]
    more = len(standing.obstacles) - len(shown)
    if more:
        return statement("verdict.obstacles and more", standing.piano_id, name=name, why=shown, count=more)
    return statement("verdict.obstacles", standing.piano_id, name=name, why=shown)


def knows_already(assessment: Assessment) -> list[Statement]:
    """What stands against it already, and what the tuning hides."""
    hidden = assessment.hidden
    found = [statement("verdict.hidden", assessment.piano.id, hidden=hidden)] if hidden is not None else []
    return [*found, *_warnings(assessment)]


def beside_it(assessment: Assessment) -> list[Statement]:
    """What to know before signing: the weightiest warnings, and the work that is due."""
    return [*_warnings(assessment), *work_due(assessment)]


def _warnings(assessment: Assessment) -> list[Statement]:
    told = [w for w in assessment.warnings if w.says.kind not in SAID_ELSEWHERE]
    worst = sorted(told, key=lambda w: -w.severity)
    return [statement("verdict.warning", assessment.piano.id, warning=w.says) for w in worst[:MOST_WARNINGS]]


def work_due(assessment: Assessment) -> list[Statement]:
    due = [job for job in assessment.repairs.jobs if _due(job)]
    if not due:
        return []
    jobs = tuple(statement("verdict.job", job.job, job=job.what, why=job.why) for job in due[:MOST_JOBS])
    return [statement("verdict.work", assessment.piano.id, jobs=jobs)]


def _due(job: RepairJob) -> bool:
    """Work on the instrument that is needed for what was found, as likely as not."""
    forced = job.forced
    return forced is not None and job.found and job.kind == "work" and forced.known_chance >= LIKELY


def step_reason(step: NextStep, *, alone: bool) -> Statement:
    """A step with how often it changes what to do: with one piano whether to buy it, under a stop whether it is lifted."""
    values: dict[str, Any] = {"name": step.piano_name, "step": step.says}
    if step.chance_to_change < CHANGES:
        return statement(STEPS[0], step.piano_id, **values)
    kind = STEPS[3] if step.action.kind == CONFIRM else STEPS[2 if alone else 1]
    return statement(kind, step.piano_id, **values, chance=step.chance_to_change)


def price_reasons(advice: PriceAdvice, profile: Buyer, standing: Standing) -> list[Statement]:
    """The three figures with their reasons, or why there are none; then what to agree on."""
    if advice.open_with is None or advice.aim_at is None or advice.walk_away_above is None:
        lacking = tuple(m for m in advice.missing if m.kind not in BARS)
        return [statement("verdict.no price", standing.piano_id, missing=lacking)] if lacking else []
    if not advice.aim_at:
        return [statement("verdict.gift", standing.piano_id), *advice.conditions]
    figures = {"open": advice.open_with, "aim": advice.aim_at, "most": advice.walk_away_above}
    amounts: dict[str, Any] = {
        name: Money(sum_, profile.currency, profile.locale) for name, sum_ in figures.items()
    }
    return [statement(OFFER, standing.piano_id, **amounts), *advice.conditions]


BARS = frozenset((MORE_WORK, "price.stop", "price.look first", "price.hidden"))
"""Reasons for no price that stand in the verdict by themselves."""


def others_out(standings: Sequence[Standing]) -> list[Statement]:
    """The pianos that are out for now, each with the worst of why; the rest stands with its alerts and scores."""
    return [_out(s) for s in standings if s.obstacles]


def _out(standing: Standing) -> Statement:
    values: dict[str, Any] = {"name": standing.name, "why": standing.obstacles[0]}
    more = len(standing.obstacles) - 1
    if more:
        return statement("verdict.out and more", standing.piano_id, **values, count=more)
    return statement("verdict.out", standing.piano_id, **values)


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
