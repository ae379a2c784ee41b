"""Draws the aspects of a shortlist: a small radar for each instrument, all at the same scale.

A single instrument, and more aspects than a radar can show, are drawn as bars.
"""

from __future__ import annotations

from math import ceil

from pianolab.assess.results import BEST, WORST
from pianolab.errors import BadInput
from pianolab.figures import frame, look, wording
from pianolab.figures.look import Theme
from pianolab.figures.radar_plan import RadarPlan, RadarSeries, span
from pianolab.figures.sheet import Sheet, drawing

BAR_PX, BAR_LEAST_PX = 15, 48


def draw_bars(plan: RadarPlan, theme: Theme, *, bare: bool) -> Sheet:
    """A bar per aspect and instrument, from the lowest to the highest possible score."""
    n = len(plan.series)
    height = len(plan.aspects) * max(BAR_PX * n + 14, BAR_LEAST_PX) + 20
    fig = frame.base_figure(
        theme, title=plan.title, height=height, bare=bare, bottom=44, legend=ceil(n / 3) if n > 1 else 0
    )
    for i, s in enumerate(plan.series):
        at = [-(j + (i + 0.5) / n * 0.8 - 0.4) for j in range(len(plan.aspects))]
        colour = s.mark.colour(theme)
        fig.add(
            "bar", orientation="h", y=at, base=[b.low for b in s.bands], x=[max(b.high - b.low, 0.06) for b in s.bands], width=0.62 / n,
            marker={"color": look.faded(colour, 0.5), "line": {"color": colour, "width": 1.4}}, name=wording.plain(s.mark.label),
            hovertext=[wording.lines(s.mark.label, f"{b.aspect}: {span(b)} of 10", b.made_by, b.unknown) for b in s.bands],
            hoverinfo="text", text=[span(b) for b in s.bands], textposition="none",
        )  # fmt: skip
        if n > 1:
            fig.add(
                "scatter", x=[b.high + 0.06 for b in s.bands], y=at, mode="text", text=[f"<b>{s.mark.letter}</b>"] * len(at),
                textposition="middle right", textfont={"size": 10, "color": theme.ink}, hoverinfo="skip", showlegend=False,
            )  # fmt: skip
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


def _money(plan: RadarPlan) -> str:
    """What is left of the whole for money, which has no spoke of its own."""
    return f"; money itself counts {plan.money_share:.0%}" if plan.money_share else ""


PANEL_PX = 300
CROWN_FROM, CROWN_TO = 10.25, 11.6


@drawing
def draw_radar(
    plan: RadarPlan,
    theme: str = "light",
    *,
    bare: bool = False,
    panel: str | None = None,
    columns: int | None = None,
) -> Sheet:
    """The plan as a figure.

    Parameters
    ----------
    plan, theme, bare : as everywhere
    panel : piano id of the only radar to draw
    columns : radars side by side; 1 suits a phone
    """
    look_of = look.theme_of(theme)
    if plan.form == "bars":
        return draw_bars(plan, look_of, bare=bare)
    chosen = [s for s in plan.series if panel in (None, s.piano_id)]
    if not chosen:
        raise BadInput("panel", repr(panel), "a piano id of the plan")
    columns = columns or (1 if len(chosen) == 1 else 2 if len(chosen) in (2, 4) else 3)
    rows = ceil(len(chosen) / columns)
    bottom = 8 if bare or not plan.money_share else 26
    fig = frame.base_figure(look_of, title=plan.title, height=PANEL_PX * rows, bare=bare, bottom=bottom)
    fig.lay_out(margin={"l": 8, "r": 8})
    if plan.money_share and not bare:
        fig.add_annotation(
            x=0.5, y=0, xref="paper", yref="paper", xanchor="center", yanchor="top", text=f"rim: what each counts for{_money(plan)}",
            font={"size": look.SMALL_PX, "color": look_of.muted},
        )  # fmt: skip
    for i, s in enumerate(chosen):
        _draw_one(fig, plan, s, look_of, place=(i, columns, rows), bare=bare)
    return fig


def _draw_one(
    fig: Sheet, plan: RadarPlan, s: RadarSeries, theme: Theme, *, place: tuple[int, int, int], bare: bool
) -> None:
    i, columns, rows = place
    column, row = i % columns, i // columns
    name = "polar" if i == 0 else f"polar{i + 1}"
    step = 360.0 / len(plan.aspects)
    angles = [step * n for n in range(len(plan.aspects))]
    x = [(column + 0.2) / columns, (column + 0.8) / columns]
    y = [1 - (row + 0.88) / rows, 1 - (row + 0.12) / rows]
    labels = [f"{wording.wrapped(a, width=10)}" for a in plan.aspects]
    fig.lay_out(**{
        name: {
            "domain": {"x": x, "y": y}, "bgcolor": "rgba(0,0,0,0)",
            "radialaxis": {"range": [0, CROWN_TO], "tickvals": [0, 5, 10], "showline": False, "gridcolor": theme.rule, "angle": angles[1] / 2,
                            "showticklabels": False, "ticks": "", "layer": "below traces"},
            "angularaxis": {"tickvals": angles, "ticktext": labels, "direction": "clockwise", "rotation": 90, "showline": False,
                             "gridcolor": theme.rule, "ticks": "outside", "ticklen": 5, "tickcolor": "rgba(0,0,0,0)", "tickfont": {"size": look.SMALL_PX, "color": theme.ink}},
        }
    })  # fmt: skip
    _crown(fig, plan, theme, name=name, angles=angles, width=0.5 * step)
    for other in plan.series:
        if other is not s and len(plan.series) <= 4:
            _outline(
                fig, [(b.low + b.high) / 2 for b in other.bands], angles, name, colour=theme.faint, width=0.8
            )
    _band(fig, s, theme, name=name, angles=angles)
    _scale(fig, theme, name=name, angle=1.5 * step)
    if not bare:
        fig.add_annotation(
            x=(column + 0.02) / columns, y=1 - row / rows, xref="paper", yref="paper", xanchor="left", yanchor="top",
            text=f"<b>{s.mark.letter}</b>  {wording.plain(s.mark.name)}", font={"size": look.TEXT_PX, "color": theme.ink},
        )  # fmt: skip


def _scale(fig: Sheet, theme: Theme, *, name: str, angle: float) -> None:
    """What the rings stand for, written between two aspects, where the bands leave most room."""
    fig.add(
        "scatterpolar", r=[5, 10], theta=[angle, angle], subplot=name, mode="text", text=["5 ", "10 "], textposition="middle left", hoverinfo="skip", showlegend=False,
        textfont={"size": 10, "color": theme.muted},
    )  # fmt: skip


def _outline(
    fig: Sheet, r: list[float], angles: list[float], name: str, *, colour: str, width: float
) -> None:
    fig.add(
        "scatterpolar", r=[*r, r[0]], theta=[*angles, angles[0]], subplot=name, mode="lines", line={"color": colour, "width": width, "dash": "dot"},
        hoverinfo="skip", showlegend=False,
    )  # fmt: skip


def _band(fig: Sheet, s: RadarSeries, theme: Theme, *, name: str, angles: list[float]) -> None:
    colour = s.mark.colour(theme)
    low = [b.low for b in s.bands]
    high = [b.high for b in s.bands]
    hovers = [
        wording.lines(
            s.mark.label,
            f"{b.aspect}: {span(b)} of 10",
            f"lowered most by: {b.made_by}" if b.made_by else "",
            f"widest unknown: {b.unknown}" if b.unknown else "nothing left open",
        )
        for b in s.bands
    ]
    ring = [*angles, angles[0]]
    fig.add("scatterpolar", r=[*low, low[0]], theta=ring, subplot=name, mode="lines", line={"color": colour, "width": 2.4},
                         fill="toself", fillcolor=look.faded(colour, 0.34), hoverinfo="skip", showlegend=False)  # fmt: skip
    fig.add("scatterpolar", r=[*high, high[0]], theta=ring, subplot=name, mode="lines", line={"color": colour, "width": 1.4, "dash": "4px 3px"},
                         fill="tonext", fillcolor=look.faded(colour, 0.14), hoverinfo="skip", showlegend=False)  # fmt: skip
    fig.add(
        "scatterpolar", r=[(b.low + b.high) / 2 for b in s.bands], theta=angles, subplot=name, mode="markers", hovertext=hovers, hoverinfo="text",
        marker={"symbol": s.mark.symbol, "size": 8, "color": colour, "line": {"color": theme.ink, "width": 0.8}}, showlegend=False,
    )  # fmt: skip


def _crown(
    fig: Sheet, plan: RadarPlan, theme: Theme, *, name: str, angles: list[float], width: float
) -> None:
    most = max(plan.weight_share) or 1.0
    fig.add(
        "barpolar", r=[CROWN_TO - CROWN_FROM] * len(angles), base=[CROWN_FROM] * len(angles), theta=angles, subplot=name,
        width=[max(0.4, 1.9 * width * w / most) for w in plan.weight_share], marker={"color": theme.muted, "line": {"width": 0}},
        hovertext=[wording.lines(f"{a} counts for {w:.0%} of the choice") for a, w in zip(plan.aspects, plan.weight_share, strict=True)],
        hoverinfo="text", showlegend=False,
    )  # fmt: skip
