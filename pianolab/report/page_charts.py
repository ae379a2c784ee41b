"""Figures as the page carries them: still pictures for a wide and a narrow screen, with words and a table beside."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from markupsafe import Markup

from pianolab.acoustics.survey_result import Survey
from pianolab.checklist.points import Checklist
from pianolab.compare.comparison import Comparison
from pianolab.figures import (
    draw_brightness,
    draw_damper,
    draw_decay,
    draw_drift,
    draw_instrument,
    draw_keyboard,
    draw_radar,
    draw_spans,
    draw_tuning,
    draw_unison,
    plan_brightness,
    plan_damper,
    plan_decay,
    plan_drift,
    plan_instrument,
    plan_keyboard,
    plan_left_pedal,
    plan_radar,
    plan_room_change,
    plan_tuning,
    plan_unison,
)
from pianolab.figures.key_plan import KeyPlan
from pianolab.figures.look import KIND_WORDS, THEMES, Mark
from pianolab.figures.sheet import Drawing, Plan
from pianolab.figures.svg import Palette, svg_of
from pianolab.model import Finding, Piano
from pianolab.recordings.holding import Holding
from pianolab.report.further import Changed
from pianolab.report.instruments import Instrument
from pianolab.rooms.change import RoomChange
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
class PageChart:
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

    charts: list[PageChart] = field(default_factory=list)
    palette: Palette = field(default_factory=Palette)

    def add(
        self, plan: Plan, draw: Drawing[...], *, marks: Sequence[Mark] = (), form: Form = PLAIN, **more: Any
    ) -> PageChart:
        """Draws a plan in both themes, as wide as its form asks for, and files it under the next number."""
        name, overlaid = (
            f"chart-{len(self.charts) + 1}",
            isinstance(plan, KeyPlan) and plan.arrange == "overlay",
        )
        chart = PageChart(
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


def radars(c: Comparison, marks: Mapping[str, Mark], book: ChartBook) -> list[PageChart]:
    plan = plan_radar(c.assessments, profile=c.profile, marks=marks)
    if plan.form == "bars":
        return [book.add(plan, draw_radar, marks=[s.mark for s in plan.series])]
    charts = []
    for n, s in enumerate(plan.series):
        charts.append(
            book.add(
                plan,
                draw_radar,
                marks=[s.mark],
                form=Form(title=s.mark.label, panel=True, table=n == 0),
                panel=s.piano_id,
            )
        )
    return charts


def over_keys(heard: Mapping[str, Survey], marks: Mapping[str, Mark], book: ChartBook) -> list[PageChart]:
    if not heard:
        return []
    names = {i: m.name for i, m in marks.items()}
    drawn = [marks[i] for i in heard]
    return [
        book.add(plan(heard, names), draw, marks=drawn, form=form)
        for plan, draw, form in (
            (plan_decay, draw_decay, PLAIN),
            (plan_unison, draw_unison, EXTRA),
            (plan_tuning, draw_tuning, EXTRA),
            (plan_damper, draw_damper, EXTRA),
            (plan_brightness, draw_brightness, EXTRA),
        )
    ]


def piano_charts(
    i: Instrument,
    book: ChartBook,
    heard: Mapping[str, Survey],
    marks: Mapping[str, Mark],
    findings: Sequence[Finding],
    checklist: Checklist,
) -> list[PageChart]:
    """What is drawn of one instrument, on the screen only."""
    piano = i.assessment.piano
    plan = plan_keyboard(piano, survey=heard.get(i.id), findings=findings, checklist=checklist)
    charts = [
        *maps(piano, book, findings, checklist),
        book.add(plan, draw_keyboard, form=Form(scrolls=True, extra=True)),
    ]
    if i.id in heard:
        names = {k: m.name for k, m in marks.items()}
        charts.append(
            book.add(
                plan_decay(heard, names, focus=i.id),
                draw_decay,
                marks=[i.mark],
                form=Form(title="How long its keys sing, the others in grey", extra=True),
            )
        )
    return charts


def maps(piano: Piano, book: ChartBook, findings: Sequence[Finding], checklist: Checklist) -> list[PageChart]:
    """Where the findings are; the other side of the instrument only where trouble was found there."""
    drawn = []
    for other_side in (False, True):
        plan = plan_instrument(piano, findings=findings, checklist=checklist, other_side=other_side)
        if plan.parts and (not other_side or any(p.trouble for p in plan.parts)):
            drawn.append(book.add(plan, draw_instrument, form=EXTRA))
    return drawn


def changed_chart(result: Changed, mark: Mark, book: ChartBook) -> PageChart:
    """The chart of a result that is shown in a fold of its own."""
    if isinstance(result, Holding):
        return book.add(plan_drift(result, name=mark.name, mark=mark), draw_drift, form=EXTRA)
    plan = plan_room_change(result) if isinstance(result, RoomChange) else plan_left_pedal(result)
    return book.add(plan, draw_spans, form=EXTRA)
