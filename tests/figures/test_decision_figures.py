"""Radar, money, ranks, next steps, keyboard map, one note: the plan says what the results say."""

from dataclasses import replace
from decimal import Decimal
from math import atan2, hypot, pi

import pytest

from pianolab.checklist.points import Checklist
from pianolab.errors import BadInput
from pianolab.figures import (
    draw_costs,
    draw_instrument,
    draw_keyboard,
    draw_next_steps,
    draw_note,
    draw_radar,
    draw_ranks,
    plan_costs,
    plan_instrument,
    plan_keyboard,
    plan_next_steps,
    plan_note,
    plan_radar,
    plan_ranks,
)
from pianolab.figures.instrument_drawing import drawing_of
from pianolab.figures.keyboard_map import SEEN
from pianolab.figures.radar_plan import money_share, weight_shares
from pianolab.model import Piano
from pianolab.statements import as_written
from tests.figures.make import (
    make_checklist,
    make_comparison,
    make_findings,
    make_pianos,
    make_survey,
    make_surveys,
    many_names,
)

PARTS = {
    "plate": "Plate and frame",
    "pins": "Pin block and tuning pins",
    "sticking": "Keys",
    "pedals": "Pedals",
}


def test_radar_bands_are_the_intervals() -> None:
    c = make_comparison()
    plan = plan_radar(c.assessments, profile=c.profile)
    assert plan.form == "radar"
    for s, a in zip(plan.series, c.assessments, strict=True):
        assert [(b.low, b.high) for b in s.bands] == [(r.low, r.high) for r in a.aspects]
    fig = draw_radar(plan)
    bands = [t for t in fig.data if t.fill and t.hoveron != "fills"]
    for t, side in zip(bands[:2], ("low", "high"), strict=True):
        far = [hypot(x, y) for x, y in zip(t.x, t.y, strict=True)]
        assert far[:-1] == pytest.approx([getattr(r, side) for r in c.assessments[0].aspects])
        assert (t.x[0], t.y[0]) == (t.x[-1], t.y[-1])
    # The first aspect stands at the top, the second clockwise of it.
    assert (bands[1].x[0], bands[1].y[0]) == pytest.approx((0.0, c.assessments[0].aspects[0].high))
    assert bands[1].x[1] > 0
    assert {t.fill for t in bands} == {"toself", "tonext"}


def test_weights_are_shown_and_add_up() -> None:
    c = make_comparison()
    shares = weight_shares([a.aspect for a in c.assessments[0].aspects], c.profile)
    assert sum(shares) + money_share(c.profile) == pytest.approx(1.0)
    # By hand: the low ends add up to 0.95 with money's 0.05, all ranges are 1.1 wide together, so that each weight
    # lies a 22nd of its range above its low end: touch 0.3 + 0.2 / 22, money 0.05 + 0.2 / 22.
    assert shares[1] == pytest.approx(0.3 + 0.2 / 22)
    assert money_share(c.profile) == pytest.approx(0.05 + 0.2 / 22)
    fig = draw_radar(plan_radar(c.assessments, profile=c.profile))
    crown = [t for t in fig.data if t.hoveron == "fills"][: len(shares)]
    widths = [_angle_of(t) for t in crown]
    assert widths[1] == max(widths)
    assert "touch counts for 31%" in crown[1].text


def _angle_of(block) -> float:
    """How wide a block outside the radar is, seen from the middle, in radians."""
    n = len(block.x) // 2
    ends = [atan2(block.x[i], block.y[i]) for i in (0, n - 1)]
    return (ends[1] - ends[0]) % (2 * pi)


def test_one_instrument_becomes_bars() -> None:
    plan = plan_radar(make_comparison().assessments[:1])
    assert plan.form == "bars"
    assert {t.type for t in draw_radar(plan).data} == {"bar"}


def test_more_than_eight_aspects_become_bars() -> None:
    c = make_comparison()
    wide = [
        replace(a, aspects=a.aspects + tuple(replace(r, aspect=f"{r.aspect} again") for r in a.aspects))
        for a in c.assessments
    ]
    assert plan_radar(wide).form == "bars"
    assert plan_radar(c.assessments).form == "radar"


def test_aspects_must_agree() -> None:
    c = make_comparison()
    with pytest.raises(BadInput, match="different aspects"):
        plan_radar([c.assessments[0], replace(c.assessments[1], aspects=c.assessments[1].aspects[:3])])
    with pytest.raises(BadInput, match="panel: got 'p9'"):
        draw_radar(plan_radar(c.assessments), panel="p9")


def test_radar_hover_says_what_is_unknown() -> None:
    hovers = [
        h
        for t in draw_radar(plan_radar(make_comparison().assessments)).data
        if t.name is None and t.hovertext
        for h in t.hovertext
    ]
    assert sum("widest unknown: tuning pins (not allowed)" in h for h in hovers) == 4 * 6


def test_costs_follow_the_standings() -> None:
    c = make_comparison()
    plan = plan_costs(c)
    for row, a in zip(plan.costs, c.assessments, strict=True):
        s = c.standing(a.piano.id)
        assert row.asking == a.piano.asking_price
        assert row.total == ((s.total_p10, s.total_p50, s.total_p90) if s.total_p10 is not None else None)
    assert "The asking price of D is not known" in plan.alt
    assert "estimates, not quotes" in plan.alt


def test_an_unknown_price_is_never_drawn_as_free() -> None:
    fig = draw_costs(plan_costs(make_comparison()))
    hovers = [h for t in fig.data if t.hovertext for h in t.hovertext if h.startswith("D")]
    assert hovers
    assert all("repairs alone; the asking price is not known" in h.replace("<br>", " ") for h in hovers)
    asking = [t for t in fig.data if t.name == "asking price" and t.hovertext]
    assert len(asking) == 3


def test_a_vetoed_piano_gets_no_offer_mark() -> None:
    offers = [t for t in draw_costs(plan_costs(make_comparison())).data if t.name == "walk away above"]
    assert [t.hovertext[0][0] for t in offers] == ["A", "B"]


def test_every_cost_bar_ends_at_the_likely_total() -> None:
    c = make_comparison()
    tops = [
        t for t in draw_costs(plan_costs(c)).data if t.name == "on top of it, most likely" and t.hovertext
    ]
    ends = [Decimal(str(t.base[0] + t.x[0])) for t in tops[:3]]
    assert ends == [s.total_p50 for s in c.standings[:3]]


def test_ranks_are_the_shares() -> None:
    c = make_comparison()
    fig = draw_ranks(plan_ranks(c))
    assert [list(t.x) for t in fig.data] == [[s.rank_shares[r] for s in c.standings] for r in range(4)]
    assert "C has a reason to stop" in plan_ranks(c).alt


def test_where_none_is_fit_to_buy_is_drawn_and_is_no_rank() -> None:
    c = make_comparison()
    half = [replace(s, rank_shares=tuple(x / 2 for x in s.rank_shares)) for s in c.standings]
    plan = plan_ranks(replace(c, standings=tuple(half), none_fit=0.5))
    assert "In 50 none of them is fit to buy." in plan.alt
    last = draw_ranks(plan).data[-1]
    assert (last.name, list(last.x)) == ("not fit to buy", [pytest.approx(0.5)] * 4)
    assert "none" not in plan_ranks(c).alt


def test_next_steps_are_sorted_and_cut() -> None:
    c = make_comparison()
    chances = [s.chance for s in plan_next_steps(replace(c, next_steps=c.next_steps[::-1])).steps]
    assert chances == sorted(chances, reverse=True)
    assert len(plan_next_steps(c, most=2).steps) == 2
    priced = [
        replace(s, worth=Decimal(w), cost=Decimal(100))
        for s, w in zip(c.next_steps, (120, 900, 90), strict=True)
    ]
    plan = plan_next_steps(replace(c, next_steps=tuple(priced)))
    assert [s.net for s in plan.steps] == [800.0, 20.0], (
        "by what it is worth beyond its cost; what doesn't pay is left out"
    )
    assert list(draw_next_steps(plan).data[0].x) == [800.0, 20.0]
    assert "Nothing that is still unknown" in plan_next_steps(replace(c, next_steps=())).alt
    assert draw_next_steps(plan_next_steps(replace(c, next_steps=()))).data


def test_keyboard_marks_faults_and_what_was_not_judged() -> None:
    piano, survey = make_pianos()[2], make_surveys(3)["p2"]
    plan = plan_keyboard(piano, survey=survey, findings=make_findings()["p2"], checklist=make_checklist())
    found = {(n.key, n.lane) for n in plan.notes if n.found}
    assert (70, "no sound") in found
    assert (50, "one string off") in found
    assert (3, SEEN) in found
    open_keys = {n.key for n in plan.notes if n.lane == "dies too soon" and not n.found}
    assert open_keys == set(range(48, 80))
    assert plan.tested["dies too soon"] == 88 - len(open_keys)
    words = next(n.words for n in plan.notes if n.key == 50 and not n.found)
    assert words == "masked by unison"


def test_a_skipped_key_counts_as_judged_for_nothing() -> None:
    survey = make_survey(changes={30: {"status": "skipped"}})
    plan = plan_keyboard(make_pianos()[0], survey=survey)
    assert set(plan.tested.values()) == {87}


def test_without_a_recording_the_map_claims_nothing() -> None:
    plan = plan_keyboard(make_pianos()[0])
    assert plan.lanes == ()
    assert "unknown, not faultless" in plan.alt
    assert draw_keyboard(plan).data


def test_what_one_blow_never_tells_does_not_hide_what_was_left_open() -> None:
    never = {k: {"not_judged": "voicing=not told from one blow"} for k in range(1, 89)}
    some = never | {k: {"not_judged": "voicing=not told from one blow;buzz=too noisy"} for k in (40, 41)}
    plan = plan_keyboard(make_pianos()[0], survey=make_survey(changes=some))
    assert (
        "On no key told by this recording: stands out. Left open on up to 2 of 88 keys (most for: buzz)."
        in plan.alt
    )
    alone = plan_keyboard(make_pianos()[0], survey=make_survey(changes=never))
    assert alone.alt.endswith("On no key told by this recording: stands out.")


@pytest.mark.parametrize(
    ("first", "last", "whites", "blacks"), [(1, 88, 52, 36), (1, 85, 50, 35), (-8, 99, 63, 45)]
)
def test_the_drawing_has_the_real_number_of_keys(first, last, whites, blacks) -> None:
    piano = Piano(name="x", first_key=first, last_key=last)
    data = {t.name: sum(x is None for x in t.x) for t in draw_keyboard(plan_keyboard(piano)).data if t.name}
    assert (data["white keys"], data["black keys"]) == (whites, blacks)


def test_an_unknown_fault_word_is_refused() -> None:
    survey = make_survey(changes={30: {"faults": "haunted"}})
    with pytest.raises(BadInput, match="key 30: got fault 'haunted'"):
        plan_keyboard(make_pianos()[0], survey=survey)


def test_one_note_with_its_stages() -> None:
    plan = plan_note(make_surveys(1)["p0"], 49)
    assert [s.db_per_s for s in plan.stages] == [18.0, 6.0]
    late = plan.stages[1]
    assert (late.start[1] - late.end[1]) / (late.end[0] - late.start[0]) == pytest.approx(6.0)
    near = min(range(len(plan.time_s)), key=lambda i: abs(plan.time_s[i] - late.end[0]))
    assert late.end[1] == pytest.approx(plan.level_db[near], abs=1.0), "the late line runs along the curve"
    assert "A4 falls 20 dB in" in plan.alt
    assert len(draw_note(plan).data) == 4


def test_the_time_to_fall_is_told_as_heard_with_its_uncertainty() -> None:
    survey = make_survey(changes={49: {"decay_20_s_sd": 0.21}})
    dry = replace(survey, summary=replace(survey.summary, t60_s=None, t60_reason="no room heard"))
    in_room, without = plan_note(survey, 49), plan_note(dry, 49)
    assert " ± 0.21 s, as heard in this room." in in_room.alt
    assert " ± 0.21 s. First" in without.alt
    drawn = draw_note(in_room).data[-1]
    assert (drawn.name, drawn.marker.symbol, drawn.error_x.array[0]) == (
        "20 dB down, as heard in this room",
        "circle",
        0.21,
    )
    assert draw_note(without).data[-1].name == "20 dB down"


@pytest.mark.parametrize(
    ("bound", "alt", "name", "symbol"),
    [
        (
            "<",
            "A4 falls 20 dB in at most 0.40 s: the room rings on.",
            "20 dB down by then: the room rings on",
            "triangle-down-open",
        ),
        (">", "A4 falls 20 dB in at least 0.40 s.", "let go or drowned before 20 dB", "triangle-up-open"),
    ],
)
def test_a_bound_is_drawn_open_on_the_curve_and_said_in_words(bound, alt, name, symbol) -> None:
    survey = make_survey()
    survey.table.loc[survey.table["key"] == 49, ["decay_20_s", "decay_20_bound"]] = (0.4, bound)
    plan = plan_note(survey, 49)
    assert plan.alt.startswith(alt)
    drawn = draw_note(plan).data[-1]
    assert (drawn.name, drawn.marker.symbol, drawn.error_x.array) == (name, symbol, None)
    assert drawn.y[0] in plan.level_db
    assert drawn.y[0] != -20.0


def test_a_late_stage_that_was_not_seen_is_not_drawn() -> None:
    survey = make_survey(changes={49: {"late_db_per_s": float("nan")}})
    row = survey.table["key"] == 49
    survey.table.loc[row, "late_db_per_s"] = float("nan")
    plan = plan_note(survey, 49)
    assert [s.name for s in plan.stages] == ["first stage"]
    assert "the second stage could not be seen" in plan.alt


def test_a_note_without_a_curve() -> None:
    with pytest.raises(BadInput, match="key 60: got no level curve"):
        plan_note(make_surveys(1)["p0"], 60)


@pytest.mark.parametrize("count", [2, 3, 5, 8])
@pytest.mark.parametrize("theme", ["light", "dark"])
def test_all_sizes_of_shortlist_are_drawn(count, theme) -> None:
    c = make_comparison(many_names(count))
    assert len(draw_costs(plan_costs(c), theme).data) >= 2 * count
    assert len(draw_ranks(plan_ranks(c), theme).data) == count
    radar = draw_radar(plan_radar(c.assessments, profile=c.profile), theme)
    assert len({t.xaxis for t in radar.data}) == count


def test_the_instrument_map_shows_the_worst_of_each_part() -> None:
    checklist = Checklist(tuple(replace(p, area=PARTS.get(p.id, p.area)) for p in make_checklist()))
    plan = plan_instrument(make_pianos()[2], findings=make_findings()["p2"], checklist=checklist)
    parts = {p.part: p for p in plan.parts}
    assert parts["Plate and frame"].grade == 1
    assert parts["Plate and frame"].worst == "Iron plate: Crack seen"
    assert parts["Pin block and tuning pins"].words == "not looked at"
    assert parts["Pedals"].checked == 0
    assert "plate and frame (failed)" in plan.alt
    assert "pin block and tuning pins (1 of 1 points)" in plan.alt
    trace = next(t for t in draw_instrument(plan).data if t.name == "place")
    drawn = {
        h.split("<br>")[0]: symbol for h, symbol in zip(trace.hovertext, trace.marker.symbol, strict=True)
    }
    assert (drawn["Plate and frame"], drawn["Pedals"]) == ("x", "circle-open-dot")


def test_a_part_nobody_looked_at_is_never_in_order() -> None:
    checklist = Checklist(tuple(replace(p, area=PARTS.get(p.id, p.area)) for p in make_checklist()))
    plan = plan_instrument(make_pianos()[1], findings=(), checklist=checklist)
    assert {p.words for p in plan.parts} == {"not looked at"}


@pytest.mark.parametrize("kind", ["grand", "upright"])
def test_every_part_of_the_drawing_is_an_area_of_the_checklist(kind) -> None:
    from pianolab.checklist import load_checklist

    assert set(drawing_of(kind).where) <= set(load_checklist().areas)


def test_a_map_names_its_piano() -> None:
    piano = make_pianos()[0]
    assert plan_keyboard(piano).title.startswith(piano.name)
    assert plan_instrument(piano, findings=(), checklist=make_checklist()).title.startswith(piano.name)


def test_long_steps_are_broken_not_cut() -> None:
    c = make_comparison()
    text = "have it tuned and record it again: " + "whether single strings have slipped and " * 5
    plan = plan_next_steps(replace(c, next_steps=(replace(c.next_steps[0], action=as_written(text)),)))
    drawn = draw_next_steps(plan).layout.annotations[0].text
    assert max(len(line) for line in drawn.split("<br>")) < 120
    on_a_page = draw_next_steps(plan, bare=True).layout.annotations[0].text
    assert max(len(line) for line in on_a_page.split("<br>")) < 60
    assert drawn.count("slipped") == 5


def test_many_aspects_or_one_instrument_are_bars_with_letters() -> None:
    c = make_comparison(many_names(8))
    one = plan_radar(c.assessments[:1])
    assert one.form == "bars"
    nine = tuple(
        replace(a, aspects=tuple(replace(a.aspects[i % 6], aspect=f"aspect {i}") for i in range(9)))
        for a in c.assessments
    )
    plan = plan_radar(nine)
    assert plan.form == "bars"
    letters = {t.text[0] for t in draw_radar(plan).data if t.type == "scatter"}
    assert letters == {f"<b>{x}</b>" for x in "ABCDEFGH"}
