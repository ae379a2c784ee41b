"""Why a piano may need a job: findings, what was heard, how it is tuned, and what nobody has looked at."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from math import ceil

from pianolab.assess.by_recording import HeardKeys, counted
from pianolab.assess.findings import PointView, found_at, gap_key
from pianolab.assess.places import holds
from pianolab.assess.price_list import trade_practice
from pianolab.assess.scoring import Scoring
from pianolab.assess.tuning_state import FIRST_KEY, TuningState
from pianolab.checklist import RepairRule
from pianolab.checklist.points import Need
from pianolab.model import Finding
from pianolab.statements import Statement, statement

WEAK_FROM_SHARE = 0.3


@dataclass(frozen=True, kw_only=True)
class Extra:
    """What a job takes besides: between ``low`` and ``high`` times another job of the price list."""

    job: str
    low: float
    usual: float
    high: float
    what: Statement


@dataclass(frozen=True, kw_only=True)
class Proposal:
    """One reason for one job; ``keys`` or ``count`` say how many keys or strings it concerns.

    ``fault`` names what is wrong: one that is noticed in two ways asks for its job once.

    ``need`` says why the job is done for this reason, None where that is as the price list has it. Where only something unknown proposes it, ``found`` is False and ``unknown`` is that unknown's key.
    """

    job: str
    why: Statement
    chance: float
    keys: tuple[int, ...] = ()
    count: int = 0
    found: bool = True
    unknown: str = ""
    extra: Extra | None = None
    need: Need | None = None
    fault: str = ""


def proposals_from_points(
    views: Iterable[PointView], tuning: TuningState, *, scoring: Scoring
) -> list[Proposal]:
    """Jobs that findings ask for, and, with a small chance, those that what nobody has seen may yet ask for."""
    found = []
    for view in (v for v in views if v.applies):
        if view.out_of_sight > 0:
            found += _possible(view, tuning, scoring)
        for rule in view.point.repairs:
            for f in _asking(rule, view):
                fault = scoring.alike.get(view.point.id, view.point.id)
                found.append(replace(_found(rule, f, found_at(view, scoring)), fault=fault))
    return found


def _found(rule: RepairRule, finding: Finding, why: Statement) -> Proposal:
    return Proposal(
        job=rule.job,
        why=why,
        chance=rule.chance,
        keys=finding.keys,
        count=_count(rule, finding),
        need=rule.need,
    )


def _count(rule: RepairRule, finding: Finding) -> int:
    """How many keys, strings, flights, or units beyond the limit of a reading; the rule's own where none is told."""
    if finding.count is not None or finding.keys:
        return finding.count or 0
    if finding.reading is not None and rule.over is not None:
        return ceil(finding.reading - rule.over)
    return rule.count


def _possible(view: PointView, tuning: TuningState, scoring: Scoring) -> list[Proposal]:
    kind = "job.seen in part" if view.checked else "job.not checked"
    why = statement(kind, view.point.id, title=view.point.title)
    chance = scoring.unknown["repair_chance"] * view.out_of_sight * view.prior
    key = gap_key(view.point, tuning, scoring)
    return [
        Proposal(
            job=rule.job,
            why=why,
            chance=chance * rule.chance,
            found=False,
            unknown=key,
            count=rule.count,
            need=rule.need,
        )
        for rule in view.point.repairs
        if not _asking(rule, view)
    ]


def _asking(rule: RepairRule, view: PointView) -> list[Finding]:
    return [f for f in view.findings if holds(rule, f, view.point)]


def as_second_time(proposals: Iterable[Proposal], views: Iterable[PointView]) -> list[Proposal]:
    """The same with what has been done once before replaced by what is left to do (``data/jobs.toml``)."""
    bad = {view.point.id for view in views if view.checked and view.share > 0}
    becomes = {
        rule["job"]: rule["becomes"]
        for rule in trade_practice()["second_time"]
        if not bad.isdisjoint(rule["points"])
    }
    return [replace(p, job=becomes[p.job]) if p.found and p.job in becomes else p for p in proposals]


def proposals_from_listening(heard: Iterable[HeardKeys]) -> list[Proposal]:
    """Jobs that the recording asks for."""
    return [
        Proposal(
            job=rule.job,
            why=counted("heard.counted", h.item, keys=h.faulty, total=h.total),
            chance=rule.chance,
            keys=h.faulty if rule.per_key else (),
            fault=h.item.fault_name,
        )
        for h in heard
        for rule in h.item.repairs
        if len(h.faulty) > rule.over
    ]


def proposals_from_tuning(
    tuning: TuningState, views: Iterable[PointView], *, scoring: Scoring
) -> list[Proposal]:
    """First tunings for every piano; a pitch raise or advice on it where the pitch is low.

    Where two readings of the recording are possible, each of them asks for its jobs with half the chance.
    """
    found = [Proposal(job="first tunings", why=statement("job.first tunings"), chance=1.0)]
    views = tuple(views)
    if tuning.other_offset_cents is None:
        return found + _for_pitch(tuning.offset_cents, tuning, views, scoring)
    for offset in (tuning.offset_cents, tuning.other_offset_cents):
        for p in _for_pitch(offset, tuning, views, scoring):
            found.append(
                Proposal(
                    job=p.job,
                    why=statement("job.if read so", reason=p.why),
                    chance=0.5 * p.chance,
                    found=False,
                    unknown=FIRST_KEY,
                    extra=p.extra,
                )
            )
    return found


def _for_pitch(
    offset_cents: float | None, tuning: TuningState, views: Sequence[PointView], scoring: Scoring
) -> list[Proposal]:
    money, flat = scoring.money, -(offset_cents or 0.0)
    if flat <= money["pitch_raise_over_cents"]:
        overdue = statement("job.overdue", "tuning")
        return [Proposal(job="tuning", why=overdue, chance=1.0)] if tuning.neglected else []
    weak, unseen = string_state(views, money["weak_string_points"])
    breaking = "weak" if weak else "sound"
    extra = Extra(
        job="single string",
        what=statement("job.strings that may break"),
        **money["strings_that_break"][breaking],
    )
    if not (weak or flat > money["ask_technician_over_cents"]):
        raised = Proposal(
            job="pitch raise", why=statement("job.flat", "pitch", cents=flat), chance=1.0, extra=extra
        )
        return [raised, *_advice_if(unseen, flat, money["advice_chance_unseen_strings"])]
    why = statement("job.flat, weak strings" if weak else "job.flat", "pitch", cents=flat)
    return [
        Proposal(job="pitch advice", why=why, chance=1.0),
        Proposal(job="pitch raise", why=why, chance=money["raise_chance_when_asked"], extra=extra),
        Proposal(job="tuning", why=statement("job.tuned lower", "pitch"), chance=1.0),
    ]


def string_state(views: Iterable[PointView], points: Sequence[str]) -> tuple[bool, list[str]]:
    """Whether the strings are known to be old, rusty or spliced; and which points of that nobody looked at."""
    mine = [v for v in views if v.point.id in points]
    weak = any(v.checked and v.share >= WEAK_FROM_SHARE for v in mine)
    return weak, [v.point.id for v in mine if not v.checked]


def _advice_if(unseen: Sequence[str], flat: float, chance: float) -> list[Proposal]:
    """Strings nobody has looked at may turn out old, rusty or spliced: then advice comes first."""
    why = statement("job.flat, strings unseen", "pitch", cents=flat)
    return [
        Proposal(job="pitch advice", why=why, chance=chance, found=False, unknown=point) for point in unseen
    ]
