"""A look that reaches a part only: what it can't reach stays in doubt until another point has settled it.

That a pin block is proven by the turning force of its pins or by a tuning that lasts, and by no look: common practice.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

import pytest

from pianolab.assess import Assessment, assess_piano, load_prices
from pianolab.checklist import Checklist, load_checklist
from pianolab.model import Finding, Piano
from pianolab.words import say

CHECKLIST = load_checklist()
PIANO = Piano(id="p", name="A", kind="upright", asking_price=Decimal(1000))
BLOCK = "pinblock-cracks"


def judge(*findings: Finding, checklist: Checklist = CHECKLIST) -> Assessment:
    return assess_piano(PIANO, findings, survey=None, checklist=checklist, prices=load_prices())


def found(point: str, **value: Any) -> Finding:
    return Finding(visit_id="v", point=point, **value)


def stop_chance(result: Assessment, point: str = BLOCK) -> float:
    return sum(u.veto_chance for u in result.unknown_vetoes if u.source == point)


SOUND_LOOK = found(BLOCK, grade=5)
UNSEEN = stop_chance(judge())


@pytest.mark.parametrize("grade", [4, 5])
def test_a_look_at_a_part_leaves_the_stop_open_for_the_rest(grade: int) -> None:
    result = judge(found(BLOCK, grade=grade))
    assert stop_chance(result) == pytest.approx((1 - CHECKLIST[BLOCK].shows) * UNSEEN)
    assert 0 < stop_chance(result) < UNSEEN
    (doubt,) = [u for u in result.unknown_vetoes if u.source == BLOCK]
    assert (doubt.effort, doubt.minutes) == ("technician", None), "looking again shows no more"
    assert say(doubt.why) == "only a part of it can be seen"


def test_a_point_that_shows_all_is_settled_by_its_look() -> None:
    whole = Checklist(
        tuple(replace(p, shows=1.0, settled_by=()) if p.id == BLOCK else p for p in CHECKLIST.points)
    )
    assert stop_chance(judge(SOUND_LOOK, checklist=whole)) == 0
    assert stop_chance(judge(found("bridge-treble", grade=5)), "bridge-treble") == 0


@pytest.mark.parametrize(
    ("other", "settled"),
    [
        (found("pins-torque", reading=9.0), True),
        (found("pins-torque", reading=4.0), False),
        (found("pins-torque", reading=25.0), False),
        (found("pins-torque", state="not checked", reason="no technician"), False),
        (found("tuning-held", answer=True), True),
        (found("tuning-held", answer=False), False),
        (found("pins-look", grade=5), False),
    ],
    ids=lambda x: f"{x.point} {x.reading or x.answer}" if isinstance(x, Finding) else "",
)
@pytest.mark.parametrize("looks", [(), (SOUND_LOOK,)], ids=["nobody looked", "looked"])
def test_only_force_and_a_tuning_that_lasts_settle_it(
    other: Finding, settled: bool, looks: tuple[Finding, ...]
) -> None:
    before, after = judge(*looks), judge(*looks, other)
    assert stop_chance(before) > 0
    assert stop_chance(after) == (0 if settled else stop_chance(before))


def test_what_settles_it_never_clears_a_crack_that_was_seen() -> None:
    cracked = judge(found(BLOCK, grade=2), found("tuning-held", answer=True))
    assert [v.source for v in cracked.vetoes] == [BLOCK]
    assert [v.how_sure for v in cracked.vetoes] == ["seen"]


def test_a_later_season_or_another_section_opens_the_doubt_again() -> None:
    spring, autumn = datetime(2026, 4, 1, tzinfo=UTC), datetime(2026, 10, 1, tzinfo=UTC)
    held = replace(found("tuning-held", answer=True, at=spring), examiner="Ana")
    wandered = replace(held, id="w", visit_id="v2", answer=False, at=autumn)
    assert stop_chance(judge(SOUND_LOOK, held)) == 0
    assert stop_chance(judge(SOUND_LOOK, held, wandered)) > 0
    assert (
        stop_chance(judge(SOUND_LOOK, replace(wandered, at=spring), replace(held, visit_id="v3", at=autumn)))
        == 0
    )
    bass, treble = (
        found("pins-torque", reading=x, place=place) for x, place in ((9.0, "bass"), (4.0, "treble"))
    )
    assert stop_chance(judge(SOUND_LOOK, bass, treble)) > 0


def test_more_seen_and_settled_only_narrows_the_scores() -> None:
    order = [judge(), judge(SOUND_LOOK), judge(SOUND_LOOK, found("tuning-held", answer=True))]
    lows = [r.aspect("structure").low for r in order]
    assert lows == sorted(lows)
    assert len(set(lows)) == 3
    assert {r.aspect("structure").high for r in order} == {10.0}


def test_the_repair_keeps_the_chance_of_what_was_not_seen() -> None:
    def chance(*findings: Finding) -> float:
        jobs = [j for j in judge(*findings).repairs.jobs if j.job == "pin block"]
        return sum(p for job in jobs for key, p in job.waits_for if key == BLOCK)

    held = found("tuning-held", answer=True)
    assert chance() > chance(SOUND_LOOK) > chance(SOUND_LOOK, held) == 0
    (job,) = [j for j in judge(SOUND_LOOK).repairs.jobs if j.job == "pin block"]
    assert not job.found
    assert [say(why) for why in job.why] == ["seen only in part: the pin block itself"]
    seen = judge(found(BLOCK, grade=1)).repairs
    assert next(j for j in seen.jobs if j.job == "pin block").found
