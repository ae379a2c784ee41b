"""The other side of the instrument: its parts are points of the checklist, and it is shown where trouble lies there."""

import pytest

from pianolab.checklist import load_checklist
from pianolab.figures import draw_instrument, plan_instrument
from pianolab.figures.instrument_drawing import BELLY_Y, RIM, inside, other_side_of
from pianolab.model import Finding, Piano
from pianolab.report.page_charts import ChartBook, maps

CHECKLIST = load_checklist()


def found(**grades: int) -> tuple[Finding, ...]:
    return tuple(Finding(visit_id="v", point=p.replace("_", "-"), grade=g) for p, g in grades.items())


@pytest.mark.parametrize("kind", ["grand", "upright"])
def test_every_part_has_points_that_exist_on_that_kind(kind) -> None:
    sheet = other_side_of(kind)
    known = {p.id for p in CHECKLIST.for_piano(Piano(name="x", kind=kind))}
    assert set(sheet.points) == set(sheet.where)
    for part, ids in sheet.points.items():
        assert set(ids) & known, part
    plan = plan_instrument(Piano(name="x", kind=kind), findings=(), checklist=CHECKLIST, other_side=True)
    assert {p.part for p in plan.parts} == set(sheet.where)
    assert {p.words for p in plan.parts} == {"not looked at"}


@pytest.mark.parametrize("kind", ["grand", "upright"])
@pytest.mark.parametrize("theme", ["light", "dark"])
def test_a_crack_is_marked_where_the_board_is(kind, theme) -> None:
    plan = plan_instrument(
        Piano(name="x", kind=kind), findings=found(board_cracks=2), checklist=CHECKLIST, other_side=True
    )
    assert "soundboard (poor" in plan.alt
    trace = next(t for t in draw_instrument(plan, theme).data if t.name == "place")
    n = next(i for i, h in enumerate(trace.hovertext) if h.startswith("Soundboard"))
    assert (trace.x[n], trace.y[n]) == other_side_of(kind).where["Soundboard"]
    assert trace.marker.symbol[n] == "square"


def test_places_on_a_grand_lie_inside_its_case() -> None:
    places = {k: v for k, v in other_side_of("grand").where.items() if k != "Lyre and pedals"}
    assert all(inside(*place, RIM) for place in places.values())
    assert places["Soundboard"][1] > BELLY_Y
    assert not inside(66, 40, RIM)
    assert not inside(12, 60, RIM), "beside the bent side"


def test_the_page_shows_the_other_side_only_where_trouble_is() -> None:
    piano = Piano(name="x", kind="grand")
    titles = [c.title for c in maps(piano, ChartBook(), found(board_cracks=5), CHECKLIST)]
    assert [t.rpartition(", ")[0].rpartition(", ")[2] for t in titles] == ["seen from above"]
    titles = [c.title for c in maps(piano, ChartBook(), found(frame_beams=2), CHECKLIST)]
    assert titles[1].startswith("x: trouble in rim and beams")
    assert titles[1].endswith("seen from below")


@pytest.mark.parametrize("kind", ["grand", "upright"])
def test_every_point_of_the_board_stands_at_the_board(kind) -> None:
    """A point of the area that the drawing lacks would be trouble that nobody sees on it."""
    of_area = {p.id for p in CHECKLIST.for_piano(Piano(name="x", kind=kind)) if p.area == "Soundboard"}
    assert set(other_side_of(kind).points["Soundboard"]) == of_area
    plan = plan_instrument(
        Piano(name="x", kind=kind), findings=found(board_repairs=2), checklist=CHECKLIST, other_side=True
    )
    assert next(p for p in plan.parts if p.part == "Soundboard").grade == 2
