"""Further results in folds: shown where they belong, escaped, and gone where they shall be left out."""

import pytest

from pianolab.errors import BadInput
from pianolab.report import Further
from tests.report.test_page import HOSTILE, make_page, text_of

TOUCH = Further(
    title="Touch",
    sentences=("Ana and Bo agree", "Ana likes A"),
    header=("who", "what"),
    rows=(("Ana", "light"),),
    names_people=True,
)
YEAR = Further(
    title="What a year costs", sentences=("about 450 EUR a year",), piano_id="p0", about_money=True
)
LIFE = Further(title="How long its parts may last", sentences=("hammers 8 to 30 years",), piano_id="p1")
ALL = (TOUCH, YEAR, LIFE)


def test_each_stands_where_it_belongs() -> None:
    html = make_page(further=ALL)
    text = text_of(html[html.index('id="piano-A"') : html.index('id="piano-B"')])
    assert (
        "What a year costs : about 450 EUR a year" in text
        or "What a year costs: about 450 EUR a year" in text
    )
    assert "How long its parts" not in text
    of_all = text_of(html[html.index('id="further"') : html.index('id="piano-A"')])
    assert "Ana likes A." in of_all
    assert "light" in of_all


@pytest.mark.parametrize(
    ("leave_out", "gone", "kept"),
    [("prices", "a year costs", "Ana likes"), ("names", "Ana likes", "a year costs")],
)
def test_what_is_left_out_is_gone(leave_out, gone, kept) -> None:
    html = make_page(further=ALL, leave_out=(leave_out,))
    text = text_of(html)
    assert gone not in text, "gone"
    assert kept in text
    assert "hammers 8 to 30 years" in text


def test_hostile_results_stay_text() -> None:
    bad = Further(
        title=HOSTILE, sentences=(HOSTILE, HOSTILE), header=(HOSTILE,), rows=((HOSTILE,),), piano_id="p0"
    )
    html = make_page(further=(bad,))
    assert "<script>alert" not in html
    assert "<img src=http" not in html


def test_a_stranger_is_refused() -> None:
    with pytest.raises(BadInput, match="further: got p9"):
        make_page(further=(Further(title="x", sentences=("y",), piano_id="p9"),))
