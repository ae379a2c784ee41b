"""What a chart must reach, where a line ends, how an instrument is drawn, which grade a finding shows."""

from itertools import pairwise

import pytest

from pianolab.acoustics.survey_result import LevelCurve
from pianolab.figures import draw_note, draw_radar, plan_note, plan_radar
from pianolab.figures.instrument_drawing import RIM, SIDES, TAIL, drawing_of
from pianolab.figures.judged import judged
from pianolab.figures.key_plan import KeyPoint, KeySeries, shown_limits
from pianolab.figures.keyboard_drawing import key_ticks
from pianolab.figures.look import marks_for
from pianolab.model import Finding
from tests.figures.make import POINTS, make_comparison, make_survey

BY_ID = {point.id: point for point in POINTS}


def series(*values: float) -> KeySeries:
    points = tuple(KeyPoint(key=40 + i, value=v, kind="measured") for i, v in enumerate(values))
    return KeySeries(mark=marks_for({"a": "A"})["a"], points=points, gaps=())


@pytest.mark.parametrize("even", [True, False])
def test_limits_reach_at_least_as_far_as_asked_on_both_sides(even: bool) -> None:
    low, high = shown_limits([series(2.0, 3.0, 4.0)], least=(-8.0, 9.0), even=even)
    assert low <= -8.0
    assert high >= 9.0


def test_the_landmarks_are_every_c_and_without_one_the_first_key() -> None:
    """From memory: on 88 keys C1 is key 4 and C8 key 88."""
    keys, names = key_ticks(1, 88)
    assert (keys[0], keys[-1], len(keys), names[3]) == (4, 88, 8, "C4")
    assert key_ticks(5, 8)[0] == [5]


def late_note(floor_db: float = -52.0):
    """A note whose loudest moment comes when three quarters of its curve are over."""
    survey = make_survey(changes={49: {"early_db_per_s": 18.0, "late_db_per_s": 6.0, "hold_s": 2.0}})
    time_s = tuple(0.01 * i for i in range(201))
    level = tuple(-40.0 + 40.0 * t / 1.5 if t <= 1.5 else -18.0 * (t - 1.5) for t in time_s)
    curve = LevelCurve(key=49, time_s=time_s, level_db=level, floor_db=floor_db)
    object.__setattr__(survey, "curves", (curve,) if isinstance(survey.curves, tuple) else {49: curve})
    return survey


def test_no_stage_is_drawn_beyond_the_end_of_the_sound() -> None:
    plan = plan_note(late_note(), 49)
    assert plan.stages
    assert all(s.end[0] <= plan.time_s[-1] for s in plan.stages)


def test_the_noise_is_shown_and_not_more_of_it_than_the_note_needs() -> None:
    for floor_db, lowest in ((-52.0, -60.0), (-20.0, -34.0)):
        plan = plan_note(late_note(floor_db), 49)
        (noise,) = [s for s in draw_note(plan).layout.shapes if s.xref == "paper"]
        assert (noise.y0, noise.y1) == (lowest, floor_db)


@pytest.mark.parametrize("kind", ["upright", "grand"])
def test_the_drawn_keyboard_is_three_octaves_as_on_a_piano(kind: str) -> None:
    """From memory: white keys are equally wide, black ones short and in groups of two and three behind them."""
    strokes = drawing_of(kind).strokes
    black = [
        s.points for s in strokes if s.filled and abs(s.points[1][0] - s.points[0][0]) == pytest.approx(1.5)
    ]
    assert len(black) == 15
    front, back = black[0][0][1], black[0][2][1]
    thin = [s.points for s in strokes if s.weight == "thin" and s.points[1][1] == back]
    between = sorted(p[0][0] for p in thin if p[0][0] == p[1][0] and p[0][1] < front)
    case = next(s.points for s in strokes if len(s.points) == 5 and s.points[2][1] == back and not s.filled)
    edges = [case[0][0], *between, case[1][0]]
    assert len(edges) == 22
    widths = [b - a for a, b in pairwise(edges)]
    assert widths == pytest.approx([widths[0]] * 21)
    length = back - case[0][1]
    assert 0.5 < (back - front) / length < 0.7
    middles = sorted((b[0][0] + b[1][0]) / 2 for b in black)
    behind = [min(range(22), key=lambda i: abs(edges[i] - middle)) for middle in middles]
    assert [i % 7 for i in behind] == [1, 2, 4, 5, 6] * 3
    assert middles == pytest.approx([edges[i] for i in behind])


def test_the_case_seen_from_below_has_every_corner_once_and_none_is_cut() -> None:
    assert RIM[0] == RIM[-1]
    assert len(set(RIM)) == len(RIM) - 1
    assert set(RIM) == set(SIDES) | set(TAIL)


@pytest.mark.parametrize(
    ("point", "given", "grade"),
    [
        ("pins", {"reading": 10.0}, 5),
        ("pins", {"reading": 30.0}, 2),
        ("sticking", {"count": 0}, 5),
        ("sticking", {"count": 3}, 2),
        ("moth", {"answer": False}, 5),
        ("moth", {"answer": True}, 2),
        ("serial", {"answer": True}, None),
        ("lid", {"grade": 4}, 4),
    ],
)
def test_a_finding_shows_the_grade_that_its_point_gives_it(
    point: str, given: dict, grade: int | None
) -> None:
    assert judged(Finding(visit_id="v", point=point, **given), BY_ID[point])[0] == grade


def test_an_anchor_is_told_only_where_there_are_five() -> None:
    assert judged(Finding(visit_id="v", point="lid", grade=4), BY_ID["lid"])[2] == "Small scratches"
    assert judged(Finding(visit_id="v", point="pins", grade=4), BY_ID["pins"])[2] == ""


@pytest.mark.parametrize("kind", ["upright", "grand"])
def test_nothing_is_drawn_outside_the_instrument_but_its_feet_and_keys(kind: str) -> None:
    strokes = drawing_of(kind).strokes
    case = [x for s in strokes if s.weight == "case" for x, _ in s.points]
    assert all(min(case) <= x <= max(case) for s in strokes for x, _ in s.points)


@pytest.mark.parametrize("bare", [False, True])
def test_each_star_has_its_pianos_name_over_it_unless_a_page_writes_it_there(bare: bool) -> None:
    judged_ones = make_comparison()
    plan = plan_radar(judged_ones.assessments, profile=judged_ones.profile)
    texts = [a.text for a in draw_radar(plan, bare=bare).layout.annotations]
    for one in plan.series:
        assert any(one.mark.name in text for text in texts) is not bare
