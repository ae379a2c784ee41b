"""Still pictures: every value stands where its axis says, nothing is left out, and names at line ends keep apart."""

from itertools import pairwise
from xml.etree.ElementTree import fromstring

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pianolab.figures import draw_decay, draw_ranks, plan_decay, plan_ranks
from pianolab.figures.key_marks import line_ends, spread
from pianolab.figures.sheet import Sheet
from pianolab.figures.svg import Palette, in_both, svg_of
from tests.figures.make import make_comparison, make_surveys, many_names

NAMES = {f"p{i}": n for i, n in enumerate(many_names(4))}
PLOT = {"height": 140, "margin": {"l": 50, "r": 50, "t": 20, "b": 20}}


def picture(sheet: Sheet, **more):
    return fromstring(svg_of(sheet, sheet, Palette(), **({"width": 300, "name": "t"} | more)))


def plotted(**axes) -> Sheet:
    return Sheet(layout=PLOT | {"xaxis": {"range": [0, 10]}, "yaxis": {"range": [0, 1]}} | axes)


def test_a_value_stands_where_its_axis_says() -> None:
    sheet = plotted(yaxis={"range": [-1, 1], "type": "log"})  # from 0.1 to 10
    sheet.add("scatter", x=[0, 5], y=[0.1, 1.0], mode="lines", line={"color": "#000000"})
    (path,) = [
        p.get("d")
        for p in picture(sheet).iter("path")
        if p.get("fill") == "none" and p.get("stroke") == "#000000"
    ]
    # The plot goes from (50, 120) at the lower left to (250, 20): half of 200 px and of 100 px for half of the scale.
    assert path == "M50 120L150 70"
    sheet.layout["yaxis"] = {"range": [0.1, 10]}
    assert "M50 120L150 70" not in svg_of(sheet, sheet, Palette(), width=300, name="t"), (
        "another scale, another place"
    )


def test_a_bar_is_as_long_as_its_value_and_stacks() -> None:
    sheet = plotted()
    sheet.lay_out(barmode="stack", bargap=0.0)
    for value in (3, 4):
        sheet.add(
            "bar",
            y=[0.5],
            x=[value],
            orientation="h",
            marker={"color": "#123456", "line": {"width": 0}},
            hovertext=[f"{value}"],
        )
    bars = [(r.get("x"), r.get("width")) for r in picture(sheet).iter("rect")]
    assert bars == [("50", "60"), ("110", "80")]


def test_a_line_is_cut_where_a_value_is_missing() -> None:
    sheet = plotted()
    sheet.add("scatter", x=[0, 1, 2, 3, 4], y=[0, 1, None, 1, 0], mode="lines", line={"color": "#000000"})
    assert svg_of(sheet, sheet, Palette(), width=300, name="t").count("M50 120L70 20M110 20L130 120") == 1


def test_what_is_not_known_is_an_error_and_never_left_out() -> None:
    sheet = plotted()
    sheet.add("heatmap", z=[[1]])
    with pytest.raises(ValueError, match="heatmap"):
        picture(sheet)


def test_light_and_dark_differ_in_colours_only() -> None:
    with pytest.raises(ValueError, match="1 in light and 2 in dark"):
        in_both({"width": 1}, {"width": 2}, Palette())


def test_every_point_of_a_chart_is_in_its_picture_and_tells_what_it_is() -> None:
    planned = plan_decay(make_surveys(3), NAMES)
    light, dark = (draw_decay.sheet(planned, t, bare=True) for t in ("light", "dark"))
    drawn = fromstring(svg_of(light, dark, Palette(), width=900, name="t"))
    told = [t.text or "" for t in drawn.iter("title")]
    points = sum(len(s.points) + len(s.gaps) for s in planned.series)
    assert sum("time to fall 20 dB" in t or "not known" in t for t in told) == points == 3 * 88
    silent = fromstring(svg_of(light, dark, Palette(), width=900, name="t", told=False))
    assert not [*silent.iter("title")]


def test_hostile_names_are_text() -> None:
    planned = plan_ranks(make_comparison(('<b onload="x">&amp;', "B", "C", "D")))
    sheets = [draw_ranks.sheet(planned, t, bare=True) for t in ("light", "dark")]
    text = svg_of(*sheets, Palette(), width=900, name="t")
    assert "onload=" not in "".join(str(e.attrib) for e in fromstring(text).iter())
    assert any('<b onload="x">&amp;' in (t.text or "") for t in fromstring(text).iter())


def test_each_instrument_is_named_at_its_end_also_one_that_is_not_known() -> None:
    planned = plan_decay(make_surveys(3), NAMES)
    words = [e.words for e in line_ends(planned, narrow=False)]
    assert len(words) == 4
    assert [w.startswith(f"<b>{letter}</b>") for w, letter in zip(words, "ABCD", strict=True)] == [True] * 4
    assert "not recorded" in words[3].replace("<br>", " ")
    assert [e.words for e in line_ends(planned, narrow=True)][3] == "<b>D</b> ?"


sizes = st.lists(st.tuples(st.floats(0, 250), st.sampled_from((15.0, 30.0))), min_size=1, max_size=8)


@given(sizes)
def test_labels_never_overlap_and_stay_inside(labels) -> None:
    wanted, tall = [w for w, _ in labels], [h for _, h in labels]
    placed = spread(wanted, tall, most=250.0)
    edges = sorted((p - h / 2, p + h / 2) for p, h in zip(placed, tall, strict=True))
    assert edges[0][0] >= -1e-6
    assert edges[-1][1] <= 250 + 1e-6
    if sum(tall) < 250:
        assert all(b[0] >= a[1] - 1e-6 for a, b in pairwise(edges))


def test_labels_with_room_stay_where_they_are_wanted() -> None:
    assert spread([30, 100], [15, 15], most=250) == [30, 100]
    assert spread([30, 31], [15, 15], most=250) != [30, 31]
