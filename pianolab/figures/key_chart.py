"""Draws a `KeyPlan`: panels over a small keyboard, with a strip that shows where no value is known."""

from __future__ import annotations

from dataclasses import dataclass
from math import log10

from pianolab.figures import look
from pianolab.figures.key_plan import KeyPlan, KeyPoint, KeySeries
from pianolab.figures.keyboard_drawing import add_small_keyboard, key_ticks, visible_registers
from pianolab.figures.look import Mark, Theme
from pianolab.figures.sheet import Sheet
from pianolab.keyboard import note_name

PANEL_PX, ROW_PX, ROW_GAP_PX, KEYBOARD_PX, GAP_ROW_PX, SPACE_PX = 250, 84, 26, 16, 11, 7
LETTER_SHARE, LETTER_KEYS = 0.09, 4


@dataclass(frozen=True, kw_only=True)
class Panel:
    """One stretch of the figure, from bottom to top, in pixels; ``axis`` is plotly's name of its y axis."""

    axis: str
    series: tuple[KeySeries, ...]
    bottom_px: float
    top_px: float


def panels_of(plan: KeyPlan) -> tuple[tuple[Panel, ...], Panel | None, float]:
    """Panels of the measure, the strip of gaps (if there are any), and the height of all, in pixels."""
    at: float = KEYBOARD_PX + SPACE_PX
    with_gaps = tuple(s for s in plan.loud if s.gaps)
    strip = None
    if with_gaps:
        strip = Panel(axis="y2", series=with_gaps, bottom_px=at, top_px=at + GAP_ROW_PX * len(with_gaps))
        at = strip.top_px + SPACE_PX
    if plan.arrange == "overlay":
        return (
            (Panel(axis="y3", series=plan.series, bottom_px=at, top_px=at + PANEL_PX),),
            strip,
            at + PANEL_PX,
        )
    panels = []
    for i, s in enumerate(reversed(plan.loud)):
        panels.append(Panel(axis=f"y{3 + i}", series=(s,), bottom_px=at, top_px=at + ROW_PX))
        at += ROW_PX + ROW_GAP_PX
    return tuple(panels), strip, at


def key_chart(plan: KeyPlan, theme: str, *, bare: bool) -> Sheet:
    """The plan as a figure; ``bare`` leaves title and legend to the page around it."""
    look_of = look.theme_of(theme)
    panels, strip, height = panels_of(plan)
    fig = look.base_figure(look_of, title=plan.title, height=int(height), bare=bare)
    span = [plan.first_key - 1.2, plan.last_key + (4.2 if plan.arrange == "overlay" else 1.2)]
    values, texts = key_ticks(plan.first_key, plan.last_key)
    fig.lay_out(
        xaxis=look.axis(look_of, range=span, tickvals=values, ticktext=texts, showgrid=False, anchor="y")
    )
    add_small_keyboard(fig, look_of, first_key=plan.first_key, last_key=plan.last_key)
    fig.lay_out(
        yaxis=look.axis(
            look_of, range=[0, 1], domain=[0, KEYBOARD_PX / height], showgrid=False, showticklabels=False
        )
    )
    if strip:
        _draw_gaps(fig, strip, height, plan=plan, theme=look_of)
    for panel in panels:
        _draw_panel(fig, panel, height, plan=plan, theme=look_of)
    _register_bands(fig, plan, look_of, panels=panels, height=height)
    if not bare:
        _kind_legend(fig, plan, look_of)
    return fig


def _draw_panel(fig: Sheet, panel: Panel, height: float, *, plan: KeyPlan, theme: Theme) -> None:
    low, high = plan.limits
    shown = [log10(low), log10(high)] if plan.log else [low, high]
    ticks = {"tickvals": list(plan.ticks), "ticktext": [f"{t:g}" for t in plan.ticks]} if plan.ticks else {}
    fig.lay_out(**{
        panel.axis.replace("y", "yaxis"): look.axis(
            theme, domain=[panel.bottom_px / height, min(1.0, panel.top_px / height)], range=shown,
            type="log" if plan.log else "linear", title=f"{plan.measure}, {plan.unit}" if plan.arrange == "overlay" else None, nticks=5, **ticks,
        )
    })  # fmt: skip
    if plan.usual:
        bottom, top = plan.usual
        fig.add_shape(
            "rect", xref="x", yref=panel.axis, x0=plan.first_key - 0.5, x1=plan.last_key + 0.5, y0=bottom, y1=top,
            fillcolor=look.faded(theme.faint, 0.18), line={"width": 0}, layer="below",
        )  # fmt: skip
    for s in panel.series:
        _draw_trend(fig, s, panel, plan=plan, theme=theme)
    for s in panel.series:
        if not s.quiet:
            _draw_points(fig, s, panel, plan=plan, theme=theme)
    if plan.arrange == "rows":
        _row_title(fig, panel.series[0].mark, panel, theme=theme)
    elif len(panel.series) > 1:
        _end_letters(fig, panel, plan=plan, theme=theme)


def _draw_trend(fig: Sheet, s: KeySeries, panel: Panel, *, plan: KeyPlan, theme: Theme) -> None:
    if not s.trend:
        return
    colour = theme.faint if s.quiet else s.mark.colour(theme)
    fig.add(
        "scatter", x=[k for k, _ in s.trend], y=[v for _, v in s.trend], yaxis=panel.axis, mode="lines",
        line={"color": colour, "width": 1.2 if s.quiet else 2.4, "dash": s.mark.dash}, hoverinfo="skip",
        name=look.plain(s.mark.label), legendgroup=s.mark.letter, showlegend=not s.quiet and plan.arrange == "overlay",
        connectgaps=False,
    )  # fmt: skip


def _draw_points(fig: Sheet, s: KeySeries, panel: Panel, *, plan: KeyPlan, theme: Theme) -> None:
    crowded = plan.arrange == "overlay" and len(plan.loud) > 1
    colour = s.mark.colour(theme)
    for kind in plan.kinds:
        points = [p for p in s.points if p.kind == kind]
        if not points:
            continue
        edge = colour if look.KIND_SYMBOL[kind].endswith("-open") else theme.ink
        fig.add(
            "scatter", x=[p.key for p in points], y=[_inside(p.value, plan) for p in points], yaxis=panel.axis, mode="markers",
            marker={
                "symbol": [_symbol(p, plan) for p in points], "color": colour, "opacity": 0.55 if crowded and kind == "measured" else 1.0,
                "size": [10 if kind == "fault" else 5 if crowded else 7] * len(points), "line": {"color": edge, "width": 1.3 if edge == colour else 0.7},
            },
            hovertext=[hover(p, s.mark, plan) for p in points], hoverinfo="text",
            name=kind, legendgroup=s.mark.letter, showlegend=False,
        )  # fmt: skip


def _inside(value: float, plan: KeyPlan) -> float:
    return min(max(value, plan.limits[0]), plan.limits[1])


def _symbol(p: KeyPoint, plan: KeyPlan) -> str:
    low, high = plan.limits
    if p.value > high:
        return "arrow-up"
    return "arrow-down" if p.value < low else look.KIND_SYMBOL[p.kind]


def hover(p: KeyPoint, mark: Mark, plan: KeyPlan) -> str:
    """Hover text of one point: key, value with its uncertainty, how it is to be taken."""
    sign = {"at least": "at least ", "at most": "at most "}.get(p.kind, "")
    spread = f" ± {p.sd:.{plan.digits}f}" if p.sd is not None else ", uncertainty not stated"
    beyond = "" if plan.limits[0] <= p.value <= plan.limits[1] else "beyond the edge of the chart"
    return look.lines(
        f"{mark.letter}  {mark.name}",
        f"{note_name(p.key)} (key {p.key})",
        f"{plan.measure}: {sign}{p.value:.{plan.digits}f} {plan.unit}{spread}",
        look.KIND_WORDS[p.kind],
        beyond,
        *p.words,
    )


def _draw_gaps(fig: Sheet, strip: Panel, height: float, *, plan: KeyPlan, theme: Theme) -> None:
    letters = [s.mark.letter for s in reversed(strip.series)]
    several = len(plan.loud) > 1
    for s in strip.series:
        fig.add(
            "scatter", x=[g.key for g in s.gaps], y=[letters.index(s.mark.letter)] * len(s.gaps), yaxis=strip.axis, mode="markers",
            marker={"symbol": "x-thin-open", "size": 5, "color": theme.muted, "line": {"width": 1.2, "color": theme.muted}},
            hovertext=[
                look.lines(s.mark.label, f"{note_name(g.key)} (key {g.key})", "not known", g.reason) for g in s.gaps
            ],
            hoverinfo="text", name="not known", showlegend=False,
        )  # fmt: skip
    labels = [f"no value {letter}" if several else "no value" for letter in letters]
    fig.lay_out(
        yaxis2=look.axis(
            theme,
            range=[-0.7, len(letters) - 0.3],
            domain=[strip.bottom_px / height, strip.top_px / height],
            tickvals=list(range(len(letters))),
            ticktext=labels,
            showgrid=False,
            tickfont={"size": 9.5, "color": theme.muted},
        )
    )


def _row_title(fig: Sheet, mark: Mark, panel: Panel, *, theme: Theme) -> None:
    fig.add_annotation(
        xref="paper", x=0, xanchor="left", yref=f"{panel.axis} domain", y=1, yanchor="bottom",
        text=f"<b>{look.plain(mark.letter)}</b>  {look.plain(mark.name)}", font={"size": look.SMALL_PX, "color": theme.ink},
    )  # fmt: skip


def _end_letters(fig: Sheet, panel: Panel, *, plan: KeyPlan, theme: Theme) -> None:
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
            xref="x", x=x + 2.6, yref=f"{panel.axis} domain", y=y, text=f"<b>{s.mark.letter}</b>",
            bgcolor=fill, borderpad=2, font={"size": 11, "color": theme.muted if s.quiet else look.ink_on(fill)},
        )  # fmt: skip


def _share(value: float, plan: KeyPlan) -> float:
    low, high = plan.limits
    value = min(max(value, low), high)
    if plan.log:
        return log10(value / low) / log10(high / low)
    return (value - low) / (high - low)


def _register_bands(
    fig: Sheet, plan: KeyPlan, theme: Theme, *, panels: tuple[Panel, ...], height: float
) -> None:
    top = max(p.top_px for p in panels) / height
    for i, (name, first, last) in enumerate(visible_registers(plan.first_key, plan.last_key)):
        if i % 2 == 0:
            fig.add_shape(
                "rect", xref="x", yref="paper", x0=first - 0.5, x1=last + 0.5, y0=KEYBOARD_PX / height, y1=min(1.0, top),
                fillcolor=look.faded(theme.faint, 0.09), line={"width": 0}, layer="below",
            )  # fmt: skip
        if plan.arrange == "overlay":
            fig.add_annotation(
                xref="x", x=(first + last) / 2, yref="paper", y=min(1.0, top), yanchor="top",
                text=name, font={"size": 11, "color": theme.muted},
            )  # fmt: skip


def _kind_legend(fig: Sheet, plan: KeyPlan, theme: Theme) -> None:
    for kind in plan.kinds:
        fig.add(
            "scatter", x=[None], y=[None], mode="markers", name=look.KIND_WORDS[kind], hoverinfo="skip",
            marker={"symbol": look.KIND_SYMBOL[kind], "size": 8, "color": theme.muted},
        )  # fmt: skip
