"""The title of a chart says what the chart shows: of which piano, in which register, and of which it is not known."""

from dataclasses import replace
from decimal import Decimal

import numpy as np
import pytest

from pianolab.checklist import load_checklist
from pianolab.figures import (
    plan_brightness,
    plan_costs,
    plan_damper,
    plan_instrument,
    plan_keyboard,
    plan_ranks,
    plan_tuning,
    plan_unison,
)
from pianolab.model import Finding, Piano
from tests.figures.make import make_comparison, make_survey

EVEN = {key: {"unison_cents": 0.4, "off_curve_cents": 0.3, "brightness_dev": 0.2} for key in range(1, 89)}
UNKNOWN = {
    key: dict.fromkeys(("unison_cents", "off_curve_cents", "brightness_dev", "release_20_s"), np.nan)
    for key in range(1, 89)
}
NAMES = {"p0": "Attic", "p1": "Barn", "p2": "Cellar"}
CASES = [
    (plan_unison, {"unison_cents": 9.0}, "keys with strings apart", "No key has its strings far apart"),
    (
        plan_tuning,
        {"off_curve_cents": -9.0},
        "keys off its own curve",
        "No key is off the curve of its own instrument",
    ),
    (
        plan_brightness,
        {"brightness_dev": 9.0},
        "keys that sound unlike their neighbours",
        "No key sounds unlike its neighbours",
    ),
    (plan_damper, {"faults": "damper"}, "slow dampers", "No damper was found slow"),
]


def heard(*, keys=(), wrong=None, base=None):
    changes = {k: {**v, **(wrong if k in keys else {})} for k, v in (base or EVEN).items()}
    return make_survey(changes=changes)


def title(plan, **surveys) -> str:
    return plan(surveys, {i: NAMES[i] for i in surveys}).title


@pytest.mark.parametrize(("plan", "wrong", "what", "none"), CASES)
def test_it_names_the_piano_and_where(plan, wrong, what, none) -> None:
    fine, treble = heard(), heard(keys=range(54, 60), wrong=wrong)
    assert title(plan, p0=fine, p1=treble) == f"Only Barn has {what}: 6, mostly in the treble"
    assert title(plan, p0=treble, p1=fine) == f"Only Attic has {what}: 6, mostly in the treble"
    assert title(plan, p0=fine, p1=fine) == none
    two = heard(keys=(1, 60), wrong=wrong)
    assert title(plan, p0=treble, p1=two) == f"Attic has most {what}: 6, mostly in the treble"
    assert title(plan, p0=fine, p1=two) == f"Only Barn has {what}: A0 and G#5"
    spread = heard(keys=(1, 2, 30, 31, 60, 61), wrong=wrong)
    assert title(plan, p0=fine, p1=spread) == f"Only Barn has {what}: 6, all over the keyboard"


@pytest.mark.parametrize(("plan", "wrong", "what", "none"), CASES)
def test_unknown_is_neither_good_nor_bad(plan, wrong, what, none) -> None:  # noqa: ARG001
    blind = heard(base=UNKNOWN)
    assert title(plan, p0=heard(), p1=blind) == f"{none}; of Barn it is not known"
    assert title(plan, p0=blind, p1=blind).endswith("not known")
    assert none not in title(plan, p0=blind, p1=blind)


def test_ranks_say_how_often() -> None:
    c = make_comparison()
    leader = plan_ranks(c).ranks[0].mark.name
    assert plan_ranks(c).title == f"{leader} comes first in most tries"
    half = replace(
        c,
        standings=tuple(
            replace(s, rank_shares=(0.4 if i == 0 else 0.2, 0.3, 0.2, 0.1)) for i, s in enumerate(c.standings)
        ),
    )
    assert (
        plan_ranks(half).title
        == f"{leader} comes first more often than any other, but not in half of the tries"
    )
    assert plan_ranks(replace(half, none_fit=0.6)).title == "In most tries none is fit to buy"


def costs_title(totals: dict[int, int | None], budget: int | None) -> str:
    c = make_comparison()
    standings = tuple(
        replace(
            s,
            total_p10=None if totals[i] is None else Decimal(totals[i]) - 100,
            total_p50=None if totals[i] is None else Decimal(totals[i]),
            total_p90=None if totals[i] is None else Decimal(totals[i]) + 100,
        )
        for i, s in enumerate(c.standings)
    )
    return plan_costs(
        replace(c, standings=standings, profile=replace(c.profile, budget=budget and Decimal(budget)))
    ).title


def test_money_says_which_costs_least_and_which_is_over_the_budget() -> None:
    a, b, c, d = (s.piano.name for s in make_comparison().assessments)
    assert costs_title({0: 3000, 1: 2000, 2: 5000, 3: 4000}, 4500) == (
        f"At the prices asked {b} costs least in the end; {c}: over the budget"
    )
    assert costs_title({0: 2050, 1: 2000, 2: 5000, 3: None}, None) == (
        f"At the prices asked {b} and {a} cost least in the end; of {d} the total is not known"
    )
    assert costs_title(dict.fromkeys(range(4)), 4500) == "What any of them will cost in the end is not known"
    assert costs_title({0: 3000, 1: 2000, 2: 5000, 3: 4000}, 1000) == (
        f"At the prices asked all go over the budget, {b} least"
    )


def test_a_piano_nobody_looked_at_is_not_called_sound() -> None:
    piano, checklist = Piano(name="Attic", kind="upright"), load_checklist()
    said = plan_instrument(piano, findings=(), checklist=checklist).title
    assert said.startswith("Attic: nobody has looked at any part")
    one = (Finding(visit_id="v", point="board-cracks", grade=5),)
    assert "no trouble so far, but" in plan_instrument(piano, findings=one, checklist=checklist).title
    assert plan_keyboard(piano).title == "Attic: nothing is known of its keys"
