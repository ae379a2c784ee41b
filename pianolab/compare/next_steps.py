"""What to find out next: what it is worth against what it costs, and what each answer would make one do."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from math import prod

import numpy as np

from pianolab.assess import Alert, Assessment, PriceList, Unknown
from pianolab.compare.learning import After, Field, Learned, Outcomes, learn, weigh
from pianolab.compare.simulate import LEARNING_DRAWS
from pianolab.compare.steps import BESIDE_THE_WALK, FINISH, LOOK, NextStep, cost_of, load_step_data
from pianolab.statements import Statement, statement

TUNE, RECORD = "tune and record again", "record again"
NEVER_TOLD = "heard.never told"
"""The kind of what no recording tells: somebody has to play it and listen."""
ACTIONS = {
    "record again": ("step.record", "step.record again"),
    "tune and record again": ("step.tune and record", "step.tune and record again"),
    "technician": ("step.technician", "step.technician"),
}
"""What to do for an effort where nothing has been recorded yet, and where something has."""
MANY = 8
"""From so many unchecked points on, finishing the walk is a step of its own."""


@dataclass(frozen=True)
class StepEffort:
    """What a step takes: the kind of effort, and how long the looking itself takes where that is known."""

    effort: str
    minutes: float | None = None


@dataclass(frozen=True, kw_only=True, eq=False)
class Ground:
    """What all steps are made from: the judged pianos, the field, what each outcome leads to, the fees."""

    assessments: Sequence[Assessment]
    field: Field
    outcomes: Outcomes
    prices: PriceList | None

    def step(
        self,
        piano: int,
        action: Statement,
        *,
        takes: StepEffort,
        learned: Learned,
        because: Statement,
        source: str,
        what: Statement | None = None,
        then: tuple[Statement, ...] = (),
    ) -> NextStep:
        """One step with its worth against its cost."""
        cost = cost_of(takes.effort, takes.minutes, self.prices)
        worth = Decimal(round(learned.worth * self.field.money_per_point))
        return NextStep(
            piano_id=self.assessments[piano].piano.id,
            piano_name=self.assessments[piano].piano.name,
            action=action,
            what=what,
            effort=takes.effort,
            minutes=takes.minutes,
            chance_to_change=learned.chance,
            because=because,
            source=source,
            worth=worth,
            payer=cost.payer,
            fee=cost.fee,
            cost=cost.all_of_it,
            then=then,
        )


def find_next_steps(ground: Ground) -> tuple[NextStep, ...]:
    """Everything that could be found out about any piano; what is worth most beyond its cost comes first."""
    found = enumerate(ground.assessments)
    steps = [_step(ground, i, group) for i, a in found for group in _groups(a)]
    steps += [_confirm(ground, i, a.vetoes[0]) for i, a in enumerate(ground.assessments) if a.vetoes]
    priced = [d.price_known for d in ground.field.draws]
    steps += [_ask_price(ground, i) for i, known in enumerate(priced) if not known]
    return tuple(sorted(steps, key=_order))


def _order(step: NextStep) -> tuple[bool, float, float, float, str, str]:
    minutes = step.minutes if step.minutes is not None else 999.0
    beyond = float(step.net or 0)
    # Of what doesn't pay, what would be worth most comes first: its cost may be somebody else's, or fall.
    rank = beyond if step.pays else float(step.worth or 0)
    return (not step.pays, -rank, -round(step.chance_to_change, 3), minutes, step.source, step.piano_id)


def _groups(assessment: Assessment) -> list[list[Unknown]]:
    """Unknowns that one and the same action settles; each point to look at again stands alone.

    A recording after a tuning settles what any new recording would; where the tuning hides much, recording
    again before it is no step. Where many points are left, finishing the walk is a step of its own besides.
    """
    widest: dict[str, Unknown] = {}
    for u in assessment.unknowns:
        key = u.key or u.source
        if key not in widest or u.width > widest[key].width:
            widest[key] = u
    groups: dict[str, list[Unknown]] = {}
    for key, u in widest.items():
        groups.setdefault(key if u.effort == "look again" else u.effort, []).append(u)
    if TUNE in groups and RECORD in groups:
        groups[TUNE] += groups[RECORD]
        if assessment.hidden is not None:
            del groups[RECORD]
    again = [u for u in widest.values() if u.effort == "look again" and u.source not in BESIDE_THE_WALK]
    if len(again) >= MANY:
        groups["the walk"] = again
    return [
        sorted(group, key=lambda u: (u.effort != effort, -u.width, u.text))
        for effort, group in groups.items()
    ]


def _step(ground: Ground, piano: int, group: list[Unknown]) -> NextStep:
    assessment, first = ground.assessments[piano], group[0]
    keys = [u.key or u.source for u in group]
    return ground.step(
        piano,
        statement(_action(first.effort, group, heard=assessment.heard)),
        what=_what(first.effort, group),
        takes=StepEffort(first.effort, _minutes(first.effort, group)),
        learned=learn(ground.field, piano, keys),
        because=_because(group),
        source=first.source,
        then=ground.outcomes.once_known(piano, keys),
    )


def _minutes(effort: str, group: list[Unknown]) -> float | None:
    """Points are looked at one after another; one recording or one visit settles all it can at once."""
    minutes = [u.minutes for u in group if u.minutes is not None]
    if not minutes or effort == TUNE:
        return None
    return sum(minutes) if effort == "look again" else max(minutes)


def _action(effort: str, group: Sequence[Unknown], *, heard: bool) -> str:
    """The kind of statement that says what to do; nothing is done again that was never done."""
    if effort == "look again":
        by_ear = group[0].what.kind == NEVER_TOLD
        return FINISH if len(group) > 1 else "step.play and listen" if by_ear else LOOK
    first_time, again = ACTIONS[effort]
    return again if heard else first_time


def _what(effort: str, group: Sequence[Unknown]) -> Statement:
    """What it tells: the first few of the unknowns, and how many more."""
    if effort == "look again" and len(group) > 1:
        return statement("step.points open", count=len(group), first=group[0].what)
    shown = tuple(u.what for u in group[: 2 if effort == TUNE else 3])
    more = len(group) - len(shown)
    if more and effort != TUNE:
        return statement("step.these and more", these=shown, count=more)
    return statement("step.these", these=shown)


def _because(group: Sequence[Unknown]) -> Statement:
    """Why it is not known: the first two reasons; one that nobody has looked yet takes the others in."""
    reasons = tuple(dict.fromkeys(u.why for u in group))[:2]
    unseen = [r for r in reasons if r.kind == "unknown.not checked"]
    if unseen and len(reasons) > 1:
        others = tuple(r for r in reasons if r not in unseen)
        reasons = (statement("unknown.some not yet", others=others),)
    stops = any(u.veto_chance > 0 for u in group)
    return statement("step.why, and it could stop" if stops else "step.why", reasons=reasons)


def _confirm(ground: Ground, piano: int, worst: Alert) -> NextStep:
    """Have a stop settled; it matters where the piano would be bought without it."""
    assessment, data = ground.assessments[piano], load_step_data()
    settles = data.settled_by(worst)
    cleared = prod(data.settled_by(v).clears[v.how_sure] for v in assessment.vetoes if not v.final)
    open_still = not any(v.final for v in assessment.vetoes)
    better = float(ground.field.utility[piano]) - ground.field.best_other(piano)
    chance = cleared if open_still and better > 0 else 0.0
    return ground.step(
        piano,
        statement("step.confirm", by=worst.confirm_by),
        what=statement("step.veto", worst.source, stop=worst.says),
        takes=StepEffort(settles.effort),
        source=worst.source,
        learned=Learned(chance=chance, worth=chance * better if np.isfinite(better) else 0.0),
        because=statement("step.why", reasons=(statement("unknown.must not be bought"),)),
        then=ground.outcomes.once_cleared(piano) if open_still else (),
    )


def _ask_price(ground: Ground, piano: int) -> NextStep:
    d = ground.field.draws[piano]
    total = d.total[:LEARNING_DRAWS]
    utility = ground.field.utility[piano] - (total - d.total.mean()) / ground.field.money_per_point
    after = After(utility=utility, unfit=np.zeros(len(total), dtype=bool))
    buyable = ground.field.buyable[piano]
    return ground.step(
        piano,
        statement("step.ask the price"),
        takes=StepEffort("look again", 1.0),
        source="asking price",
        learned=weigh(ground.field, piano, after) if buyable else Learned(chance=0.0, worth=0.0),
        because=statement("step.why", reasons=(statement("unknown.no price"),)),
    )
