"""Small drawings as inline SVG: instrument badges, grade marks, range bars.

Colours are classes (``i0`` … ``i7``), so that the style sheet can follow light and dark.
"""

from __future__ import annotations

from math import cos, pi, sin

from markupsafe import Markup

from pianolab.assess.assessment import BEST, WORST
from pianolab.figures.look import Mark
from pianolab.figures.svg_marks import sign_path
from pianolab.report.phrases import GRADE_WORDS


def outline(symbol: str, *, size: float = 24.0) -> Markup:
    """The marker shape of an instrument as an SVG element without colour."""
    c, r = size / 2, size * 0.46
    return Markup('<path d="{}"/>').format(sign_path(symbol, c, c, r))


def badge(mark: Mark, *, index: int, large: bool = False) -> Markup:
    """The instrument's letter in its shape and colour; decoration, since the name stands beside it."""
    low = {"triangle-up": 17.6, "triangle-down": 14.6}.get(mark.symbol, 16.4)
    return Markup(
        '<svg class="badge i{0}{1}" viewBox="-1 -1 26 26" role="img" aria-label="{2}">{3}<text x="12" y="{4}">{2}</text></svg>'
    ).format(index, " large" if large else "", mark.letter, outline(mark.symbol), low)


def grade_mark(grade: int | None) -> Markup:
    """A grade as a disc that fills with what is wrong: empty is sound, full is failed; dashed is not known."""
    if grade is None:
        return Markup(
            '<svg class="grade unknown" viewBox="0 0 20 20" aria-hidden="true"><circle cx="10" cy="10" r="7.5"/></svg>'
        )
    wrong = (5 - grade) / 4.0
    if wrong >= 1.0:
        fill = Markup('<circle class="full" cx="10" cy="10" r="7.5"/>')
    elif wrong <= 0.0:
        fill = Markup("")
    else:
        a = -pi / 2 + 2 * pi * wrong
        big = 1 if wrong > 0.5 else 0
        fill = Markup('<path class="full" d="M10 10V2.5A7.5 7.5 0 {} 1 {:.2f} {:.2f}Z"/>').format(
            big, 10 + 7.5 * cos(a), 10 + 7.5 * sin(a)
        )
    return Markup(
        '<svg class="grade g{}" viewBox="0 0 20 20" aria-hidden="true">{}<circle cx="10" cy="10" r="7.5"/></svg>'
    ).format(grade, fill)


def grade_words(grade: int) -> str:
    """Grade in words with its number, as ``poor (2 of 5)``."""
    return f"{GRADE_WORDS[grade]} ({grade} of 5)"


def range_bar(low: float, high: float, *, index: int) -> Markup:
    """An interval on the 0 to 10 scale, as a bar in the instrument's colour over a rule."""
    scale = 100.0 / (BEST - WORST)
    x, width = scale * (low - WORST), max(1.6, scale * (high - low))
    return Markup(
        '<svg class="range i{}" viewBox="0 0 100 10" preserveAspectRatio="none" aria-hidden="true">'
        '<path class="rail" d="M0 5H100M0 2.5V7.5M50 2.5V7.5M100 2.5V7.5"/><rect x="{:.1f}" y="1.5" width="{:.1f}" height="7"/></svg>'
    ).format(index, x, width)


def chance_bar(share: float, *, index: int) -> Markup:
    """A share from 0 to 1 as a bar in the instrument's colour over a rule."""
    return Markup(
        '<svg class="range i{}" viewBox="0 0 100 10" preserveAspectRatio="none" aria-hidden="true">'
        '<path class="rail" d="M0 5H100M0 2.5V7.5M50 2.5V7.5M100 2.5V7.5"/><rect x="0" y="1.5" width="{:.1f}" height="7"/></svg>'
    ).format(index, max(0.0, min(100.0, 100.0 * share)))


def sign(kind: str) -> Markup:
    """The sign of a veto (octagon), a warning (triangle), or a verdict, beside its word."""
    paths = {
        "veto": "M7 2H17L22 7V17L17 22H7L2 17V7Z",
        "warning": "M12 2.5L22.5 21H1.5Z",
        "buy": "M12 2A10 10 0 1 1 11.99 2Z",
        "buy if": "M12 2A10 10 0 1 1 11.99 2ZM12 5A7 7 0 0 0 12 19Z",
        "find out first": "M12 2A10 10 0 1 1 11.99 2ZM12 7A5 5 0 1 0 12.01 7Z",
        "walk away": "M3 3H21V21H3Z",
    }
    name = kind.replace(" ", "-")
    return Markup(
        '<svg class="sign {}" viewBox="0 0 24 24" aria-hidden="true"><path fill-rule="evenodd" d="{}"/></svg>'
    ).format(name, paths[kind])
