"""Draws a `KeyPlan`: panels over a small keyboard, with a strip that shows where no value is known."""

from __future__ import annotations

from math import ceil, log10

from pianolab.figures import frame, look, wording
from pianolab.figures.key_marks import (
    END_KEYS,
    Panel,
    draw_ends,
    draw_gaps,
    draw_points,
    draw_trend,
    end_room,
    line_ends,
    row_title,
)
from pianolab.figures.key_plan import NOT_RECORDED, KeyPlan
from pianolab.figures.keyboard_drawing import add_small_keyboard, key_ticks, visible_registers
from pianolab.figures.look import Theme
from pianolab.figures.sheet import Sheet, drawing

PANEL_PX, ROW_PX, ROW_GAP_PX, KEYBOARD_PX, GAP_ROW_PX, SPACE_PX = 250, 84, 26, 16, 13, 8
ROW_TITLE_PX = 20


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
    return tuple(panels), strip, at - ROW_GAP_PX + ROW_TITLE_PX


@drawing
def draw_over_keys(plan: KeyPlan, theme: str = "light", *, bare: bool = False, narrow: bool = False) -> Sheet:
    """The plan as a figure; ``bare`` leaves title and legend to the page around it.

    Each line's name stands at its end; a ``narrow`` chart, for a phone, has room for its letter only.
    """
    look_of = look.theme_of(theme)
    panels, strip, height = panels_of(plan)
    fig = frame.base_figure(
        look_of, title=plan.title, height=int(height), bare=bare, legend=_legend_rows(plan)
    )
    ends = line_ends(plan, narrow=narrow) if plan.arrange == "overlay" else []
    span = [plan.first_key - 1.2, plan.last_key + (END_KEYS if ends else 1.2)]
    if ends:
        fig.lay_out(margin={"r": end_room(ends)})
    values, texts = key_ticks(plan.first_key, plan.last_key)
    fig.lay_out(
        xaxis=frame.axis(look_of, range=span, tickvals=values, ticktext=texts, showgrid=False, anchor="y")
    )
    add_small_keyboard(fig, look_of, first_key=plan.first_key, last_key=plan.last_key)
    fig.lay_out(
        yaxis=frame.axis(
            look_of, range=[0, 1], domain=[0, KEYBOARD_PX / height], showgrid=False, showticklabels=False
        )
    )
    if strip:
        draw_gaps(fig, strip, height, plan=plan, theme=look_of)
    for panel in panels:
        _draw_panel(fig, panel, height, plan=plan, theme=look_of)
    if ends:
        draw_ends(fig, panels[0], ends, plan=plan, theme=look_of)
    _register_bands(fig, plan, look_of, panels=panels, height=height, size=9 if narrow else 11)
    if not bare:
        _name_the_others(fig, plan, look_of)
        _kind_legend(fig, plan, look_of)
    return fig


def _draw_panel(fig: Sheet, panel: Panel, height: float, *, plan: KeyPlan, theme: Theme) -> None:
    low, high = plan.limits
    shown = [log10(low), log10(high)] if plan.log else [low, high]
    ticks = {"tickvals": list(plan.ticks), "ticktext": [f"{t:g}" for t in plan.ticks]} if plan.ticks else {}
    fig.lay_out(
        **{
            panel.axis.replace("y", "yaxis"): frame.axis(
                theme,
                domain=[panel.bottom_px / height, min(1.0, panel.top_px / height)],
                range=shown,
                type="log" if plan.log else "linear",
                title=f"{plan.measure}, {plan.unit}" if plan.arrange == "overlay" else None,
                nticks=5,
                **ticks,
            )
        }
    )
    if plan.usual:
        bottom, top = plan.usual
        fig.add_shape(
            "rect",
            xref="x",
            yref=panel.axis,
            x0=plan.first_key - 0.5,
            x1=plan.last_key + 0.5,
            y0=bottom,
            y1=top,
            fillcolor=look.faded(theme.faint, 0.18),
            line={"width": 0},
            layer="below",
        )
    for s in panel.series:
        draw_trend(fig, s, panel, theme=theme)
    for s in panel.series:
        if not s.quiet:
            draw_points(fig, s, panel, plan=plan, theme=theme)
    if plan.arrange == "rows":
        top_row = panel.series[0] is plan.loud[0]
        unit = plan.unit if top_row else ""
        row_title(fig, panel.series[0].mark, panel, theme=theme, unit=unit)


def _register_bands(
    fig: Sheet, plan: KeyPlan, theme: Theme, *, panels: tuple[Panel, ...], height: float, size: int
) -> None:
    top = max(p.top_px for p in panels) / height
    for i, (name, first, last) in enumerate(visible_registers(plan.first_key, plan.last_key)):
        if i % 2 == 0:
            fig.add_shape(
                "rect",
                xref="x",
                yref="paper",
                x0=first - 0.5,
                x1=last + 0.5,
                y0=KEYBOARD_PX / height,
                y1=min(1.0, top),
                fillcolor=look.faded(theme.faint, 0.09),
                line={"width": 0},
                layer="below",
            )
        if plan.arrange == "overlay":
            fig.add_annotation(
                xref="x",
                x=(first + last) / 2,
                yref="paper",
                y=min(1.0, top),
                yanchor="top",
                text=name,
                font={"size": size, "color": theme.muted},
            )


def _legend_rows(plan: KeyPlan) -> int:
    """Rows of the legend at notebook width: instruments that no line and no row names, then the kinds of points."""
    named = len(_unnamed(plan))
    return max(1, ceil((named + len(plan.kinds)) / 3))


def _unnamed(plan: KeyPlan) -> tuple[look.Mark, ...]:
    """Instruments that nobody recorded, where no name at the end of a line says so."""
    return plan.unheard if plan.arrange == "rows" else ()


def _name_the_others(fig: Sheet, plan: KeyPlan, theme: Theme) -> None:
    for mark in _unnamed(plan):
        fig.add(
            "scatter",
            x=[None],
            y=[None],
            mode="markers",
            name=wording.plain(f"{mark.label}: {NOT_RECORDED}"),
            hoverinfo="skip",
            marker={"symbol": mark.symbol, "size": 9, "color": mark.colour(theme)},
        )


def _kind_legend(fig: Sheet, plan: KeyPlan, theme: Theme) -> None:
    for kind in plan.kinds:
        fig.add(
            "scatter",
            x=[None],
            y=[None],
            mode="markers",
            name=look.KIND_WORDS[kind],
            hoverinfo="skip",
            marker={"symbol": look.KIND_SYMBOL[kind], "size": 8, "color": theme.muted},
        )
