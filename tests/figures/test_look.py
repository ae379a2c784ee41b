"""The visual language: enough contrast, and everything said twice."""

import pytest

from pianolab.errors import BadInput
from pianolab.figures.frame import TITLE_LINE_PX, base_figure
from pianolab.figures.look import DARK, LIGHT, OKABE_ITO, contrast, ink_on, marks_for, theme_of
from pianolab.figures.wording import plain
from tests.figures.make import many_names

PUBLISHED = {  # B. Wong, Nature Methods 8, 441 (2011): RGB values as printed there, from memory
    "orange": (230, 159, 0),
    "sky blue": (86, 180, 233),
    "bluish green": (0, 158, 115),
    "yellow": (240, 228, 66),
    "blue": (0, 114, 178),
    "vermillion": (213, 94, 0),
    "reddish purple": (204, 121, 167),
    "black": (0, 0, 0),
}


def as_rgb(colour: str) -> tuple[int, ...]:
    return tuple(int(colour[i : i + 2], 16) for i in (1, 3, 5))


def test_the_palette_is_the_published_one() -> None:
    assert {name: as_rgb(c) for name, c in OKABE_ITO.items()} == PUBLISHED


@pytest.mark.parametrize("theme", [LIGHT, DARK])
def test_text_has_contrast(theme) -> None:
    for ink in (theme.ink, theme.muted, theme.accent, theme.alarm):
        for paper in (theme.paper, theme.panel):
            assert contrast(ink, paper) >= 4.5, (theme.name, ink, paper)


def test_the_contrast_check_has_teeth() -> None:
    assert contrast(LIGHT.faint, LIGHT.paper) < 4.5
    assert contrast("#767676", "#FFFFFF") == pytest.approx(
        4.54, abs=0.01
    )  # W3C, WCAG 2 understanding 1.4.3; from memory


def test_letters_on_colours_can_be_read() -> None:
    for colour in OKABE_ITO.values():
        assert contrast(ink_on(colour), colour) >= 4.5


def test_eight_instruments_differ_without_colour() -> None:
    marks = list(marks_for({str(i): n for i, n in enumerate(many_names(8))}).values())
    assert (
        len({m.letter for m in marks}) == len({m.symbol for m in marks}) == len({m.light for m in marks}) == 8
    )


def test_nine_instruments_are_too_many() -> None:
    with pytest.raises(BadInput, match="names: got 9 instruments"):
        marks_for({str(i): "x" for i in range(9)})


def test_unknown_theme() -> None:
    with pytest.raises(BadInput, match="theme: got 'sepia'"):
        theme_of("sepia")


def test_markup_is_taken_literally() -> None:
    assert plain("<a href='x'>A & B</a>") == "&lt;a href='x'&gt;A &amp; B&lt;/a&gt;"


def test_a_long_title_gets_room_and_a_short_one_no_gap() -> None:
    short, long = (
        base_figure(LIGHT, title=title, height=200, bare=False).layout
        for title in ("Tuning", 6 * "Long words ")
    )
    assert long["title"]["text"].count("<br>") == 1
    assert long["margin"]["t"] - short["margin"]["t"] == TITLE_LINE_PX
    assert short["margin"]["t"] < 50
    assert long["height"] - long["margin"]["t"] - long["margin"]["b"] == 200
