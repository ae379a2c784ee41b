"""Stops that follow from several signs, each beside a sound neighbour that must not stop.

What stops a purchase is common practice, no source: what a careful technician says to a friend who asks.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest

from pianolab.acoustics.survey_result import Survey
from pianolab.assess import Alert, Assessment, Circumstances, assess_piano, load_prices
from pianolab.assess.scoring import load_scoring
from pianolab.assess.stops import SignRule, StopRule, Way, load_stops, read_stops
from pianolab.checklist import load_checklist
from pianolab.checklist.points import VALUE_OF, Point
from pianolab.errors import BadInput
from pianolab.model import Examiner, Finding, Piano

CHECKLIST, PRICES, SCORING = load_checklist(), load_prices(), load_scoring()
UPRIGHT = Piano(id="p", name="A", kind="upright", asking_price=Decimal(1000))
GRAND = replace(UPRIGHT, kind="grand")
EXAMINERS = (Examiner(name="Ada", role="piano technician"), Examiner(name="Ben", role="layman"))
Values = Mapping[str, Any]
MakeSurvey = Callable[..., Survey]


def found(values: Values, by: str = "Ben") -> list[Finding]:
    """Findings from point and value, of whatever kind the point records."""
    return [
        Finding(visit_id="v", point=point, examiner=by, **{VALUE_OF[CHECKLIST[point].record]: value})
        for point, value in values.items()
    ]


def judge(findings: Iterable[Finding], *, piano: Piano = UPRIGHT, survey: Survey | None = None) -> Assessment:
    return assess_piano(
        piano,
        findings,
        survey=survey,
        checklist=CHECKLIST,
        prices=PRICES,
        circumstances=Circumstances(examiners=EXAMINERS, year=2026),
    )


def stop(result: Assessment, *sources: str) -> Alert:
    """The stop that rests on these."""
    return next(a for a in result.vetoes if {*sources} <= {*a.sources})


DRIVEN: Values = {
    "pins-look": 2,
    "pins-oversize": True,
    "pins-torque": 4.0,
    "tuning-single": 14,
    "tuning-held": False,
}
DEAD_BOARD: Values = {"board-cracks": 2, "board-ribs": 1, "board-crown": False, "board-buzz": True}
BRIDGES: Values = {"bridge-treble": 2, "bridge-top": 2, "bridge-tenor": 2}
TOUCH: Values = {"keys-sticking": 30, "each-silent": 10}
DAMP: Values = {"papers-standing": 2, "bridge-tenor": 3, "board-ribs": 3}


@pytest.mark.parametrize(
    ("bad", "sound"),
    [
        (DRIVEN, {"pins-look": 4, "pins-oversize": False, "pins-torque": 9.0, "tuning-single": 1}),
        ({"pins-look": 2}, {"pins-look": 3}),
        ({"pins-look": 2}, {"pins-look": 2, "pins-torque": 9.0}),
        ({"pins-look": 2}, {"pins-look": 2, "tuning-held": True}),
        ({"pins-oversize": True, "tuning-single": 5}, {"pins-oversize": True, "tuning-single": 1}),
        ({"pins-oversize": True, "tuning-single": 5}, {"pins-oversize": False, "tuning-single": 5}),
        ({"pins-glue": True, "pins-torque": 4.2}, {"pins-glue": True, "pins-torque": 8.0}),
        ({"pins-torque": 4.0, "tuning-held": False}, {"pins-torque": 4.0, "tuning-held": True}),
        (DEAD_BOARD, {"board-cracks": 3, "board-ribs": 5, "board-crown": True, "board-buzz": False}),
        (DEAD_BOARD, {"board-cracks": 3, "board-ribs": 4, "board-crown": False, "board-buzz": False}),
        ({"board-ribs": 1}, {"board-ribs": 3}),
        (BRIDGES, {"bridge-treble": 2, "bridge-top": 3, "bridge-tenor": 3}),
        ({"bridge-treble": 2, "each-treble": 2}, {"bridge-treble": 3, "each-treble": 2}),
        ({"bridge-bearing": 1}, {"bridge-bearing": 3}),
        ({"bridge-bearing": 2, "each-treble": 1}, {"bridge-bearing": 3, "each-treble": 1}),
        ({"plate-mended": True}, {"plate-mended": False}),
        ({"plate-cracks-pins": True}, {"plate-cracks-pins": False}),
        ({"plate-bolts": 1}, {"plate-bolts": 3}),
        ({"frame-posts": 2}, {"frame-posts": 3}),
        ({"frame-posts": 3, "tuning-held": False}, {"frame-posts": 3, "tuning-held": True}),
        ({"papers-flood": True}, {"papers-flood": False, "case-lid-top": 2}),
        ({"case-lid-water": True, "pins-rust": 2}, {"case-lid-water": True, "pins-rust": 4}),
        ({"hammers-moth": 1}, {"hammers-moth": 3}),
        ({"hammers-moth": 2, "case-inside": 2}, {"hammers-moth": 2, "case-inside": 4}),
        ({"case-pests": True}, {"case-pests": False, "papers-pests": True}),
        (TOUCH, {"keys-sticking": 2, "each-silent": 1}),
        (TOUCH, {"keys-sticking": 30, "each-silent": 0}),
        (DAMP, {"papers-standing": 4, "bridge-tenor": 3, "board-ribs": 3}),
        (DAMP, {"papers-standing": 2, "bridge-tenor": 3, "board-ribs": 5}),
        (DAMP, {**DAMP, "pins-torque": 8.0}),
        ({"board-ribs": 2, "board-edges": 2}, {"board-ribs": 2, "board-buzz": True}),
        (DEAD_BOARD, {"board-crown": False, "each-buzz": 5, "each-treble": 2}),
        ({"type-plastic": True, "each-silent": 3}, {"type-plastic": True, "each-silent": 0}),
        ({"type-plate": False, "tuning-held": False}, {"type-plate": False, "tuning-held": True}),
        ({"strings-rust": 1, "tuning-pitch": -150}, {"strings-rust": 1, "tuning-pitch": -30}),
    ],
    ids=lambda v: " ".join(f"{p}={x}" for p, x in v.items()),
)
def test_signs_together_stop_and_their_sound_neighbour_does_not(bad: Values, sound: Values) -> None:
    assert judge(found(bad)).vetoes
    assert not judge(found(sound)).vetoes


def test_firm_pins_turn_the_doubt_about_a_damp_past_into_a_warning() -> None:
    told = judge(found({**DAMP, "pins-torque": 8.0}))
    assert not told.vetoes
    assert [a.says.subject for a in told.warnings if {*DAMP} <= {*a.sources}] == [
        "damp or dry past, pins firm"
    ]


@pytest.mark.parametrize(
    ("bad", "sound"),
    [
        ({"frame-beams": 2}, {"frame-beams": 3}),
        ({"frame-beams": 3, "tuning-held": False}, {"frame-beams": 3}),
    ],
)
def test_the_frame_of_a_grand(bad: Values, sound: Values) -> None:
    assert judge(found(bad), piano=GRAND).vetoes
    assert not judge(found(sound), piano=GRAND).vetoes


def test_a_stop_names_its_signs_the_measured_ones_with_their_figures() -> None:
    worst = judge(found(DRIVEN)).vetoes[0]
    assert worst.text.startswith("The pin block no longer holds the pins: turning force of the pins: 4 N·m;")
    assert "14 notes" in worst.text
    assert {*DRIVEN} == {*worst.sources}
    assert [a.text for a in judge(found({"pins-torque": 3.0})).vetoes] == [
        "The tuning pins turn so easily that they can't hold (turning force of the pins: 3 N·m)."
    ]


def test_reasons_come_worst_first_and_of_two_as_grave_the_measured_one() -> None:
    alerts = judge(found({**DRIVEN, "plate-cracks": True, "touch-repetition": 1, "keys-pins": 1})).alerts
    assert alerts[0].source == "plate-cracks"
    order = [(a.kind != "veto", -a.severity) for a in alerts]
    assert order == sorted(order)
    assert [a.source for a in alerts if a.kind == "warning"][:1] == ["touch-repetition"]
    measured = {p.id for p in CHECKLIST if p.record in ("count", "reading")}
    twins = judge(found({"papers-hire": False, "papers-ownership": False, "pins-torque": 3.0})).vetoes
    assert {a.severity for a in twins} == {0.9}
    assert [a.source in measured for a in twins] == [True, False, False]


def test_slipped_strings_counted_or_heard_are_one_sign(make_survey: MakeSurvey) -> None:
    keys = (20, 26, 32, 38, 44)
    heard = make_survey(slipped=keys)
    thicker = found({"pins-oversize": True})
    by_both = judge([*thicker, *found({"tuning-single": 5})], survey=heard)
    by_ear, by_recording = judge([*thicker, *found({"tuning-single": 5})]), judge(thicker, survey=heard)
    for result in (by_both, by_ear, by_recording):
        (veto,) = result.vetoes
        assert "second chance" in veto.text
    assert by_both.vetoes[0].text.count("(G#2") == by_recording.vetoes[0].text.count("(G#2")
    assert not judge(thicker, survey=make_survey()).vetoes
    assert not judge([], survey=heard).vetoes


def test_nine_slipped_strings_found_in_both_ways_stop_once(make_survey: MakeSurvey) -> None:
    keys = tuple(range(20, 74, 6))
    (both,) = judge(found({"tuning-single": 9}), survey=make_survey(slipped=keys)).vetoes
    assert {*both.sources} == {"tuning-single", "listening"}
    assert both.how_sure == "seen"


GRADED = [p for p in CHECKLIST.for_piano(UPRIGHT) if p.record == "grade"]


@pytest.mark.parametrize("point", GRADED, ids=lambda p: p.id)
def test_one_middling_grade_stops_nothing(point: Point) -> None:
    assert not judge(found({point.id: 3})).vetoes


def test_middling_grades_all_over_stop_only_where_one_story_explains_them() -> None:
    middling = {p.id: 3 for p in GRADED}
    assert not judge(found(middling)).vetoes
    past = judge(found({**middling, "papers-heating": True})).vetoes
    assert [a.says.subject for a in past] == ["damp or dry past at work"]


# ---- who says it ---------------------------------------------------------------------------------------------


def test_a_technician_clears_a_laymans_suspicion_and_finds_what_he_missed() -> None:
    worry, clear = found({"pins-look": 2}), found({"pins-look": 5}, by="Ada")
    assert judge(worry).vetoes
    for order in ([*worry, *clear], [*clear, *worry]):
        assert not judge(order).vetoes
        assert not judge(order).warnings
    missed, split = found({"pinblock-cracks": 5}), found({"pinblock-cracks": 2}, by="Ada")
    for order in ([*missed, *split], [*split, *missed]):
        (veto,) = judge(order).vetoes
        assert (veto.source, veto.how_sure, veto.final) == ("pinblock-cracks", "seen", True)


def test_nobody_stands_above_another_without_a_role() -> None:
    two = [*found({"bridge-treble": 1}, by="Cleo"), *found({"bridge-treble": 4}, by="Ben")]
    (veto,) = judge(two).vetoes
    assert veto.how_sure == "possible"


def test_a_technician_who_looked_at_one_section_clears_only_that_section() -> None:
    worry = [replace(f, place="treble") for f in found({"bridge-treble": 1})]
    bass = [replace(f, place="bass") for f in found({"bridge-treble": 5}, by="Ada")]
    assert judge([*worry, *bass]).vetoes
    assert not judge([*worry, *found({"bridge-treble": 5}, by="Ada")]).vetoes


def test_papers_are_settled_by_papers_whoever_says_otherwise() -> None:
    hired = found({"papers-hire": False})
    (veto,) = judge(hired).vetoes
    assert "lender" in veto.confirm_by
    assert "technician" not in veto.sentence()
    assert veto.sentence().endswith("Who can settle it: papers from the seller or the lender.")
    still = judge([*hired, *found({"papers-hire": True}, by="Ada")])
    assert [a.source for a in still.vetoes] == ["papers-hire"], "a technician can't say whose it is"


def test_what_a_technician_found_is_final_and_what_a_layman_saw_is_to_be_settled() -> None:
    seen, settled = (judge(found({"frame-posts": 2}, by=who)).vetoes[0] for who in ("Ben", "Ada"))
    assert (seen.final, settled.final) == (False, True)
    assert seen.sentence() == "The back posts are parting from the frame. Who can settle it: technician."
    assert settled.sentence().endswith("No further look would lift that.")
    assert judge(found({"plate-mended": True})).vetoes[0].final, "no look tells how long a weld lasts"


def test_one_sign_more_never_makes_a_stop_less_sure_or_less_settled() -> None:
    three = {"board-cracks": 2, "board-ribs": 2, "board-crown": False}
    before = judge(found(three, by="Ada"))
    after = judge([*found(three, by="Ada"), *found({"board-buzz": True})])
    assert stop(before, *three).final
    assert stop(after, *three).final
    assert stop(after, *three).how_sure == stop(before, *three).how_sure == "seen"


# ---- the file of rules ---------------------------------------------------------------------------------------


def value_of(way: Way) -> Any:
    """A value that sets a way off, by a hair."""
    if way.at_grade is not None or way.on_answer is not None:
        return way.at_grade if way.at_grade is not None else way.on_answer
    return int(way.over) + 1 if way.over is not None else (way.under or 0.0) - 0.1


def signs(rule: StopRule) -> list[SignRule]:
    """As few signs as it takes, each once."""
    return list({sign[0].point: sign for sign in (*rule.needs, *rule.of[: rule.least])}.values())


def at_points(chosen: Iterable[SignRule]) -> list[Finding]:
    return found({way.point: value_of(way) for sign in chosen for way in sign[:1]})


def kind_for(rule: StopRule) -> Piano:
    fits = [
        p
        for p in (UPRIGHT, GRAND)
        if all(CHECKLIST[way.point].applies(p) for s in signs(rule) for way in s[:1])
    ]
    return fits[0]


def tells(result: Assessment, rule: StopRule) -> bool:
    return any(a.says.subject == rule.id for a in result.alerts)


@pytest.mark.parametrize("rule", load_stops(), ids=lambda r: r.id)
def test_every_rule_holds_with_its_signs_and_without_none_of_them(rule: StopRule) -> None:
    piano, chosen = kind_for(rule), signs(rule)
    stopped = judge(at_points(chosen), piano=piano)
    assert stopped.vetoes or tells(stopped, rule)
    for i in range(len(chosen)):
        rest = [sign for n, sign in enumerate(chosen) if n != i]
        assert not tells(judge(at_points(rest), piano=piano), rule), chosen[i]
    for answer in rule.unless:
        spoken_against = [*at_points(chosen), *at_points([answer])]
        assert not tells(judge(spoken_against, piano=piano), rule)


@pytest.mark.parametrize("rule", load_stops(), ids=lambda r: r.id)
def test_every_rule_names_points_and_things_heard_that_there_are(rule: StopRule) -> None:
    heard = {item.key for item in SCORING.heard}
    fits = {"grade": {"at_grade"}, "yes_no": {"on_answer"}}
    for way in (way for sign in (*rule.needs, *rule.of, *rule.unless) for way in sign):
        if way.heard:
            assert way.heard in heard
            assert way.from_keys > 0
        if way.point:
            used = {n for n in ("at_grade", "on_answer", "over", "under") if getattr(way, n) is not None}
            assert used <= fits.get(CHECKLIST[way.point].record, {"over", "under"})
    assert rule.why
    assert rule.source == "practice"


@pytest.mark.parametrize("rule", load_stops(), ids=lambda r: r.id)
def test_worse_grades_never_lift_a_stop(rule: StopRule) -> None:
    worse = [replace(f, grade=1) if f.grade is not None else f for f in at_points(signs(rule))]
    result = judge(worse, piano=kind_for(rule))
    assert result.vetoes if rule.result == "veto" else result.alerts


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ('[[stop]]\nid = "x"', "stops.toml: x: reason: got nothing"),
        ('[[stop]]\nid = "x"\ncolour = 1', "stops.toml: x: colour: got an unknown field"),
    ],
)
def test_a_rule_that_is_not_complete_is_a_clear_line(text: str, line: str) -> None:
    with pytest.raises(BadInput, match=line):
        read_stops(text)
