"""Further results in folds: shown where they belong, escaped, and gone where they shall be left out."""

import re

import pytest

from pianolab.errors import BadInput
from pianolab.keyboard import note_name
from pianolab.recordings.holding import Holding, KeyHolding
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


def kept_tuning() -> Holding:
    keys = tuple(
        KeyHolding(
            key=k,
            note=note_name(k),
            strings=3,
            change_cents=-2.0,
            drift_cents=-2.0,
            own_cents=own,
            own_sd=0.1,
            chance=chance,
            moved=moved,
        )
        for k, own, chance, moved in (
            (40, 0.1, 0.01, ""),
            (41, -6.5, 0.99, "one string"),
            (42, 0.0, 0.01, ""),
        )
    )
    return Holding(
        keys=keys,
        state="compared",
        days=30.0,
        drift_cents=-2.0,
        drift_lowest_cents=-2.0,
        drift_highest_cents=-2.0,
        step_key=None,
        repeat_cents=0.1,
        least_found_cents=1.2,
    )


def test_results_with_a_chart_show_it_in_the_colour_of_their_piano() -> None:
    holding = kept_tuning()
    drawn = Further(title="Has it held", sentences=(holding.headline(),), piano_id="p1", chart_of=holding)
    html = make_page(further=(drawn,))
    assert "moved by themselves: C#4 (one string)" in text_of(html)
    (own,) = re.findall(
        r'<svg viewBox="0 0 900[^>]*>(?:(?!</svg>).)*chance that it went.*?</svg>', html, re.DOTALL
    )
    assert "#D55E00" in own, "the second instrument's colour"
    assert "beyond the edge" not in own, "the key that moved stands where it is, not at an edge"
    plain = Further(title="Has it held", sentences=(holding.headline(),), piano_id="p1")
    assert len(re.findall('class="drawn', html)) == 1 + len(
        re.findall('class="drawn', make_page(further=(plain,)))
    )


def test_a_chart_belongs_to_an_instrument() -> None:
    with pytest.raises(BadInput, match="the piano's id"):
        Further(title="Has it held", sentences=("so",), chart_of=kept_tuning())


def test_names_left_out_are_left_out_of_these_charts() -> None:
    drawn = Further(
        title="Has it held", sentences=("School grand holds",), piano_id="p1", chart_of=kept_tuning()
    )
    html = make_page(further=(drawn,), leave_out=("names",))
    assert "School grand" not in html
    assert "Piano B holds" in text_of(html)
