"""The reasons beside a verdict, worst first: what bars a piano, what is known against it, the work, the price."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from pianolab.assess import Assessment, RepairJob
from pianolab.compare.comparison import Standing
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
