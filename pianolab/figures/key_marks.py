"""Marks of a chart over the keys: points, trend lines, letters at their ends, and the strip of keys without a value."""

from __future__ import annotations

from dataclasses import dataclass
from math import log10

from pianolab.figures import frame, look, wording
from pianolab.figures.key_plan import KeyPlan, KeyPoint, KeySeries
from pianolab.figures.look import Mark, Theme
from pianolab.figures.sheet import Sheet
from pianolab.keyboard import note_name

LETTER_SHARE, LETTER_KEYS = 0.09, 4


@dataclass(frozen=True, kw_only=True)
class Panel:
    """One stretch of the figure, from bottom to top, in pixels; ``axis`` is plotly's name of its y axis."""

    axis: str
    series: tuple[KeySeries, ...]
    bottom_px: float
    top_px: float


def draw_trend(fig: Sheet, s: KeySeries, panel: Panel, *, plan: KeyPlan, theme: Theme) -> None:
    if not s.trend:
        return
    colour = theme.faint if s.quiet else s.mark.colour(theme)
    fig.add(
        "scatter",
        x=[k for k, _ in s.trend],
        y=[v for _, v in s.trend],
        yaxis=panel.axis,
        mode="lines",
        line={"color": colour, "width": 1.2 if s.quiet else 2.4, "dash": s.mark.dash},
        hoverinfo="skip",
        name=wording.plain(s.mark.label),
        legendgroup=s.mark.letter,
        showlegend=not s.quiet and plan.arrange == "overlay",
        connectgaps=False,
    )


def draw_points(fig: Sheet, s: KeySeries, panel: Panel, *, plan: KeyPlan, theme: Theme) -> None:
    crowded = plan.arrange == "overlay" and len(plan.loud) > 1
    colour = s.mark.colour(theme)
    for kind in plan.kinds:
        points = [p for p in s.points if p.kind == kind]
        if not points:
            continue
        edge = colour if look.KIND_SYMBOL[kind].endswith("-open") else theme.ink
        fig.add(
            "scatter",
            x=[p.key for p in points],
            y=[_inside(p.value, plan) for p in points],
            yaxis=panel.axis,
            mode="markers",
            marker={
                "symbol": [_symbol(p, plan) for p in points],
                "color": colour,
                "opacity": 0.55 if crowded and kind == "measured" else 1.0,
                "size": [10 if kind in ("fault", "moved") else 5 if crowded else 7] * len(points),
                "line": {"color": edge, "width": 1.3 if edge == colour else 0.7},
            },
            hovertext=[hover(p, s.mark, plan) for p in points],
            hoverinfo="text",
            name=kind,
            legendgroup=s.mark.letter,
            showlegend=False,
            cliponaxis=False,
        )


def _inside(value: float, plan: KeyPlan) -> float:
    return min(max(value, plan.limits[0]), plan.limits[1])


def _symbol(p: KeyPoint, plan: KeyPlan) -> str:
    low, high = plan.limits
    if p.value > high:
        return "arrow-up"
    return "arrow-down" if p.value < low else look.KIND_SYMBOL[p.kind]


def hover(p: KeyPoint, mark: Mark, plan: KeyPlan) -> str:
    """Hover text of one point: key, value with its uncertainty, how it is to be taken."""
    sign = f"{p.kind} " if p.kind in ("at least", "at most") else ""
    spread = f" ± {p.sd:.{plan.digits}f}" if p.sd is not None else ", uncertainty not stated"
    spread = "" if sign else spread
    beyond = "" if plan.limits[0] <= p.value <= plan.limits[1] else "beyond the edge of the chart"
    return wording.lines(
        f"{mark.letter}  {mark.name}",
        f"{note_name(p.key)} (key {p.key})",
        f"{plan.measure}: {sign}{p.value:.{plan.digits}f} {plan.unit}{spread}",
        look.KIND_WORDS[p.kind],
        beyond,
        *p.words,
    )


def draw_gaps(fig: Sheet, strip: Panel, height: float, *, plan: KeyPlan, theme: Theme) -> None:
    letters = [s.mark.letter for s in reversed(strip.series)]
    several = len(plan.loud) > 1
    for s in strip.series:
        fig.add(
            "scatter",
            x=[g.key for g in s.gaps],
            y=[letters.index(s.mark.letter)] * len(s.gaps),
            yaxis=strip.axis,
            mode="markers",
            marker={
                "symbol": "x-thin-open",
                "size": 5,
                "color": theme.muted,
                "line": {"width": 1.2, "color": theme.muted},
            },
            hovertext=[
                wording.lines(s.mark.label, f"{note_name(g.key)} (key {g.key})", "not known", g.reason)
                for g in s.gaps
            ],
            hoverinfo="text",
            name="not known",
            showlegend=False,
        )
    labels = [f"no value {letter}" if several else "no value" for letter in letters]
    fig.lay_out(
        yaxis2=frame.axis(
            theme,
            range=[-0.7, len(letters) - 0.3],
            domain=[strip.bottom_px / height, strip.top_px / height],
            tickvals=list(range(len(letters))),
            ticktext=labels,
            showgrid=False,
            tickfont={"size": 10, "color": theme.muted},
        )
    )


def row_title(fig: Sheet, mark: Mark, panel: Panel, *, theme: Theme, unit: str = "") -> None:
    """The instrument over its row, and at the right, where it is given, what the row's scale means."""
    common = {"xref": "paper", "yref": f"{panel.axis} domain", "y": 1, "yanchor": "bottom"}
    fig.add_annotation(
        x=0,
        xanchor="left",
        text=f"<b>{wording.plain(mark.letter)}</b>  {wording.plain(mark.name)}",
        font={"size": look.SMALL_PX, "color": theme.ink},
        **common,
    )
    if unit:
        fig.add_annotation(
            x=1, xanchor="right", text=wording.plain(unit), font={"size": 11, "color": theme.muted}, **common
        )


def end_letters(fig: Sheet, panel: Panel, *, plan: KeyPlan, theme: Theme) -> None:
    ends = []
    for s in panel.series:
        known = [(k, v) for k, v in s.trend if v is not None]
        if known:
            ends.append((s, known[-1][0], _share(known[-1][1], plan)))
    placed: list[tuple[float, float]] = []
    for s, x, y in sorted(ends, key=lambda e: e[2]):
        y = max(
            [y, *(b + LETTER_SHARE for a, b in placed if abs(a - x) < LETTER_KEYS and b + LETTER_SHARE > y)]
        )
        placed.append((x, y))
        fill = theme.paper if s.quiet else s.mark.colour(theme)
        fig.add_annotation(
            xref="x",
            x=x + 2.6,
            yref=f"{panel.axis} domain",
            y=y,
            yanchor="middle",
            text=f"<b>{s.mark.letter}</b>",
            bgcolor=fill,
            borderpad=2,
            font={"size": 11, "color": theme.muted if s.quiet else look.ink_on(fill)},
        )


def _share(value: float, plan: KeyPlan) -> float:
    low, high = plan.limits
    value = min(max(value, low), high)
    if plan.log:
        return log10(value / low) / log10(high / low)
    return (value - low) / (high - low)
