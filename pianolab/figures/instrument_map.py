"""Where on the instrument the findings are: each part by its worst finding, and how much of it nobody looked at."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from pianolab.checklist.points import Checklist, Point
from pianolab.figures import frame, look, wording
from pianolab.figures.instrument_drawing import InstrumentDrawing, drawing_of, other_side_of
from pianolab.figures.judged import GOOD_FROM, GRADE_WORDS, judged
from pianolab.figures.look import Theme
from pianolab.figures.sheet import Plan, Sheet, drawing
from pianolab.model import Finding, Piano
from pianolab.show import Row
from pianolab.statements import Statement, statement
from pianolab.words import say

MOST_NAMED = 3
HEIGHT_PX, LEADER_X, LABEL_X, SHEET_WIDTH = 410, 71.0, 78.0, 172
NARROW_SHEET, NARROW_ROOM = 178, 62.0
"""On a phone the drawing keeps its shape, and the words have room above and below it."""
SYMBOL: dict[int | None, str] = {
    5: "circle-open",
    4: "circle-open",
    3: "triangle-up",
    2: "square",
    1: "x",
    None: "circle-open-dot",
}
COLOUR: dict[int | None, str] = {3: "orange", 2: "vermillion", 1: "vermillion"}


@dataclass(frozen=True, kw_only=True)
class PartState:
    """One part: its worst grade (None: nothing graded), what that was, and how many points were looked at."""

    part: str
    grade: int | None
    worst: str
    trouble: int
    checked: int
    points: int

    @property
    def words(self) -> str:
        if not self.checked:
            return "not looked at"
        state = "in order" if (self.grade or 0) >= GOOD_FROM else GRADE_WORDS.get(self.grade or 0, "no grade")
        missing = self.points - self.checked
        return state + (f", {missing} of {self.points} not checked" if missing else "")


@dataclass(frozen=True, kw_only=True, repr=False)
class InstrumentPlan(Plan):
    """The parts of one piano with their state; ``kind`` and ``other_side`` choose the drawing, ``view`` names it."""

    kind: str
    view: str
    parts: tuple[PartState, ...]
    other_side: bool = False
    header = ("part", "worst grade", "worst finding", "points with trouble", "points checked", "points")

    def rows(self) -> list[Row]:
        return [(p.part, p.grade, p.worst, p.trouble, p.checked, p.points) for p in self.parts]


def plan_instrument(
    piano: Piano, *, findings: Sequence[Finding], checklist: Checklist, other_side: bool = False
) -> InstrumentPlan:
    """Plan of the map of one instrument; the checklist's areas that are parts of a piano are its places.

    Parameters
    ----------
    piano : gives the drawing and the points that exist on it
    findings, checklist : what was found, and the points it belongs to
    other_side : a grand from below, an upright from behind with its bottom board

    Returns
    -------
    InstrumentPlan; a part nobody looked at is ``not looked at``, never in order
    """
    sheet, points = _drawing(piano.kind, other_side), checklist.for_piano(piano)
    of_part = {
        part: [p for p in points if (p.id in sheet.points[part] if part in sheet.points else p.area == part)]
        for part in sheet.where
    }
    parts = tuple(_part(part, own, findings) for part, own in of_part.items() if own)
    return InstrumentPlan(
        title=say(_message(parts, piano.name, sheet.view)),
        alt=_alt(parts),
        kind=piano.kind,
        view=sheet.view,
        parts=parts,
        other_side=other_side,
    )


def _drawing(kind: str, other_side: bool) -> InstrumentDrawing:
    return other_side_of(kind) if other_side else drawing_of(kind)


def _part(area: str, points: Sequence[Point], findings: Sequence[Finding]) -> PartState:
    by_id = {p.id: p for p in points}
    here = [f for f in findings if f.point in by_id and f.state == "checked"]
    grades = [(judged(f, by_id[f.point]), by_id[f.point].title) for f in here]
    graded = sorted(
        ((g, title, found, meaning) for (g, found, meaning), title in grades if g is not None),
        key=lambda x: x[0],
    )
    absent = {f.point for f in findings if f.point in by_id and f.state == "does not apply"}
    checked = {f.point for f in here}
    worst = graded[0] if graded else None
    return PartState(
        part=area,
        grade=worst[0] if worst else None,
        worst=f"{worst[1]}: {worst[3] or worst[2]}" if worst and worst[0] < GOOD_FROM else "",
        trouble=sum(g < GOOD_FROM for g, *_ in graded),
        checked=len(checked),
        points=len(set(by_id) - absent | checked),
    )


def _message(parts: Sequence[PartState], name: str, view: str) -> Statement:
    """Where trouble was found, worst first; or that none was, and how many parts are not wholly looked at."""
    bad = sorted(
        (p for p in parts if p.grade is not None and p.grade < GOOD_FROM), key=lambda p: (p.grade, -p.trouble)
    )
    if bad:
        named, more = tuple(p.part.casefold() for p in bad[:MOST_NAMED]), len(bad) - MOST_NAMED
        kind = "chart.map.trouble and more" if more > 0 else "chart.map.trouble"
        return statement(kind, name=name, parts=named, more=more, view=view)
    if not any(p.checked for p in parts):
        return statement("chart.map.unknown", name=name, view=view)
    unseen = sum(p.checked < p.points for p in parts)
    kind = "chart.map.none so far" if unseen else "chart.map.none"
    return statement(kind, name=name, unseen=unseen, parts=len(parts), view=view)


def _alt(parts: tuple[PartState, ...]) -> str:
    bad = sorted(
        (p for p in parts if p.grade is not None and p.grade < GOOD_FROM), key=lambda p: p.grade or 9
    )
    said = (
        f"Trouble in: {wording.listed(f'{p.part.lower()} ({p.words})' for p in bad)}."
        if bad
        else "No part shows trouble."
    )
    open_parts = [p for p in parts if p.checked < p.points and p not in bad]
    if open_parts:
        named = wording.listed(
            f"{p.part.lower()} ({p.points - p.checked} of {p.points} points)" for p in open_parts
        )
        said += f" Not fully looked at: {named}."
    return said


@drawing
def draw_instrument(
    plan: InstrumentPlan, theme: str = "light", *, bare: bool = False, narrow: bool = False
) -> Sheet:
    """The plan as a figure: the drawing on the left, every part with its state in words on the right.

    A ``narrow`` one is for a phone.
    """
    look_of, outline = look.theme_of(theme), _drawing(plan.kind, plan.other_side)
    room = NARROW_ROOM if narrow else 0.0
    width = NARROW_SHEET if narrow else SHEET_WIDTH
    fig = frame.base_figure(look_of, title=plan.title, height=HEIGHT_PX, bare=bare, bottom=4)
    _draw_outline(fig, outline, look_of)
    _draw_parts(fig, plan, outline, look_of, room=room)
    fig.lay_out(
        margin={"l": 4, "r": 4},
        xaxis=frame.axis(look_of, range=[0, width], showgrid=False, showticklabels=False),
        yaxis=frame.axis(look_of, range=[-3 - room, 73 + room], showgrid=False, showticklabels=False),
    )
    return fig


def _draw_outline(fig: Sheet, outline: InstrumentDrawing, theme: Theme) -> None:
    """All strokes of one look in one trace, so that a page with many drawings stays quick."""
    looks = dict.fromkeys((s.weight, s.smooth, s.filled) for s in outline.strokes)
    for weight, smooth, filled in looks:
        x: list[float | None] = []
        y: list[float | None] = []
        for stroke in outline.strokes:
            if (stroke.weight, stroke.smooth, stroke.filled) == (weight, smooth, filled):
                x += [*(px for px, _ in stroke.points), None]
                y += [*(py for _, py in stroke.points), None]
        fig.add(
            "scatter",
            x=x,
            y=y,
            mode="lines",
            hoverinfo="skip",
            showlegend=False,
            **({"fill": "toself", "fillcolor": theme.muted} if filled else {}),
            line={
                "color": theme.ink if weight == "case" else theme.faint,
                "shape": "spline" if smooth else "linear",
                "width": {"case": 1.8, "part": 1.0, "thin": 0.5}[weight],
            },
        )


def _draw_parts(
    fig: Sheet, plan: InstrumentPlan, outline: InstrumentDrawing, theme: Theme, *, room: float = 0.0
) -> None:
    """The parts in words, from top to bottom; ``room`` is what they have above and below the drawing."""
    order = sorted(plan.parts, key=lambda p: -outline.where[p.part][1])
    step = (70.0 + 2 * room) / max(1, len(order) - 1)
    heights = [70.5 + room - i * step for i in range(len(order))]
    x: list[float | None] = []
    y: list[float | None] = []
    for p, at in zip(order, heights, strict=True):
        x += [outline.where[p.part][0], LEADER_X, LABEL_X - 2, None]
        y += [outline.where[p.part][1], at, at, None]
        strong, end = ("<b>", "</b>") if p.trouble or not p.checked else ("", "")
        fig.add_annotation(
            x=LABEL_X + (5 if room else 3),
            y=at,
            xanchor="left",
            align="left",
            borderpad=0,
            text=f"{strong}{wording.plain(p.part)}{end}<br>{wording.plain(p.words)}",
            font={"size": look.SMALL_PX, "color": theme.ink},
        )
    fig.add(
        "scatter",
        x=x,
        y=y,
        mode="lines",
        line={"color": theme.muted, "width": 0.8},
        hoverinfo="skip",
        showlegend=False,
    )
    places = [outline.where[p.part] for p in order]
    for name, spots in (("place", places), ("label", [(LABEL_X, y) for y in heights])):
        fig.add(
            "scatter",
            x=[px for px, _ in spots],
            y=[py for _, py in spots],
            mode="markers",
            marker=_part_markers(order, theme),
            hovertext=[wording.lines(p.part, p.words, p.worst) for p in order],
            hoverinfo="text",
            name=name,
            showlegend=False,
        )


def _part_markers(order: Sequence[PartState], theme: Theme) -> dict[str, Any]:
    bad = [p.grade in COLOUR for p in order]
    colours = [look.OKABE_ITO[COLOUR[p.grade]] if p.grade in COLOUR else theme.muted for p in order]
    return {
        "symbol": [SYMBOL[p.grade] if p.checked else SYMBOL[None] for p in order],
        "size": 12,
        "color": colours,
        "line": {
            "color": [theme.ink if b else c for b, c in zip(bad, colours, strict=True)],
            "width": [1.0 if b else 1.6 for b in bad],
        },
    }
