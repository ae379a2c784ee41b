"""Draws what each instrument will cost: a bar from the price asked to the likely total, and the range it may end in."""

from __future__ import annotations

from pianolab.figures import frame, look, wording
from pianolab.figures.cost_plan import CostPlan, CostRow
from pianolab.figures.look import Theme
from pianolab.figures.sheet import Sheet, drawing
from pianolab.show import about, money

ROW_PX, WORDS_LINE_PX, BUDGET_PX = 64, 15, 22
TOTAL = "total with needed repairs, moving and first tunings"
ALONE = "needed repairs alone; the asking price is not known"


@drawing
def draw_costs(plan: CostPlan, theme: str = "light", *, bare: bool = False, narrow: bool = False) -> Sheet:
    """The plan as a figure; ``narrow`` breaks its words for a phone."""
    look_of = look.theme_of(theme)
    n = len(plan.costs)
    two_lines = any("<br>" in _row_words(c, plan.currency, narrow=narrow) for c in plan.costs)
    row_px = ROW_PX + (WORDS_LINE_PX if two_lines else 0)
    height = row_px * n + BUDGET_PX
    fig = frame.base_figure(look_of, title=plan.title, height=height, bare=bare, bottom=44, legend=2)
    _bars_in_words(fig, look_of)
    for i, c in enumerate(plan.costs):
        _draw_row(fig, c, -i, plan=plan, theme=look_of, narrow=narrow)
    if plan.budget is not None:
        fig.add_shape(
            "line",
            xref="x",
            yref="paper",
            x0=float(plan.budget),
            x1=float(plan.budget),
            y0=0,
            y1=1 - 0.7 * BUDGET_PX / height,
            line={"color": look_of.ink, "width": 1.2, "dash": "4px 3px"},
        )
        fig.add_annotation(
            x=float(plan.budget),
            y=1,
            yref="paper",
            yanchor="top",
            xanchor="right",
            text=f"budget {money(plan.budget, plan.currency)} ",
            font={"size": look.SMALL_PX, "color": look_of.ink},
        )
    fig.lay_out(
        margin={"l": 40, "r": 16},
        barmode="overlay",
        xaxis=frame.axis(
            look_of,
            range=[0, 1.12 * plan.most],
            title=_axis_words(plan, bare=bare),
            tickformat=",.0f",
            nticks=6,
        ),
        yaxis=frame.axis(
            look_of,
            range=[-n + 0.45, 0.55 + WORDS_LINE_PX / row_px * two_lines + BUDGET_PX / row_px],
            showgrid=False,
            tickvals=[-i for i in range(n)],
            ticktext=[wording.strong(c.mark.letter) for c in plan.costs],
            tickfont={"size": 15, "color": look_of.ink},
        ),
    )
    return fig


def _axis_words(plan: CostPlan, *, bare: bool) -> str:
    """Under the chart: that these are estimates, by whose prices, of which day; a page says that beside it."""
    return f"{plan.currency}, estimates" + (f"; prices of {plan.origin}" if plan.origin and not bare else "")


def _bars_in_words(fig: Sheet, theme: Theme) -> None:
    """The legend of the two parts of a bar, in a colour that is no instrument's."""
    for name, fill in (
        ("asking price", theme.muted),
        ("on top of it, most likely", look.faded(theme.muted, 0.28)),
    ):
        fig.add(
            "bar",
            orientation="h",
            x=[None],
            y=[None],
            name=name,
            hoverinfo="skip",
            marker={"color": fill, "line": {"color": theme.muted, "width": 1.2}},
        )


def _draw_row(fig: Sheet, c: CostRow, y: float, *, plan: CostPlan, theme: Theme, narrow: bool) -> None:
    """One instrument: its two bars, the range of the total, the price to walk away above, and all in words above."""
    asking = float(c.asking) if c.asking is not None else 0.0
    if c.asking is not None:
        _bar(
            fig, c, y, theme=theme, span=(0.0, asking), words=f"asking price {money(c.asking, plan.currency)}"
        )
    low, middle, high = c.total or c.repairs
    on_top = (asking, max(float(middle) - asking, 0.0))
    likely = (f"most likely {about(middle, plan.currency)}", TOTAL if c.total else ALONE)
    _bar(fig, c, y, theme=theme, span=on_top, words="\n".join(likely), likely=True)
    between = f"{about(low, plan.currency)} to {about(high, plan.currency)}"
    fig.add(
        "scatter",
        x=[float(low), float(high)],
        y=[y, y],
        mode="lines+markers",
        line={"color": theme.ink, "width": 1.6},
        name="8 of 10 tries fall between",
        marker={"symbol": "line-ns-open", "size": 13, "color": theme.ink, "line": {"width": 1.6}},
        hoverinfo="text",
        showlegend=y == 0,
        hovertext=[wording.lines(c.mark.label, between, TOTAL if c.total else ALONE, "estimates, not quotes")]
        * 2,
    )
    if c.offer is not None and not c.vetoed:
        _walk_away(fig, c, y, plan=plan, theme=theme)
    fig.add_annotation(
        x=0,
        xref="paper",
        xanchor="left",
        y=y + 0.22,
        yanchor="bottom",
        text=_row_words(c, plan.currency, narrow=narrow),
        font={"size": look.SMALL_PX, "color": theme.ink},
        align="left",
        borderpad=0,
        bgcolor=theme.paper,
    )


def _bar(
    fig: Sheet,
    c: CostRow,
    y: float,
    *,
    theme: Theme,
    span: tuple[float, float],
    words: str,
    likely: bool = False,
) -> None:
    """What is asked, in full colour, or what most likely comes on top, paler."""
    colour, (base, length) = c.mark.colour(theme), span
    fig.add(
        "bar",
        orientation="h",
        y=[y],
        base=[base],
        x=[length],
        width=0.34,
        name="on top of it, most likely" if likely else "asking price",
        marker={
            "color": look.faded(colour, 0.28) if likely else colour,
            "line": {"color": colour, "width": 1.2} if likely else {"width": 0},
        },
        hoverinfo="text",
        showlegend=False,
        hovertext=[wording.lines(c.mark.label, *words.split("\n"))],
    )


def _walk_away(fig: Sheet, c: CostRow, y: float, *, plan: CostPlan, theme: Theme) -> None:
    """The price to walk away above, under the bar, with its amount on the side where there is room."""
    assert c.offer is not None
    right = float(c.offer) < 0.5 * plan.most
    fig.add(
        "scatter",
        x=[float(c.offer)],
        y=[y - 0.29],
        mode="markers",
        marker={"symbol": "triangle-up", "size": 11, "color": theme.ink},
        hovertext=[
            wording.lines(
                c.mark.label,
                f"walk away above {money(c.offer, plan.currency)}, aim at {money(c.aim, plan.currency)}",
            )
        ],
        hoverinfo="text",
        name="walk away above",
        showlegend=False,
    )
    fig.add_annotation(
        x=float(c.offer),
        y=y - 0.31,
        xanchor="left" if right else "right",
        text=f"walk away above {money(c.offer, plan.currency)}",
        borderpad=9,
        font={"size": 11, "color": theme.ink},
    )


def _row_words(c: CostRow, code: str, *, narrow: bool) -> str:
    asked = f"asks {money(c.asking, code)}" if c.asking is not None else "asking price not known"
    end = (
        f", in the end about {about(c.total[1], code)}"
        if c.total
        else f", needed repairs about {about(c.repairs[1], code)}"
    )
    return wording.wrapped(
        f"{c.mark.name}: {asked}{end}", width=frame.PHONE_CHARS if narrow else frame.NOTEBOOK_CHARS
    )
