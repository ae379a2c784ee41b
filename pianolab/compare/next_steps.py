"""What to find out next: the chance that learning something changes the first choice, and what it is worth."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np
from numpy.typing import NDArray

from pianolab.assess import Assessment, Unknown
from pianolab.compare.results import BESIDE_THE_WALK, FINISH, LOOK, NextStep
from pianolab.compare.simulate import (
    LEARNING_DRAWS,
    Array,
    PianoDraws,
    severity,
    turns_out_stopped,
)
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

MISTAKEN = {"seen": 0.05, "likely": 0.2, "possible": 0.5}
"""How often a technician finds that a veto does not hold, by how sure it was; own estimate."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Field:
    """All pianos as the next step sees them: draws, expected utility, who may be bought, who leads."""

    draws: Sequence[PianoDraws]
    utility: Array
    buyable: NDArray[np.bool_]
    weights: Array
    money_per_point: float

    def best_other(self, piano: int) -> float:
        """Highest expected utility among the other pianos that may be bought; minus infinity if none."""
        others = self.buyable.copy()
        others[piano] = False
        return float(self.utility[others].max()) if others.any() else float("-inf")


@dataclass(frozen=True, kw_only=True)
class Learned:
    """What learning a set of unknowns does: the chance that the first choice changes, and its worth."""

    chance: float
    worth: float


def learn(field: Field, piano: int, keys: Iterable[str]) -> Learned:
    """Simulate learning some unknowns of one piano.

    In each draw those unknowns take a value, the piano's expected utility follows, and the first choice is
    made again. The worth is the expected gain over choosing now (expected value of information).
    """
    if not field.buyable[piano]:
        return Learned(chance=0.0, worth=0.0)
    d = field.draws[piano]
    wanted = set(keys)
    chosen = [i for i, key in enumerate(d.unknown) if key in wanted]
    level = d.level[chosen]
    loss = d.loss[:, chosen].astype(np.float32)
    relative = np.exp(-(loss @ severity(level))) / d.mean_factor[:, chosen].prod(axis=1)[:, None]
    means = d.high * d.mean_factor.prod(axis=1)
    change = (field.weights[:-1] * means) @ (relative - 1.0)
    saved = _saved(d, {d.unknown[i]: d.level[i] for i in chosen}) / field.money_per_point
    utility = field.utility[piano] + change + saved
    ruined = float(field.utility[piano] - field.weights[:-1] @ means)
    return _compare(field, piano, utility, turns_out_stopped(level, d.veto_chance[chosen]), ruined=ruined)


def _saved(d: PianoDraws, level_of: Mapping[str, NDArray[np.float32]]) -> Array | float:
    """By how much less than expected the repairs come to, once these unknowns are known."""
    saved: Array | float = 0.0
    for hunt in d.hunts:
        if not level_of.keys().isdisjoint(hunt.chance_of):
            saved = saved + hunt.expected_cost({}) - hunt.expected_cost(level_of)
    return saved


def _compare(
    field: Field, piano: int, utility: Array, stopped: NDArray[np.bool_], *, ruined: float = 0.0
) -> Learned:
    """Choose again in each draw; what is gained is counted draw by draw, so that no change is worth nothing.

    Who bought a piano that turns out to be beyond hope would keep ``ruined``: the money is gone, no aspect counts.
    """
    other = field.best_other(piano)
    leads = field.utility[piano] >= other
    changed = (stopped | (utility < other)) if leads else (~stopped & (utility > other))
    if not np.isfinite(other):
        return Learned(chance=float(changed.mean()), worth=0.0)
    after = np.where(stopped, ruined, utility)
    gain = np.maximum(other - after if leads else after - other, 0.0) * changed
    return Learned(chance=float(changed.mean()), worth=float(gain.mean()))


def find_next_steps(assessments: Sequence[Assessment], field: Field) -> tuple[NextStep, ...]:
    """Everything worth finding out about any piano; what most likely changes the first choice comes first."""
    steps = [
        step
        for i, assessment in enumerate(assessments)
        for group in _groups(assessment)
        if (step := _step(assessment, field, i, group)) is not None
    ]
    steps += [_confirm(a, field, i) for i, a in enumerate(assessments) if a.vetoes]
    steps += [_ask_price(a, field, i) for i, a in enumerate(assessments) if not field.draws[i].price_known]
    return tuple(sorted(steps, key=_order))


def _order(step: NextStep) -> tuple[float, float, float, str, str]:
    minutes = step.minutes if step.minutes is not None else 999.0
    return (-round(step.chance_to_change, 3), -float(step.worth or 0), minutes, step.text, step.piano_id)


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


def _step(assessment: Assessment, field: Field, piano: int, group: list[Unknown]) -> NextStep | None:
    learned = learn(field, piano, [u.key or u.source for u in group])
    first = group[0]
    return NextStep(
        piano_id=assessment.piano.id,
        piano_name=assessment.piano.name,
        action=statement(_action(first.effort, group, heard=assessment.heard)),
        what=_what(first.effort, group),
        effort=first.effort,
        minutes=_minutes(first.effort, group),
        chance_to_change=learned.chance,
        because=_because(group),
        source=first.source,
        worth=Decimal(round(learned.worth * field.money_per_point)),
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


def _confirm(assessment: Assessment, field: Field, piano: int) -> NextStep:
    """Have a veto confirmed: it matters where the piano would come first without it."""
    cleared = float(np.prod([MISTAKEN[v.how_sure] for v in assessment.vetoes]))
    better = field.utility[piano] - field.best_other(piano)
    first = assessment.vetoes[0]
    return NextStep(
        piano_id=assessment.piano.id,
        piano_name=assessment.piano.name,
        action=statement("step.confirm", by=first.confirm_by),
        what=statement("step.veto", stop=first.says),
        effort="technician" if first.confirm_by == "technician" else "look again",
        minutes=None,
        chance_to_change=cleared if better > 0 else 0.0,
        because=statement("step.why", reasons=(statement("unknown.must not be bought"),)),
        source=first.source,
        worth=Decimal(round(max(better, 0.0) * cleared * field.money_per_point))
        if np.isfinite(better)
        else None,
    )


def _ask_price(assessment: Assessment, field: Field, piano: int) -> NextStep:
    d = field.draws[piano]
    total = d.total[:LEARNING_DRAWS]
    utility = field.utility[piano] - (total - d.total.mean()) / field.money_per_point
    learned = _compare(field, piano, utility, np.zeros(len(total), dtype=bool))
    return NextStep(
        piano_id=assessment.piano.id,
        piano_name=assessment.piano.name,
        action=statement("step.ask the price"),
        effort="look again",
        minutes=1.0,
        chance_to_change=learned.chance if field.buyable[piano] else 0.0,
        because=statement("step.why", reasons=(statement("unknown.no price"),)),
        source="asking price",
        worth=Decimal(round(learned.worth * field.money_per_point)),
    )
