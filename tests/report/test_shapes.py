"""Small pictures in the page's text, and which star brings the table."""

import re

import pytest

from pianolab.figures.look import marks_for
from pianolab.report.page_charts import ChartBook, radars
from pianolab.report.shapes import range_bar
from tests.figures.make import make_comparison


@pytest.mark.parametrize(("low", "high"), [(0.0, 10.0), (2.0, 6.5), (9.0, 10.0)])
def test_a_bar_lies_on_its_rule_as_the_interval_on_the_scale_of_ten(low: float, high: float) -> None:
    bar = str(range_bar(low, high, index=2))
    width = float(re.findall(r'viewBox="0 0 (\d+)', bar)[0])
    x, wide = (float(v) for v in re.findall(r'<rect x="([\d.]+)" y="[\d.]+" width="([\d.]+)"', bar)[0])
    assert x / width == pytest.approx(low / 10.0)
    assert (x + wide) / width == pytest.approx(high / 10.0)


def test_the_stars_numbers_are_in_one_table_and_not_under_each() -> None:
    shortlist = make_comparison()
    marks = marks_for({a.piano.id: a.piano.name for a in shortlist.assessments})
    charts = radars(shortlist, marks, ChartBook())
    assert len(charts) == len(shortlist.assessments) > 2
    assert [bool(c.rows) for c in charts] == [True] + [False] * (len(charts) - 1)
