"""The answer: buy, find out first, or walk away; a veto is never talked away."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from pianolab.assess import Assessment
from pianolab.compare.results import NextStep, Standing, Verdict
from pianolab.model import BuyerProfile
from pianolab.statements import Money, Statement, statement

COULD_CHANGE = 0.10
"""From this chance on, something unknown stands before a purchase; own choice."""

OFFER, STEPS = "verdict.offer", ("verdict.step", "verdict.step that changes")
"""Kinds of reasons that a page says elsewhere: the offer and the next steps."""

WORTH_SAYING = 0.01
"""Under this chance a step is left out of the verdict; own choice."""


@dataclass(frozen=True, kw_only=True)
class Shortlist:
    """What the verdict looks at, in one order: judged pianos, their standings, and what could be learned.

    ``all_unknown_chance`` is, for each piano, the chance that knowing everything about it changes the choice.
    """

    assessments: Sequence[Assessment]
    standings: Sequence[Standing]
    steps: Sequence[NextStep]
    all_unknown_chance: Sequence[float]
    profile: BuyerProfile


def give_verdict(shortlist: Shortlist) -> Verdict:
    """The verdict on a shortlist."""
    open_to_buy = [i for i, s in enumerate(shortlist.standings) if s.barred_by is None]
    if not open_to_buy:
        return _walk_away(shortlist)
    leader = max(open_to_buy, key=lambda i: shortlist.standings[i].rank_shares[0])
    before = _find_out(shortlist, leader)
    if before:
        return _find_out_first(shortlist, leader, before)
    return _buy(shortlist, leader)


def _find_out(shortlist: Shortlist, leader: int) -> list[NextStep]:
    """The steps that stand before buying the leader, the weightiest first."""
    mine = shortlist.standings[leader].piano_id
    open_steps = [s for s in shortlist.steps if s.piano_id == mine or s.chance_to_change >= COULD_CHANGE]
    doubtful = shortlist.all_unknown_chance[leader] >= COULD_CHANGE
    judged = shortlist.assessments[leader]
    unready = judged.hidden is not None or not judged.heard or judged.piano.asking_price is None
    rivals = any(s.chance_to_change >= COULD_CHANGE for s in open_steps)
    return open_steps if doubtful or unready or rivals else []


def _walk_away(shortlist: Shortlist) -> Verdict:
    reasons = [
        statement("verdict.obstacle", s.piano_id, name=s.name, why=s.barred_by) for s in shortlist.standings
    ]
    stopped = tuple(a.piano.name for a in shortlist.assessments if a.vetoes)
    if stopped:
        reasons.append(statement("verdict.technician", names=stopped))
    nothing = statement("verdict.nothing", pianos=len(shortlist.standings))
    answer = statement("verdict.walk away", nothing=nothing)
    return Verdict(kind="walk away", piano_id=None, answer=answer, reasons=tuple(reasons), how_sure=1.0)


def _find_out_first(shortlist: Shortlist, leader: int, steps: Sequence[NextStep]) -> Verdict:
    standing = shortlist.standings[leader]
    reasons = [_leads(shortlist, leader)]
    if (hidden := shortlist.assessments[leader].hidden) is not None:
        reasons.append(statement("verdict.hidden", standing.piano_id, hidden=hidden))
    weighty = [s for s in steps if s.chance_to_change >= WORTH_SAYING] or list(steps[:1])
    reasons += [_step(s) for s in weighty[:3]]
    leads = statement("verdict.leads", standing.piano_id, name=standing.name)
    return Verdict(
        kind="find out first",
        piano_id=standing.piano_id,
        answer=statement("verdict.find out first", standing.piano_id, leads=leads),
        reasons=(*reasons, *_others(shortlist)),
        how_sure=standing.rank_shares[0],
    )


def _step(step: NextStep) -> Statement:
    values: dict[str, Any] = {"name": step.piano_name, "step": step.says}
    if step.chance_to_change < WORTH_SAYING:
        return statement(STEPS[0], step.piano_id, **values)
    return statement(STEPS[1], step.piano_id, **values, chance=step.chance_to_change)


def _buy(shortlist: Shortlist, leader: int) -> Verdict:
    standing = shortlist.standings[leader]
    reasons = [_leads(shortlist, leader)]
    if standing.highest_offer is not None:
        amount = _money(standing.highest_offer, shortlist.profile)
        reasons.append(statement(OFFER, standing.piano_id, amount=amount, reason=standing.offer_why))
    warnings = shortlist.assessments[leader].warnings
    reasons += [statement("verdict.warning", standing.piano_id, warning=w.says) for w in warnings[:2]]
    reasons.append(statement("verdict.look once", standing.piano_id))
    return Verdict(
        kind="buy",
        piano_id=standing.piano_id,
        answer=statement("verdict.buy", standing.piano_id, name=standing.name),
        reasons=(*reasons, *_others(shortlist)),
        how_sure=standing.rank_shares[0],
    )


def _leads(shortlist: Shortlist, leader: int) -> Statement:
    standing = shortlist.standings[leader]
    if len(shortlist.standings) == 1:
        return statement("verdict.only one", standing.piano_id)
    share = standing.rank_shares[0]
    return statement("verdict.comes first", standing.piano_id, name=standing.name, share=share)


def _others(shortlist: Shortlist) -> list[Statement]:
    found = []
    for s in (s for s in shortlist.standings if s.barred_by is not None):
        values: dict[str, Any] = {"name": s.name, "why": s.barred_by}
        if s.highest_offer:
            amount = _money(s.highest_offer, shortlist.profile)
            found.append(statement("verdict.out, but", s.piano_id, **values, amount=amount))
        else:
            found.append(statement("verdict.out", s.piano_id, **values))
    return found


def _money(amount: Decimal, profile: BuyerProfile) -> Money:
    return Money(amount, profile.currency, profile.locale)
