"""Which charts the page holds, and in what form."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from pianolab.acoustics.results import Survey
from pianolab.checklist.points import Checklist
from pianolab.compare.results import Comparison
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
from pianolab.figures.look import Mark
from pianolab.model import Finding, Piano
from pianolab.recordings.holding import Holding
from pianolab.report.charts import EXTRA, PLAIN, Chart, ChartBook, Form
from pianolab.report.further import Changed
from pianolab.report.instruments import Instrument
from pianolab.rooms.change import RoomChange


def radars(c: Comparison, marks: Mapping[str, Mark], book: ChartBook) -> list[Chart]:
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


def over_keys(heard: Mapping[str, Survey], marks: Mapping[str, Mark], book: ChartBook) -> list[Chart]:
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
) -> list[Chart]:
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


def maps(piano: Piano, book: ChartBook, findings: Sequence[Finding], checklist: Checklist) -> list[Chart]:
    """Where the findings are; the other side of the instrument only where trouble was found there."""
    drawn = []
    for other_side in (False, True):
        plan = plan_instrument(piano, findings=findings, checklist=checklist, other_side=other_side)
        if plan.parts and (not other_side or any(p.trouble for p in plan.parts)):
            drawn.append(book.add(plan, draw_instrument, form=EXTRA))
    return drawn


def changed_chart(result: Changed, mark: Mark, book: ChartBook) -> Chart:
    """The chart of a result that is shown in a fold of its own."""
    if isinstance(result, Holding):
        return book.add(plan_drift(result, name=mark.name, mark=mark), draw_drift, form=EXTRA)
    plan = plan_room_change(result) if isinstance(result, RoomChange) else plan_left_pedal(result)
    return book.add(plan, draw_spans, form=EXTRA)
