"""Charts over the keys: what is planned is what the survey says, with every gap explained."""

import numpy as np
import pytest

from pianolab.acoustics.judging.tuning_need import need_of_table, wide_cents
from pianolab.errors import BadInput
from pianolab.figures import (
    draw_brightness,
    draw_damper,
    draw_decay,
    draw_tuning,
    draw_unison,
    look,
    plan_brightness,
    plan_damper,
    plan_decay,
    plan_tuning,
    plan_unison,
)
from pianolab.figures.key_chart import PANEL_PX
from pianolab.figures.key_marks import END_KEYS
from pianolab.figures.over_keys import UNISON
from tests.figures.make import make_row, make_survey, make_surveys, many_names

NAMES = {f"p{i}": n for i, n in enumerate(many_names(4))}
ALL = [
    (plan_decay, draw_decay, "decay_20_s"),
    (plan_tuning, draw_tuning, "off_curve_cents"),
    (plan_unison, draw_unison, "unison_cents"),
    (plan_brightness, draw_brightness, "brightness_dev"),
    (plan_damper, draw_damper, "release_20_s"),
]


@pytest.mark.parametrize(("plan", "draw", "column"), ALL)
def test_every_key_is_a_point_or_a_gap_with_a_reason(plan, draw, column) -> None:  # noqa: ARG001
    surveys = make_surveys(3)
    for s in plan(surveys, NAMES).series:
        table = surveys[next(i for i, n in NAMES.items() if n == s.mark.name)].table.set_index("key")[column]
        assert {p.key: p.value for p in s.points} == table.dropna().to_dict()
        assert {g.key for g in s.gaps} == set(table[table.isna()].index)
        assert all(g.reason for g in s.gaps)


@pytest.mark.parametrize(("plan", "draw", "column"), ALL)
@pytest.mark.parametrize("theme", ["light", "dark"])
def test_drawing_shows_every_point_once(plan, draw, column, theme) -> None:  # noqa: ARG001
    planned = plan(make_surveys(3), NAMES)
    fig = draw(planned, theme)
    assert {t.type for t in fig.data} == {"scatter"}
    hovers = [h for t in fig.data if t.hovertext for h in t.hovertext]
    assert len(hovers) == 3 * 88
    assert planned.alt


@pytest.mark.parametrize(("plan", "draw", "column"), ALL)
def test_the_table_has_every_key(plan, draw, column) -> None:  # noqa: ARG001
    frame = plan(make_surveys(2), NAMES).to_frame()
    heard, unheard = frame[frame["key"].notna()], frame[frame["key"].isna()]
    assert len(heard) == 2 * 88
    assert list(unheard["note or reason"]) == ["not recorded"] * 2
    unknown = frame[frame["value"].isna()]
    assert (unknown["note or reason"] != "").all()


def test_bounds_and_masked_notes_are_marked() -> None:
    survey = make_survey(
        masked=(60, 61),
        changes={70: {"faults": "short_sustain"}, 5: {"decay_20_s": 9.0, "decay_20_bound": ">"}},
    )
    series = plan_decay({"p0": survey}, NAMES).series[0]
    kinds = {p.key: p.kind for p in series.points}
    assert (kinds[5], kinds[60], kinds[70], kinds[50]) == ("at least", "masked", "fault", "measured")
    fig = draw_decay(plan_decay({"p0": survey}, NAMES))
    drawn = {
        x: symbol for t in fig.data if t.hovertext for x, symbol in zip(t.x, t.marker.symbol, strict=True)
    }
    assert (drawn[5], drawn[60], drawn[70], drawn[50]) == (
        "triangle-up-open",
        "circle-open",
        "diamond",
        "circle",
    )


def test_what_the_room_hides_is_an_upper_bound_everywhere() -> None:
    """Open mark, no share in the trend or the typical treble note, and said in words; measured it would be all that."""
    hidden = {k: {"decay_20_s": 0.04, "decay_20_bound": "<", "decay_20_s_sd": np.nan} for k in range(50, 89)}
    plan = plan_decay({"p0": make_survey(changes=hidden)}, NAMES)
    measured = plan_decay(
        {"p0": make_survey(changes={k: cells | {"decay_20_bound": "="} for k, cells in hidden.items()})},
        NAMES,
    )
    assert {p.kind for p in plan.series[0].points if p.key >= 50} == {"at most"}
    assert min(v for _, v in plan.series[0].trend if v is not None) > 0.1
    assert min(v for _, v in measured.series[0].trend if v is not None) == 0.04
    assert "A not known (only 0 of 37 keys can be judged)" in plan.alt
    assert "39 only as an upper bound (the room rings on)" in plan.alt
    assert "A 0.0 s" in measured.alt
    assert "upper bound" not in measured.alt
    drawn = {
        (x, symbol, text)
        for t in draw_decay(plan).data
        if t.hovertext
        for x, symbol, text in zip(t.x, t.marker.symbol, t.hovertext, strict=True)
    }
    symbol, text = next((s, h) for x, s, h in drawn if x == 60)
    assert symbol == "triangle-down-open"
    assert "at most 0.04 s<br>at most this (the room rings on)" in text


def test_masked_notes_do_not_move_the_trend() -> None:
    changes = {k: {"decay_20_s": 0.01} for k in range(55, 66)}
    series = plan_decay({"p0": make_survey(masked=tuple(range(55, 66)), changes=changes)}, NAMES).series[0]
    assert min(v for _, v in series.trend if v is not None) > 0.1
    assert dict(series.trend)[60] is None, "no trend where nothing can be trusted"


def test_a_treble_that_is_hidden_is_not_summed_up() -> None:
    assert (
        "A not known (only 8 of 37 keys can be judged)"
        in plan_decay({"p0": make_survey(masked=tuple(range(50, 81)))}, NAMES).alt
    )


def test_silent_key_says_so_in_hover_and_table() -> None:
    plan = plan_decay(make_surveys(3), NAMES)
    gap = next(g for s in plan.series for g in s.gaps)
    assert (gap.key, gap.reason) == (70, "not sounded")
    hovers = [h for t in draw_decay(plan).data if t.name == "not known" for h in t.hovertext]
    assert hovers == ["C  Attic upright<br>F#6 (key 70)<br>not known<br>not sounded"]


def test_a_gap_without_a_reason_says_that() -> None:
    survey = make_survey(
        changes={40: {"decay_20_s": np.nan}, 41: {"decay_20_s": np.nan, "status": "unclear"}}
    )
    gaps = {g.key: g.reason for g in plan_decay({"p0": survey}, NAMES).series[0].gaps}
    assert gaps == {40: "no reason recorded", 41: "key is unclear"}


def test_focus_leaves_the_others_as_grey_lines() -> None:
    plan = plan_decay(make_surveys(3), NAMES, focus="p1")
    assert [s.quiet for s in plan.series] == [True, False, True]
    fig = draw_decay(plan)
    assert {t.name for t in fig.data if t.hovertext} <= {"measured", "at least", "fault", "not known"}
    assert len(plan.rows()) == 88


def test_values_beyond_the_edge_are_drawn_at_the_edge_with_their_value() -> None:
    survey = make_survey(changes={40: {"off_curve_cents": 140.0, "faults": "off_pitch"}})
    plan = plan_tuning({"p0": survey}, NAMES)
    assert plan.limits[1] < 20
    trace = next(t for t in draw_tuning(plan).data if t.hovertext and 40 in t.x)
    at = list(trace.x).index(40)
    assert trace.marker.symbol[at] == "arrow-up"
    assert trace.y[at] == pytest.approx(plan.limits[1])
    assert "140.0 cents" in trace.hovertext[at]


def test_a_piano_flat_as_a_whole_is_said_once() -> None:
    plan = plan_tuning({"p0": make_survey(offset=-61.0)}, NAMES)
    assert "as a whole −61 cents" in plan.alt
    assert max(abs(p.value) for p in plan.series[0].points) < 6


def test_instruments_without_a_survey_are_named() -> None:
    assert "Not recorded, so not known: D  Parlour grand." in plan_decay(make_surveys(3), NAMES).alt


@pytest.mark.parametrize("count", [2, 8])
def test_overlays_of_two_to_eight(count) -> None:
    names = {f"p{i}": n for i, n in enumerate(many_names(count))}
    surveys = {i: make_survey(seed=n, sustain=1.0 - 0.08 * n) for n, i in enumerate(names)}
    fig = draw_decay(plan_decay(surveys, names))
    named = [a for a in fig.layout.annotations if a.text and a.text.startswith("<b>")]
    heights = sorted(a.y for a in named)
    assert len(named) == count
    assert PANEL_PX * min(np.diff(heights)) > look.SMALL_PX, "no name over another"


def test_an_eighty_five_key_piano_keeps_its_compass() -> None:
    fig = draw_decay(plan_decay({"p0": make_survey(last_key=85)}, NAMES))
    assert fig.layout.xaxis.range[1] == 85 + END_KEYS
    white = next(t for t in fig.data if t.name == "white keys")
    assert sum(x is None for x in white.x) == 50


def test_hostile_names_stay_text() -> None:
    fig = draw_decay(plan_decay(make_surveys(1), {"p0": "<a href='javascript:x'>Click</a>"}))
    assert "<a " not in fig.to_json()


def test_strangers_are_refused() -> None:
    with pytest.raises(BadInput, match="surveys: got p9"):
        plan_decay({"p9": make_survey()}, NAMES)
    with pytest.raises(BadInput, match="surveys: got none"):
        plan_decay({}, NAMES)
    with pytest.raises(BadInput, match="focus: got 'p3'"):
        plan_decay(make_surveys(2), NAMES, focus="p3")


def test_the_helper_row_is_unknown_everywhere() -> None:
    assert np.isnan(make_row(40)["decay_20_s"])


def test_a_line_through_a_few_exceptions_is_not_drawn() -> None:
    survey = make_survey(masked=tuple(k for k in range(50, 81) if k not in (60, 62, 64)))
    trend = dict(plan_decay({"p0": survey}, NAMES).series[0].trend)
    assert trend[62] is None
    assert trend[45] is not None


def test_a_wide_unison_is_the_same_in_the_chart_and_in_the_summary() -> None:
    """Keys with one string count in the chart alone: here none of them is wide."""
    survey = make_survey(
        changes={40: {"unison_cents": 1.9}, 41: {"unison_cents": 2.1}, 60: {"unison_cents": 3.0}}
    )
    survey.table["unison_cents"] = survey.table["unison_cents"].where(
        survey.table["key"].isin([40, 41, 60]), 0.3
    )
    plan = plan_unison({"p0": survey}, NAMES)
    assert need_of_table(survey.table).wide == 2
    assert f"(2 of {len(plan.series[0].values())} measured keys over {wide_cents():g} cents)" in plan.alt
    assert UNISON.chart.usual == (0.0, wide_cents())


def title_of(**surveys) -> str:
    return plan_decay(surveys, dict(list(NAMES.items())[: len(surveys)])).title


def test_the_title_of_the_decay_says_which_sings_longest() -> None:
    long, short = make_survey(seed=1), make_survey(seed=2, sustain=0.7)
    assert title_of(p0=long, p1=short) == f"{NAMES['p0']} sings longest in the treble"
    assert title_of(p0=short, p1=long) == f"{NAMES['p1']} sings longest in the treble"
    assert (
        title_of(p0=long, p1=make_survey(seed=2, sustain=0.99)) == "None clearly sings longest in the treble"
    )


def test_the_title_keeps_to_what_is_known() -> None:
    long, hidden = make_survey(seed=1), make_survey(seed=3, sustain=2.0, masked=tuple(range(48, 89)))
    third = make_survey(seed=4, sustain=0.6)
    assert title_of(p0=long, p1=third, p2=hidden).endswith(
        f"longest in the treble; of {NAMES['p2']} it is not known"
    )
    assert title_of(p0=long, p1=hidden) == "Which sings longest in the treble is not known"
    assert title_of(p0=long) == "How long each key sings"


def test_a_top_octave_that_is_shorter_and_keys_let_go_early_count_against_a_title() -> None:
    short_top = {k: {"decay_20_s": 0.05} for k in range(76, 89)}
    long, other = make_survey(seed=1, sustain=2.0, changes=short_top), make_survey(seed=2)
    assert title_of(p0=long, p1=other).endswith("sings longest in the treble, except at the top")
    let_go = {k: {"decay_20_s": 9.0, "decay_20_bound": ">"} for k in range(52, 70)}
    longer, whole, cut = (
        make_survey(seed=1, sustain=1.2),
        make_survey(seed=2),
        make_survey(seed=2, changes=let_go),
    )
    assert title_of(p0=longer, p1=whole) == f"{NAMES['p0']} sings longest in the treble"
    assert title_of(p0=longer, p1=cut) == f"{NAMES['p1']} sings longest in the treble, except at the top"
