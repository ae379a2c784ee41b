"""Draws the aspects as bars: for a single instrument, and for more aspects than a radar can show."""

from __future__ import annotations

from math import ceil

from pianolab.assess.results import BEST, WORST
from pianolab.figures import frame, look, wording
from pianolab.figures.look import Theme
from pianolab.figures.radar_plan import RadarPlan, span
from pianolab.figures.sheet import Sheet

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
            title="score, 0 to 10; the bar is what is possible",
        ),
    )
    return fig
