"""Whose word counts, one fault once, the ear against the recording, and what age and air say of what nobody saw."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

import pytest

from pianolab.acoustics.survey_result import Survey
from pianolab.assess import Assessment, Circumstances, assess_piano, load_prices
from pianolab.assess.agreement import findings_that_count
from pianolab.checklist import load_checklist
from pianolab.model import Examiner, Finding, Piano

CHECKLIST, PRICES = load_checklist(), load_prices()
PIANO = Piano(id="p", name="A", kind="upright", asking_price=Decimal(1000), year=1980, key_tops="plastic")
EXAMINERS = (Examiner(name="Ada", role="Piano technician"), Examiner(name="Ben", role="pianist"))
MakeSurvey = Callable[..., Survey]
SPRING, AUTUMN = datetime(2026, 4, 1, tzinfo=UTC), datetime(2026, 10, 1, tzinfo=UTC)


def judge(*findings: Finding, piano: Piano = PIANO, survey: Survey | None = None) -> Assessment:
    return assess_piano(
        piano,
        findings,
        survey=survey,
        checklist=CHECKLIST,
        prices=PRICES,
        circumstances=Circumstances(examiners=EXAMINERS, year=2026),
    )


def found(point: str, **value: Any) -> Finding:
    return Finding(visit_id=value.pop("visit_id", "v"), point=point, **value)


def high(result: Assessment, aspect: str) -> float:
    return result.aspect(aspect).high


# ---- whose word ----------------------------------------------------------------------------------------------


def kept(findings: Iterable[Finding], **more: Any) -> list[tuple[str, int | None]]:
    counted = findings_that_count(
        findings, PIANO, checklist=CHECKLIST, technicians=frozenset({"Ada"}), **more
    )
    return [(f.examiner, f.grade) for f in counted]


def test_a_role_that_is_known_counts_above_a_name() -> None:
    worry = found("pins-look", grade=2, examiner="Ben")
    assert not judge(worry, found("pins-look", grade=5, examiner="the tuner")).vetoes
    assert judge(worry, found("pins-look", grade=5, examiner="Cleo")).vetoes
    poser = Examiner(name="Tuner Tom", role="neighbour")
    named = assess_piano(
        PIANO,
        [worry, found("pins-look", grade=5, examiner="Tuner Tom")],
        survey=None,
        checklist=CHECKLIST,
        prices=PRICES,
        circumstances=Circumstances(examiners=(poser,)),
    )
    assert named.vetoes


def test_a_later_look_stands_beside_the_technicians_an_earlier_one_does_not() -> None:
    look = found("pins-look", grade=5, examiner="Ada", visit_id="v1", at=SPRING)
    later = found("pins-look", grade=2, examiner="Ben", visit_id="v2", at=AUTUMN)
    assert kept([look, later]) == [("Ada", 5), ("Ben", 2)]
    assert kept([replace(look, at=AUTUMN), replace(later, at=SPRING)]) == [("Ada", 5)]
    days = {"v1": date(2026, 4, 1), "v2": date(2026, 10, 1)}
    assert kept([look, later], days=days) == [("Ada", 5), ("Ben", 2)]
    assert kept([look, later], days={"v1": date(2026, 10, 1), "v2": date(2026, 4, 1)}) == [("Ada", 5)]


def test_a_later_visit_replaces_an_earlier_one_by_the_same_sort_of_examiner() -> None:
    first = found("bridge-treble", grade=2, examiner="Ben", visit_id="v1")
    again = found("bridge-treble", grade=4, examiner="Cleo", visit_id="v2")
    days = {"v1": date(2026, 4, 1), "v2": date(2026, 10, 1)}
    assert kept([first, again], days=days) == [("Cleo", 4)]
    unlooked = replace(again, grade=None, state="not checked", reason="dark")
    assert kept([first, unlooked], days=days) == [("Ben", 2)]
    assert kept([first, again], days={"v1": days["v1"], "v2": days["v1"]}) == [("Ben", 2), ("Cleo", 4)]


def test_keys_mended_by_the_later_visit_are_gone_whoever_counts() -> None:
    before = [found("keys-sticking", count=1, keys=(k,), examiner="Ben", visit_id="v1") for k in (3, 9)]
    after = found("keys-sticking", count=0, examiner="Cleo", visit_id="v2")
    days = {"v1": date(2026, 4, 1), "v2": date(2026, 10, 1)}
    left = findings_that_count([*before, after], PIANO, checklist=CHECKLIST, days=days)
    assert left == (after,)
    both = findings_that_count(before, PIANO, checklist=CHECKLIST, days=days)
    assert both == tuple(before), "two keys of one visit are two keys"


def test_a_technicians_count_stands_for_the_whole_keyboard() -> None:
    mine = found("keys-sticking", count=5, keys=(1, 2, 3, 4, 5), examiner="Ben")
    theirs = found("keys-sticking", count=1, keys=(3,), examiner="Ada")
    (job,) = [j for j in judge(mine, theirs).repairs.jobs if j.job == "single key repair" and j.found]
    assert job.quantity == 1


@pytest.mark.parametrize("point", ["plate-cracks", "pins-look", "bridge-treble", "board-ribs"])
def test_a_part_that_every_piano_has_is_not_written_off(point: str) -> None:
    gone = judge(found(point, state="does not apply", reason="none here"))
    unseen = judge(found(point, state="not checked", reason="none here"))
    assert gone.aspects == unseen.aspects
    assert gone.points_total == judge().points_total
    assert gone.unknown_vetoes == unseen.unknown_vetoes
    lacking = judge(found("plate-pressure-bar", state="does not apply", reason="none here"))
    assert lacking.points_total == judge().points_total - 1, "an upright may be without a pressure bar"


# ---- a look at one place -------------------------------------------------------------------------------------


def chance(result: Assessment, point: str) -> float:
    return sum(u.veto_chance for u in result.unknown_vetoes if u.source == point)


def test_a_plate_seen_in_the_treble_alone_keeps_the_chance_of_the_rest() -> None:
    treble = found("plate-cracks", answer=False, place="treble")
    bass = found("plate-cracks", state="not checked", reason="too dark", place="bass")
    whole = found("plate-cracks", answer=False)
    assert chance(judge(whole), "plate-cracks") == 0
    assert 0 < chance(judge(treble), "plate-cracks") < chance(judge(), "plate-cracks")
    assert 0 < chance(judge(treble, bass), "plate-cracks") < chance(judge(), "plate-cracks")
    seen_too = replace(bass, state="checked", reason="", answer=False)
    assert chance(judge(treble, seen_too), "plate-cracks") == 0


@pytest.mark.parametrize("point", [p.id for p in CHECKLIST if p.nature == "structural" and p.vetoes])
def test_at_every_structural_point_one_place_is_not_the_whole(point: str) -> None:
    at = CHECKLIST[point]
    piano = PIANO if at.applies(PIANO) else replace(PIANO, kind="grand", year=1930)
    good = {"grade": 5} if at.record == "grade" else {"answer": at.good_answer}
    if at.record in ("count", "reading"):
        good = {at.record: 0 if at.record == "count" else 9.0}
    one, none = judge(found(point, place="bass", **good), piano=piano), judge(piano=piano)
    assert 0 < chance(one, point) < chance(none, point)
    assert chance(judge(found(point, **good), piano=piano), point) == pytest.approx(
        chance(none, point) * (1.0 - at.shows)
    )


def test_one_key_that_is_out_is_not_the_whole_keyboard() -> None:
    keys = (16, 28, 40, 52, 64)
    even = [found("action-downweight", reading=52.0, keys=(k,)) for k in keys]
    one = [replace(f, reading=80.0) if f.keys == (40,) else f for f in even]
    every = [replace(f, reading=80.0) for f in even]
    lost = [high(judge(*even), "touch") - high(judge(*some), "touch") for some in (one, every)]
    assert 0 < lost[0] < 0.3 * lost[1]


# ---- one fault once ------------------------------------------------------------------------------------------

TWICE = [
    ("dampers-leak", "damper", "touch"),
    ("each-buzz", "buzz", "tone"),
    ("each-silent", "silent", "touch"),
]


@pytest.mark.parametrize(("point", "fault", "aspect"), TWICE)
def test_a_fault_seen_and_heard_costs_no_more_than_the_heavier_of_both(
    make_survey: MakeSurvey, point: str, fault: str, aspect: str
) -> None:
    keys = (20, 24, 31, 40)
    seen = found(point, count=len(keys), keys=keys)
    faulty, clean = make_survey(faults={fault: keys}), make_survey()
    by_both = high(judge(seen, survey=faulty), aspect)
    by_eye, by_recording = (
        high(judge(seen, survey=clean), aspect),
        high(judge(survey=faulty), aspect),
    )
    assert by_both == pytest.approx(min(by_eye, by_recording))
    assert by_both < high(judge(survey=clean), aspect)


def test_two_different_faults_still_add_up() -> None:
    leaks, sticking = found("dampers-leak", count=4), found("keys-sticking", count=4)
    both = high(judge(leaks, sticking), "touch")
    assert both < min(high(judge(f), "touch") for f in (leaks, sticking)) - 0.1


def test_a_key_that_sticks_and_is_silent_costs_once_and_two_keys_twice(make_survey: MakeSurvey) -> None:
    """As much as the heavier of both, by eye as by recording; where no key is named, nobody knows that it is one."""
    sticks, silent = (found(p, count=1, keys=(40,)) for p in ("keys-sticking", "each-silent"))
    heard, clean = make_survey(faults={"silent": (40,)}), make_survey()
    for aspect in ("touch", "evenness"):
        by_eye = high(judge(sticks, silent), aspect)
        assert by_eye == pytest.approx(min(high(judge(f), aspect) for f in (sticks, silent)))
        by_both = high(judge(sticks, survey=heard), aspect)
        alone = high(judge(sticks, survey=clean), aspect), high(judge(survey=heard), aspect)
        assert by_both == pytest.approx(min(alone))
    for other in (replace(silent, keys=(41,)), replace(silent, keys=())):
        assert high(judge(sticks, other), "touch") < high(judge(sticks, silent), "touch") - 0.1
    told = judge(sticks, silent).aspect("touch").made_by
    assert len({c.source for c in told}) == len(told), "each reason stands once"


def test_of_many_keys_those_that_are_the_same_cost_once() -> None:
    """Two of three keys stick and are silent, the third sticks only; a worse finding never costs less."""
    sticks, silent = (
        found("keys-sticking", count=3, keys=(3, 9, 40)),
        found("each-silent", count=2, keys=(3, 9)),
    )
    apart = replace(silent, keys=(50, 51))
    touch = [high(judge(*some), "touch") for some in ((sticks, apart), (sticks, silent), (sticks,))]
    assert touch[0] < touch[1] <= touch[2]


def test_slipping_counted_and_heard_costs_once(make_survey: MakeSurvey) -> None:
    counted, heard = found("tuning-single", count=5), make_survey(slipped=(20, 26, 32, 38, 44))
    both = high(judge(counted, survey=heard), "tuning stability")
    alone = [high(judge(counted), "tuning stability"), high(judge(survey=heard), "tuning stability")]
    assert both == pytest.approx(min(alone))


@pytest.mark.parametrize(
    ("finding", "faults", "contrary"),
    [
        (found("dampers-leak", count=0), {"damper": (20, 24, 31)}, True),
        (found("dampers-leak", count=4), {}, True),
        (found("dampers-leak", count=3), {"damper": (20, 24, 31)}, False),
        (found("dampers-leak", count=0), {}, False),
        (found("each-silent", count=0), {"silent": (20, 24, 31, 35)}, True),
        (found("each-treble", grade=5), {"short_sustain": range(60, 70)}, True),
        (found("each-treble", grade=2), {"short_sustain": range(60, 70)}, False),
    ],
    ids=lambda v: f"{v.point} {v.count} {v.grade}" if isinstance(v, Finding) else None,
)
def test_ear_and_recording_that_contradict_each_other_are_named(
    make_survey: MakeSurvey, finding: Finding, faults: dict[str, Iterable[int]], contrary: bool
) -> None:
    result = judge(finding, survey=make_survey(faults=faults))
    told = [w for w in result.warnings if w.says.kind == "warning.contradiction"]
    assert [{*w.sources} for w in told] == [{finding.point, "listening"}] * contrary
    if contrary:
        assert "the recording says otherwise" in told[0].text


def test_pitch_and_unisons_may_contradict_too(make_survey: MakeSurvey) -> None:
    def contrary(survey: Survey, **value: Any) -> list[str]:
        result = judge(found(**value), survey=survey)
        return [w.source for w in result.warnings if w.says.kind == "warning.contradiction"]

    tuned, sour = make_survey(), make_survey(unison_cents=6.0)
    assert contrary(tuned, point="tuning-pitch", reading=-60.0) == ["tuning-pitch"]
    assert contrary(tuned, point="tuning-pitch", reading=-5.0) == []
    assert contrary(tuned, point="tuning-unisons", grade=1) == ["tuning-unisons"]
    assert contrary(sour, point="tuning-unisons", grade=5) == ["tuning-unisons"]
    assert contrary(sour, point="tuning-unisons", grade=2) == []


# ---- without a recording -------------------------------------------------------------------------------------


def test_sour_unisons_leave_open_what_the_ear_said_of_the_treble() -> None:
    treble = found("each-treble", grade=5)
    agree, sour = (
        judge(treble, found("tuning-unisons", grade=4)),
        judge(treble, found("tuning-unisons", grade=1)),
    )
    hidden = [u for u in sour.aspect("tone").unknown if u.key == "hidden by the tuning: sustain"]
    assert {u.effort for u in hidden} == {"tune and record again"}
    assert sour.aspect("tone").low <= agree.aspect("tone").low
    assert not [u for u in agree.unknowns if u.effort == "tune and record again"]
    assert high(sour, "tone") == pytest.approx(high(agree, "tone"))
    assert "have it tuned" in sour.hidden_by_tuning
    assert not agree.hidden_by_tuning
    assert any("have it tuned" in w.text for w in sour.warnings)
    assert "tuning" in {j.job for j in sour.repairs.jobs if j.found}


@pytest.mark.parametrize(("cents", "told"), [(-150.0, True), (-25.0, True), (-10.0, False)])
def test_low_pitch_read_at_the_point_warns_without_a_recording(cents: float, told: bool) -> None:
    warnings = [w for w in judge(found("tuning-pitch", reading=cents)).warnings if w.source == "tuning-pitch"]
    assert bool(warnings) == told
    if told:
        assert f"{-cents:.0f} cents flat" in warnings[0].text
        assert warnings[0].confirm_by == ("technician" if cents < -50 else "the tuner")


def test_a_tuning_of_yesterday_hides_whether_the_pins_hold(make_survey: MakeSurvey) -> None:
    clean, none_out = make_survey(), found("tuning-single", count=0)
    fresh, usual = found("state-prepared", answer=True), found("state-prepared", answer=False)
    as_it_was, tuned = judge(none_out, usual, survey=clean), judge(none_out, fresh, survey=clean)
    low = [r.aspect("tuning stability").low for r in (as_it_was, tuned)]
    assert 0 < low[1] < 0.6 * low[0]
    assert chance(as_it_was, "tuning-single") == 0
    assert chance(tuned, "tuning-single") > 0
    assert {u.effort for u in tuned.aspect("tuning stability").unknown if u.source == "listening"} == {
        "technician"
    }
    assert [w.source for w in tuned.warnings] == ["state-prepared"]
    assert "hides whether the pins hold" in tuned.warnings[0].text


@pytest.mark.parametrize(
    ("point", "value"), [("pins-torque", {"reading": 9.0}), ("tuning-held", {"answer": True})]
)
def test_what_proves_the_pins_answers_a_tuning_of_yesterday(
    make_survey: MakeSurvey, point: str, value: dict[str, Any]
) -> None:
    fresh, clean = found("state-prepared", answer=True), make_survey()
    assert not judge(fresh, found(point, **value), survey=clean).warnings
    weak = {"reading": 4.0} if "reading" in value else {"answer": False}
    assert any(
        w.source == "state-prepared" for w in judge(fresh, found(point, **weak), survey=clean).warnings
    )


# ---- age, air and use for what nobody saw --------------------------------------------------------------------

SCARCE, MUCH = {"year": 2018, "storage_kind": "steady air"}, {"year": 1905, "storage_kind": "damp"}


def unseen_stop(result: Assessment) -> float:
    missed = 1.0
    for u in result.unknown_vetoes:
        missed *= 1.0 - u.veto_chance
    return 1.0 - missed


@pytest.mark.parametrize("name", ["year", "storage_kind"])
def test_age_and_air_bear_on_what_nobody_saw(name: str) -> None:
    good, bad = (replace(PIANO, **{name: with_it[name]}) for with_it in (SCARCE, MUCH))
    assert unseen_stop(judge(piano=good)) < unseen_stop(judge(piano=bad)) - 0.05
    assert judge(piano=good).repairs.p50 < judge(piano=bad).repairs.p50
    unknown = replace(PIANO, **{name: None})
    assert unseen_stop(judge(piano=good)) < unseen_stop(judge(piano=unknown)) < unseen_stop(judge(piano=bad))


def test_what_was_seen_counts_for_itself_whatever_the_age() -> None:
    look = [
        found(p.id, **({"grade": 5} if p.record == "grade" else {"answer": p.good_answer}))
        for p in CHECKLIST.for_piano(PIANO)
        if p.record == "grade" or (p.record == "yes_no" and p.good_answer is not None)
    ]
    young, old = (judge(*look, piano=replace(PIANO, year=year)) for year in (2018, 1972))
    assert [(a.aspect, a.low, a.high) for a in young.aspects] == [
        (a.aspect, a.low, a.high) for a in old.aspects
    ]
    assert young.alerts == old.alerts


@pytest.mark.parametrize("point", ["papers-standing", "hammers-grooves"])
def test_a_worse_past_makes_what_nobody_saw_likelier_bad(point: str) -> None:
    costs = [judge(found(point, grade=grade)).repairs.jobs for grade in (5, 4, 3, 2, 1)]
    job = "pin block" if point == "papers-standing" else "regulation"
    chances = [next(j.chance for j in jobs if j.job == job) for jobs in costs]
    assert chances == sorted(chances)
    assert chances[0] < chances[-1]
    unlooked = next(j.chance for j in judge().repairs.jobs if j.job == job)
    assert chances[0] < unlooked, "a look that finds it sound is never worse than none"


def test_the_papers_of_an_old_piano_are_no_likelier_to_be_bad() -> None:
    young, old = (judge(piano=replace(PIANO, year=year)) for year in (2018, 1905))
    assert chance(young, "papers-hire") == chance(old, "papers-hire") > 0
