"""Draws the aspects of a shortlist: a small radar for each instrument, all at the same scale.

A single instrument, and more aspects than a radar can show, are drawn as bars.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, cos, pi, sin
from typing import Any

from pianolab.assess.assessment import BEST, WORST
from pianolab.errors import BadInput
from pianolab.figures import frame, look, wording
from pianolab.figures.look import Theme
from pianolab.figures.radar_plan import RadarPlan, RadarSeries, span
from pianolab.figures.sheet import Sheet, drawing

BAR_PX, BAR_LEAST_PX = 15, 48


def draw_bars(plan: RadarPlan, theme: Theme, *, bare: bool, narrow: bool = False) -> Sheet:
    """A bar per aspect and instrument, from the lowest to the highest possible score."""
    n = len(plan.series)
    height = len(plan.aspects) * max(BAR_PX * n + 14, BAR_LEAST_PX) + 20
    fig = frame.base_figure(
        theme,
        title=plan.title,
        height=height,
        bare=bare,
        bottom=74 if narrow else 44,
        legend=ceil(n / 3) if n > 1 else 0,
    )
    for i, s in enumerate(plan.series):
        _draw_bar(fig, plan, s, i, theme)
    ticks = [
        f"{wording.plain(a)}<br>counts {w:.0%}" for a, w in zip(plan.aspects, plan.weight_share, strict=True)
    ]
    fig.lay_out(
        margin={"l": 118},
        yaxis=frame.axis(
            theme,
            tickvals=[-j for j in range(len(ticks))],
            ticktext=ticks,
            showgrid=False,
            range=[-len(ticks) + 0.4, 0.6],
        ),
        xaxis=frame.axis(
            theme,
            range=[WORST - 0.1, BEST + 0.35],
            tickvals=[0, 2, 4, 6, 8, 10],
            title="score, 0 to 10; the bar is what is possible" + _money(plan),
        ),
    )
    return fig


def _draw_bar(fig: Sheet, plan: RadarPlan, s: RadarSeries, i: int, theme: Theme) -> None:
    """The bars of one instrument, and its letter at their ends where there are several."""
    n = len(plan.series)
    at = [-(j + (i + 0.5) / n * 0.8 - 0.4) for j in range(len(plan.aspects))]
    colour = s.mark.colour(theme)
    fig.add(
        "bar",
        orientation="h",
        y=at,
        base=[b.low for b in s.bands],
        x=[max(b.high - b.low, 0.06) for b in s.bands],
        width=0.62 / n,
        marker={"color": look.faded(colour, 0.5), "line": {"color": colour, "width": 1.4}},
        name=wording.plain(s.mark.label),
        hovertext=[
            wording.lines(s.mark.label, f"{b.aspect}: {span(b)} of 10", b.made_by, b.unknown) for b in s.bands
        ],
        hoverinfo="text",
        text=[span(b) for b in s.bands],
        textposition="none",
    )
    if n > 1:
        fig.add(
            "scatter",
            x=[b.high + 0.06 for b in s.bands],
            y=at,
            mode="text",
            text=[wording.strong(s.mark.letter)] * len(at),
            textposition="middle right",
            textfont={"size": 10, "color": theme.ink},
            hoverinfo="skip",
            showlegend=False,
        )


def _money(plan: RadarPlan) -> str:
    """What is left of the whole for money, which has no spoke of its own."""
    return f"; money itself counts {plan.money_share:.0%}" if plan.money_share else ""


PANEL_PX, TITLE_PX = 214, 26
"""Height of one radar, and of the name above it where the figure stands alone."""
CROWN_FROM, CROWN_TO, WORDS_AT = 10.25, 11.6, 12.4
REACH = (21.0, 17.6)
"""How far a radar's panel goes from its middle, to the side and up or down, in the units of its scale."""
ARC_STEPS = 8
Points = tuple[list[float], list[float]]
"""x and y of the points of a line, in the units of the scale."""


@drawing
def draw_radar(
    plan: RadarPlan,
    theme: str = "light",
    *,
    bare: bool = False,
    narrow: bool = False,
    panel: str | None = None,
    columns: int | None = None,
) -> Sheet:
    """The plan as a figure.

    Parameters
    ----------
    plan, theme, bare : as everywhere
    narrow : for a phone: bars leave more room under them
    panel : piano id of the only radar to draw
    columns : radars side by side; 1 suits a phone
    """
    look_of = look.theme_of(theme)
    if plan.form == "bars":
        return draw_bars(plan, look_of, bare=bare, narrow=narrow)
    chosen = [s for s in plan.series if panel in (None, s.piano_id)]
    if not chosen:
        raise BadInput("panel", repr(panel), "a piano id of the plan")
    columns = columns or (1 if len(chosen) == 1 else 2 if len(chosen) in (2, 4) else 3)
    rows = ceil(len(chosen) / columns)
    bottom = 8 if bare or not plan.money_share else 26
    high = PANEL_PX if bare else PANEL_PX + TITLE_PX
    fig = frame.base_figure(look_of, title=plan.title, height=high * rows, bare=bare, bottom=bottom)
    fig.lay_out(margin={"l": 8, "r": 8, **({"t": 4} if bare else {})})
    if plan.money_share and not bare:
        fig.add_annotation(
            x=0.5,
            y=0,
            xref="paper",
            yref="paper",
            xanchor="center",
            yanchor="top",
            text=f"rim: what each counts for{_money(plan)}",
            font={"size": look.SMALL_PX, "color": look_of.muted},
        )
    for i, s in enumerate(chosen):
        _draw_one(fig, plan, s, look_of, place=(i, columns, rows), bare=bare)
    return fig


@dataclass(frozen=True, kw_only=True)
class _Panel:
    """One radar's axes, and the directions of its aspects in radians, clockwise from the top."""

    x: str
    y: str
    angles: tuple[float, ...]

    def ring(self, r: Sequence[float]) -> Points:
        """A closed line through a value on each aspect."""
        closed = [*zip(r, self.angles, strict=True), (r[0], self.angles[0])]
        return [v * sin(a) for v, a in closed], [v * cos(a) for v, a in closed]

    def arc(self, r: float, begin: float, end: float) -> Points:
        """Points along a circle."""
        angles = [begin + (end - begin) * n / ARC_STEPS for n in range(ARC_STEPS + 1)]
        return [r * sin(a) for a in angles], [r * cos(a) for a in angles]


def _draw_one(
    fig: Sheet, plan: RadarPlan, s: RadarSeries, theme: Theme, *, place: tuple[int, int, int], bare: bool
) -> None:
    i, columns, rows = place
    column, row = i % columns, i // columns
    number = "" if i == 0 else str(i + 1)
    step = 2 * pi / len(plan.aspects)
    panel = _Panel(x=f"x{number}", y=f"y{number}", angles=tuple(step * n for n in range(len(plan.aspects))))
    title_share = 0.0 if bare else TITLE_PX / (PANEL_PX + TITLE_PX)
    quiet = {"visible": False, "fixedrange": True}
    fig.lay_out(
        **{
            f"xaxis{number}": {
                **quiet,
                "domain": [column / columns, (column + 1) / columns],
                "range": [-REACH[0], REACH[0]],
                "anchor": panel.y,
            },
            f"yaxis{number}": {
                **quiet,
                "domain": [1 - (row + 1) / rows, 1 - (row + title_share) / rows],
                "range": [-REACH[1], REACH[1]],
                "anchor": panel.x,
                "scaleanchor": panel.x,
                "constrain": "domain",
            },
        }
    )
    _web(fig, plan, panel, theme)
    _crown(fig, plan, panel, theme, width=0.5 * step)
    for other in plan.series:
        if other is not s and len(plan.series) <= 4:
            middles = [(b.low + b.high) / 2 for b in other.bands]
            _line(fig, panel, panel.ring(middles), line={"color": theme.faint, "width": 0.8, "dash": "dot"})
    _band(fig, s, panel, theme)
    if not bare:
        fig.add_annotation(
            x=(column + 0.02) / columns,
            y=1 - row / rows,
            xref="paper",
            yref="paper",
            xanchor="left",
            yanchor="top",
            text=f"{wording.strong(s.mark.letter)}  {wording.plain(s.mark.name)}",
            font={"size": look.TEXT_PX, "color": theme.ink},
        )


def _web(fig: Sheet, plan: RadarPlan, panel: _Panel, theme: Theme) -> None:
    """Rings at 5 and 10 with their numbers where the bands leave most room, a spoke and its name for each aspect."""
    line = {"color": theme.rule, "width": 1}
    for r in (5, 10):
        fig.add_shape(
            "circle", xref=panel.x, yref=panel.y, x0=-r, x1=r, y0=-r, y1=r, line=line, layer="below"
        )
    for aspect, angle in zip(plan.aspects, panel.angles, strict=True):
        x, y = sin(angle), cos(angle)
        fig.add_shape(
            "line", xref=panel.x, yref=panel.y, x0=0, y0=0, x1=10 * x, y1=10 * y, line=line, layer="below"
        )
        fig.add_annotation(
            xref=panel.x,
            yref=panel.y,
            x=WORDS_AT * x,
            y=WORDS_AT * y,
            text=wording.wrapped(aspect, width=10),
            xanchor="center" if abs(x) < 0.2 else "left" if x > 0 else "right",
            yanchor="middle" if abs(y) < 0.2 else "bottom" if y > 0.9 else "top" if y < -0.9 else "middle",
            align="center" if abs(x) < 0.2 else "left" if x > 0 else "right",
            font={"size": look.SMALL_PX, "color": theme.ink},
            borderpad=0,
        )
    between = 1.5 * panel.angles[1]
    fig.add(
        "scatter",
        x=[r * sin(between) for r in (5, 10)],
        y=[r * cos(between) for r in (5, 10)],
        xaxis=panel.x,
        yaxis=panel.y,
        mode="text",
        text=["5 ", "10 "],
        textposition="middle left",
        hoverinfo="skip",
        showlegend=False,
        textfont={"size": 10, "color": theme.muted},
    )


def _line(fig: Sheet, panel: _Panel, points: Points, **more: Any) -> None:
    look_of = {"mode": "lines", "hoverinfo": "skip", "showlegend": False, "cliponaxis": False} | more
    fig.add("scatter", x=points[0], y=points[1], xaxis=panel.x, yaxis=panel.y, **look_of)


def _band(fig: Sheet, s: RadarSeries, panel: _Panel, theme: Theme) -> None:
    colour = s.mark.colour(theme)
    low, high = [b.low for b in s.bands], [b.high for b in s.bands]
    hovers = [
        wording.lines(
            s.mark.label,
            f"{b.aspect}: {span(b)} of 10",
            f"lowered most by: {b.made_by}" if b.made_by else "",
            f"widest unknown: {b.unknown}" if b.unknown else "nothing left open",
        )
        for b in s.bands
    ]
    _line(
        fig,
        panel,
        panel.ring(low),
        line={"color": colour, "width": 2.4},
        fill="toself",
        fillcolor=look.faded(colour, 0.34),
    )
    _line(
        fig,
        panel,
        panel.ring(high),
        line={"color": colour, "width": 1.4, "dash": "4px 3px"},
        fill="tonext",
        fillcolor=look.faded(colour, 0.14),
    )
    xs, ys = panel.ring([(b.low + b.high) / 2 for b in s.bands])
    _line(
        fig,
        panel,
        (xs[:-1], ys[:-1]),
        mode="markers",
        hovertext=hovers,
        hoverinfo="text",
        marker={
            "symbol": s.mark.symbol,
            "size": 8,
            "color": colour,
            "line": {"color": theme.ink, "width": 0.8},
        },
    )


def _crown(fig: Sheet, plan: RadarPlan, panel: _Panel, theme: Theme, *, width: float) -> None:
    """A block outside each aspect, the longer the more it counts."""
    most = max(plan.weight_share) or 1.0
    for aspect, weight, angle in zip(plan.aspects, plan.weight_share, panel.angles, strict=True):
        half = max(0.01, 0.95 * width * weight / most)
        (x0, y0), (x1, y1) = (
            panel.arc(r, angle - way * half, angle + way * half)
            for r, way in ((CROWN_FROM, 1), (CROWN_TO, -1))
        )
        _line(
            fig,
            panel,
            ([*x0, *x1, x0[0]], [*y0, *y1, y0[0]]),
            line={"width": 0},
            fill="toself",
            fillcolor=theme.muted,
            hoveron="fills",
            text=wording.lines(f"{aspect} counts for {weight:.0%} of the choice"),
            hoverinfo="text",
        )
