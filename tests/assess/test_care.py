"""The first-year plan: what stands in it for which piano, and that it always says what it doesn't know."""

from collections.abc import Callable
from datetime import date
from string import Formatter

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pianolab.acoustics.survey_result import Survey
from pianolab.checklist import load_checklist
from pianolab.errors import BadInput
from pianolab.model import Buyer, Finding, Piano, Room
from pianolab.sources import SOURCES
from pianolab.upkeep.care import TUNINGS, CarePlan, _table, care_plan
from pianolab.upkeep.care_facts import MENDED_LATER, MENDED_LATER_TOO

CHECKLIST = load_checklist()
UPRIGHT, GRAND = Piano(name="Dock Road"), Piano(name="Mill Lane", kind="grand")
MakeSurvey = Callable[..., Survey]


def reading(point: str, value: float) -> Finding:
    return Finding(visit_id="v", point=point, reading=value)


def grade(point: str, value: int) -> Finding:
    return Finding(visit_id="v", point=point, grade=value)


def plan_of(*findings: Finding, piano: Piano = UPRIGHT, **more: object) -> CarePlan:
    return care_plan(piano, findings, checklist=CHECKLIST, **more)  # type: ignore[arg-type]


def ids(plan: CarePlan) -> set[str]:
    return {s.id for s in plan.steps}


def test_every_piano_gets_place_air_tunings_and_the_technician() -> None:
    for piano in (UPRIGHT, GRAND):
        plan = plan_of(piano=piano)
        assert {"place", "settle", "first tuning", "second tuning", "technician", "air all year"} <= ids(plan)
        assert plan.to_frame()["what"].tolist()[-1] == "caution"
        assert "technician" in plan.caution


def test_lid_and_carrying_depend_on_the_kind() -> None:
    assert {"lid upright", "movers upright"} <= ids(plan_of())
    assert {"lid grand", "movers grand"} <= ids(plan_of(piano=GRAND))
    assert not {"lid grand", "movers grand"} & ids(plan_of())
    assert "lid prop" in ids(plan_of(grade("case-prop", 1), piano=GRAND))
    assert "lid prop" not in ids(plan_of(piano=GRAND))


@pytest.mark.parametrize(("percent", "step"), [(28.0, "moisten"), (72.0, "dry"), (45.0, "")])
def test_the_air_at_home(percent: float, step: str) -> None:
    plan = plan_of(reading("home-humidity", percent))
    assert ids(plan) & {"moisten", "dry", "check humidity"} == ({step} if step else set())
    if step:
        found = plan.step(step)
        assert found is not None
        assert f"{percent:.0f} %" in found.why
    assert not any("air at home" in text for text in plan.unknown)


def test_unread_air_is_unknown_and_asks_for_a_reading() -> None:
    plan = plan_of()
    assert plan.steps[0].id == "check humidity"
    assert any("air at home" in text for text in plan.unknown)


def test_from_damp_to_dry_it_must_go_slowly() -> None:
    plan = plan_of(reading("home-humidity", 40.0), reading("state-humidity", 60.0))
    found = plan.step("two airs")
    assert found is not None
    assert "60 %" in found.why
    assert "40 %" in found.why
    assert "two airs" not in ids(plan_of(reading("home-humidity", 45.0), reading("state-humidity", 52.0)))


def test_low_pitch_is_raised_or_asked_about(make_survey: MakeSurvey) -> None:
    good = plan_of(survey=make_survey(offset_cents=0.0))
    assert "first tuning" in ids(good)
    assert not ids(good) & {"pitch raise", "ask before raising", "after raise"}
    flat = plan_of(survey=make_survey(offset_cents=-30.0))
    assert {"pitch raise", "after raise"} <= ids(flat)
    assert "first tuning" not in ids(flat)
    far = plan_of(survey=make_survey(offset_cents=-80.0))
    assert "ask before raising" in ids(far)
    assert "pitch raise" not in ids(far)
    rusty = plan_of(grade("strings-rust", 2), survey=make_survey(offset_cents=-30.0))
    asked = rusty.step("ask before raising")
    assert asked is not None
    assert "30 cents flat, and rust on the strings" in asked.why
    assert "pitch raise" not in ids(rusty)
    sharp = plan_of(survey=make_survey(offset_cents=40.0))
    assert "why sharp" in ids(sharp)


def test_pitch_by_the_tuner_counts_where_nothing_was_recorded() -> None:
    plan = plan_of(reading("tuning-pitch", -35.0))
    assert "pitch raise" in ids(plan)
    assert not any(text.startswith("the pitch") for text in plan.unknown)
    assert any("recording" in text for text in plan.unknown)
    assert any(text.startswith("the pitch") for text in plan_of().unknown)


def test_unproven_pins_are_recorded_before_promises_run_out(make_survey: MakeSurvey) -> None:
    unproven = plan_of(survey=make_survey(slipped=[53, 60]))
    assert {"guarantee", "tell the tuner"} <= ids(unproven)
    tell = unproven.step("tell the tuner")
    assert tell is not None
    assert "C#5 and G#5" in tell.why
    held = plan_of(Finding(visit_id="v", point="tuning-held", answer=True))
    assert "recheck holding" in ids(held)
    assert "guarantee" not in ids(held)
    assert "guarantee" in ids(plan_of(Finding(visit_id="v", point="tuning-held", answer=True), holds=False))
    not_looked = Finding(visit_id="v", point="tuning-held", state="not checked", reason="nobody to ask")
    assert "guarantee" in ids(plan_of(not_looked))


def test_new_strings_want_four_tunings_instead_of_two(make_survey: MakeSurvey) -> None:
    day = date(2026, 4, 1)
    new = plan_of(restrung=2025, delivery=day, survey=make_survey(offset_cents=-30.0))
    assert "restrung tunings" in ids(new)
    assert not ids(new) & {"first tuning", "second tuning", "pitch raise"}
    assert "restrung tunings" not in ids(plan_of(restrung=2010, delivery=day))
    with pytest.raises(BadInput, match="restrung: got 2030, need 2026 or earlier"):
        plan_of(restrung=2030, delivery=day)
    with pytest.raises(BadInput, match="delivery: got nothing"):
        plan_of(restrung=2025)


def test_what_may_stop_it_comes_before_everything_else() -> None:
    plan = plan_of(grade("pinblock-cracks", 1), grade("hammers-moth", 2), grade("case-castors", 1))
    soon = plan.step("technician soon")
    assert soon is not None
    assert soon.weeks[0] < 0
    assert {"moth", "unsafe castors"} <= ids(plan)
    assert "technician soon" not in ids(plan_of(grade("pinblock-cracks", 5)))


def test_a_lively_room_at_home_is_said_before_hammers_are_softened() -> None:
    lively = Room(length_m=7, width_m=5, height_m=3.2, surfaces=("tiles", "plaster", "glass"))
    dull = Room(length_m=5, width_m=4, height_m=2.5, surfaces=("carpet", "curtains", "upholstery"))
    assert "lively room" in ids(plan_of(profile=Buyer(name="B", home_room=lively)))
    assert "lively room" not in ids(plan_of(profile=Buyer(name="B", home_room=dull)))
    unknown = plan_of(profile=Buyer(name="B"))
    assert any("size of the room is not known" in text for text in unknown.unknown)


def test_small_faults_are_named_for_the_technician_and_papers_are_not() -> None:
    plan = plan_of(grade("touch-even", 3), reading("papers-tuned", 12.0))
    visit = plan.step("technician")
    assert visit is not None
    assert "evenness of touch" in visit.what
    assert "last tuning" not in visit.what
    assert {p.area for p in CHECKLIST} >= set(MENDED_LATER)


def test_a_loose_lyre_is_named_for_the_technician_wherever_it_is_looked_at() -> None:
    assert {CHECKLIST[p].area for p in MENDED_LATER_TOO}.isdisjoint(MENDED_LATER), "named twice"
    for found, named in ((3, True), (5, False)):
        visit = plan_of(grade("pedal-lyre", found), piano=GRAND).step("technician")
        assert visit is not None
        assert ("lyre and its braces" in visit.what) == named
    scratched = plan_of(grade("case-finish", 3), piano=GRAND).step("technician")
    assert scratched is not None
    assert "finish" not in scratched.what


def test_days_are_counted_from_the_delivery() -> None:
    plan = plan_of(delivery=date(2026, 4, 1))
    settle = plan.step("settle")
    assert settle is not None
    assert settle.dates(date(2026, 4, 1)) == (date(2026, 4, 1), date(2026, 4, 22))
    assert "2026-04-01 to 2026-04-22" in plan.to_frame()["days"].tolist()
    assert set(plan_of().to_frame()["days"]) == {""}


points = [p for p in CHECKLIST.for_piano(UPRIGHT) if p.record == "grade"]


@settings(max_examples=25, deadline=None)
@given(
    st.lists(st.tuples(st.sampled_from([p.id for p in points]), st.integers(1, 5)), max_size=12),
    st.booleans(),
)
def test_any_findings_give_a_whole_plan_in_order(said: list[tuple[str, int]], grand: bool) -> None:
    findings = [grade(point, value) for point, value in said]
    piano = GRAND if grand else UPRIGHT
    known = {p.id for p in CHECKLIST.for_piano(piano)}
    findings = [f for f in findings if f.point in known]
    plan = plan_of(*findings, piano=piano)
    assert plan == plan_of(*findings[::-1], piano=piano)
    firsts = [s.weeks[0] for s in plan.steps if s.weeks[1] < 52]
    assert firsts == sorted(firsts)
    for step in plan.steps:
        assert step.when
        assert "{" not in step.what + step.why
        assert "None" not in step.what + step.why
        assert step.why.strip()


def test_the_table_is_whole() -> None:
    seen = set()
    for step in _table():
        assert set(step) == {"id", "weeks", "if", "what", "why", "who", "source"}
        assert step["source"] in SOURCES
        assert -10 <= step["weeks"][0] <= step["weeks"][1] <= 52
        assert step["id"] not in seen
        seen.add(step["id"])
        assert all(
            name is None or name.isidentifier()
            for t in (step["what"], step["why"])
            for _, name, _, _ in Formatter().parse(t)
        )


def test_every_step_of_the_tuner_but_the_talk_is_a_tuning() -> None:
    of_the_tuner = {raw["id"] for raw in _table() if raw["who"] == "a tuner"}
    assert of_the_tuner - TUNINGS == {"tell the tuner"}
    assert of_the_tuner > TUNINGS


def test_several_readings_of_the_air_count_by_their_mean() -> None:
    plan = plan_of(reading("home-humidity", 35.0), reading("home-humidity", 55.0))
    assert not ids(plan) & {"moisten", "dry", "check humidity"}
    found = plan_of(reading("home-humidity", 68.0), reading("home-humidity", 74.0)).step("dry")
    assert found is not None
    assert "71 %" in found.why
