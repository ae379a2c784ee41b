"""Over every point of the walk: a worse finding never lifts a figure, and looks never cost more than they take away."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from itertools import pairwise

import numpy as np
import pytest

from pianolab.assess import assess_piano, load_prices
from pianolab.checklist import Point, load_checklist
from pianolab.compare.price import PriceAdvice, advise_price
from pianolab.model import Finding, Piano
from tests.compare.panel_entries import supplied_findings
from tests.compare.test_price import BUYER, COMPARABLES, DAY, PIANO

POINTS = load_checklist()
UPRIGHT = replace(PIANO, asking_price=None)
LOOKED = {"scope": "technician", "grade": 5, "by": "technician"}
SOUND = supplied_findings("sound", LOOKED, UPRIGHT, None, POINTS, leave_out=())
GRADED = [p for p in POINTS if p.record == "grade" and p.applies(UPRIGHT)]
AREAS = sorted({p.area for p in GRADED})


def advise(piano: Piano, findings: list[Finding]) -> PriceAdvice:
    a = assess_piano(piano, findings, survey=None, checklist=POINTS, prices=load_prices())
    return advise_price(a, profile=BUYER, extras=np.full(100, 490.0), comparables=COMPARABLES, on=DAY)


def most(findings: list[Finding]) -> Decimal:
    """The sum above which to walk away; nothing where no price is named."""
    return advise(UPRIGHT, findings).walk_away_above or Decimal(-1)


def found(point: Point, grade: int) -> list[Finding]:
    return [replace(f, grade=grade) if f.point == point.id else f for f in SOUND]


@pytest.fixture(scope="module")
def best() -> Decimal:
    return most(SOUND)


def falls(point: Point, best: Decimal) -> bool:
    """Whether the figure never rises as the grade gets worse."""
    figures = [best, *(most(found(point, grade)) for grade in (3, 1))]
    return all(worse <= better for better, worse in pairwise(figures))


@pytest.mark.parametrize("area", AREAS)
def test_a_worse_grade_never_lifts_the_figure(area: str, best: Decimal) -> None:
    assert best > 0
    assert [p.id for p in GRADED if p.area == area and not falls(p, best)] == []


def test_the_search_has_teeth(best: Decimal) -> None:
    """A figure that is lifted is seen: a sound piano beside one whose best is taken to be less."""
    assert not falls(GRADED[0], Decimal(-2))
    assert falls(GRADED[0], best)


def test_looks_alone_lower_the_figure_and_end_nothing(best: Decimal) -> None:
    """All that only looks, at grade 2, takes off some of the worth, never all of it; it is no reason for no price."""
    looks = {p.id for p in GRADED if p.nature == "cosmetic"}
    assert len(looks) >= 4
    shabby = advise(UPRIGHT, [replace(f, grade=2) if f.point in looks else f for f in SOUND])
    assert shabby.named
    assert shabby.walk_away_above is not None
    assert Decimal("0.6") * best < shabby.walk_away_above < best
