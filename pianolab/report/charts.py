"""Figures as the page carries them: still pictures for a wide and a narrow screen, with words and a table beside."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from markupsafe import Markup

from pianolab.figures.key_plan import KeyPlan
from pianolab.figures.look import KIND_WORDS, THEMES, Mark
from pianolab.figures.plans import Plan
from pianolab.figures.sheet import Drawing
from pianolab.figures.svg import Palette, svg_of
from pianolab.show import format_row

WIDE_PX, NARROW_PX, PANEL_PX = 900, 358, 276
"""How wide a chart is drawn: for a desk and for paper, for a phone in the hand, and as one of several in a row."""


@dataclass(frozen=True, kw_only=True)
class Form:
    """How the page holds a chart: ``scrolls`` ones scroll sideways on a phone, ``extra`` ones are left out of the print.

    One that does not scroll and is no ``panel`` of several is drawn a second time for a phone.
    """

    title: str = ""
    scrolls: bool = False
    panel: bool = False
    extra: bool = False
    table: bool = True

    @property
    def widths(self) -> tuple[int, ...]:
        return (PANEL_PX,) if self.panel else (WIDE_PX,) if self.scrolls else (WIDE_PX, NARROW_PX)


PLAIN, EXTRA = Form(), Form(extra=True)


@dataclass(frozen=True, kw_only=True)
class Chart:
    """One chart of the page: its pictures, the widest first; ``named`` says that the widest names its instruments itself."""

    id: str
    title: str
    alt: str
    form: Form
    pictures: tuple[Markup, ...]
    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    marks: tuple[Mark, ...] = ()
    kinds: tuple[tuple[str, str], ...] = ()
    named: bool = False


@dataclass
class ChartBook:
    """Numbers the charts of one page, keeps them in order, and with them the colours that they share."""

    charts: list[Chart] = field(default_factory=list)
    palette: Palette = field(default_factory=Palette)

    def add(
        self, plan: Plan, draw: Drawing[...], *, marks: Sequence[Mark] = (), form: Form = PLAIN, **more: Any
    ) -> Chart:
        """Draws a plan in both themes, as wide as its form asks for, and files it under the next number."""
        name, overlaid = (
            f"chart-{len(self.charts) + 1}",
            isinstance(plan, KeyPlan) and plan.arrange == "overlay",
        )
        chart = Chart(
            id=name,
            title=form.title or plan.title,
            alt=plan.alt,
            form=form,
            pictures=tuple(self._picture(plan, draw, width, name, **more) for width in form.widths),
            header=tuple(plan.header) if form.table else (),
            rows=tuple(format_row(plan.header, row) for row in plan.rows()) if form.table else (),
            marks=tuple(marks) if overlaid or not isinstance(plan, KeyPlan) else (),
            kinds=tuple((k, KIND_WORDS[k]) for k in plan.kinds) if isinstance(plan, KeyPlan) else (),
            named=overlaid,
        )
        self.charts.append(chart)
        return chart

    def _picture(self, plan: Plan, draw: Drawing[...], width: int, name: str, **more: Any) -> Markup:
        narrow = {"narrow": True} if width == NARROW_PX else {}
        light, dark = (draw.sheet(plan, theme, bare=True, **narrow, **more) for theme in THEMES)
        told = width != NARROW_PX  # no pointer rests on a phone
        return Markup(svg_of(light, dark, self.palette, width=width, name=f"{name}-{width}", told=told))
