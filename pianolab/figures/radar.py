"""The six aspects of every instrument as bands from low to high, with the buyer's weights around them.

Two to eight instruments and three to eight aspects make radars, a small one each at the same scale. A single
instrument or other numbers of aspects are easier to read as bars, and are drawn so.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import ceil

from pianolab.assess.results import BEST, WORST, Assessment
from pianolab.errors import BadInput
from pianolab.figures import frame, look, wording
from pianolab.figures.look import Mark, Theme, marks_for
from pianolab.figures.plans import Plan
from pianolab.figures.sheet import Sheet, drawing
from pianolab.model import BuyerProfile
from pianolab.show import Row

MOST_SPOKES, FEWEST_SPOKES = 8, 3
PANEL_PX, BAR_PX, BAR_LEAST_PX = 290, 15, 36
WORTH_SAYING = 2.0
CROWN_FROM, CROWN_TO = 10.25, 11.6


@dataclass(frozen=True, kw_only=True)
class AspectBand:
    """One aspect of one instrument, with the largest reason for its place and for its width."""

    aspect: str
    low: float
    high: float
    made_by: str
    unknown: str


@dataclass(frozen=True, kw_only=True)
class RadarSeries:
    """One instrument's bands, in the order of the plan's aspects."""

    piano_id: str
    mark: Mark
    bands: tuple[AspectBand, ...]


@dataclass(frozen=True, kw_only=True, repr=False)
class RadarPlan(Plan):
    """Aspect bands of the shortlist; ``weight_share`` is each aspect's part of all that counts (middle values)."""

    aspects: tuple[str, ...]
    weight_share: tuple[float, ...]
    series: tuple[RadarSeries, ...]
    form: str
    header = ("instrument", "aspect", "low", "high", "counts for", "largest reason", "largest unknown")

    def rows(self) -> list[Row]:
        return [
            (s.mark.label, b.aspect, round(b.low, 2), round(b.high, 2), f"{w:.0%}", b.made_by, b.unknown)
            for s in self.series
            for b, w in zip(s.bands, self.weight_share, strict=True)
        ]


def plan_radar(
    assessments: Sequence[Assessment],
    *,
    profile: BuyerProfile | None = None,
    marks: Mapping[str, Mark] | None = None,
) -> RadarPlan:
    """Plan of the radar: each aspect's interval from 0 to 10, per instrument.

    Parameters
    ----------
    assessments : one per instrument, all with the same aspects
    profile : whose weights are shown; equal weights where None
    marks : letters and colours already given on a page; made from the names where None

    Returns
    -------
    RadarPlan; ``form`` is ``radar`` or ``bars``

    Raises
    ------
    BadInput : no assessment, or different aspects
    """
    if not assessments:
        raise BadInput("assessments", "none", "at least one")
    aspects = tuple(a.aspect for a in assessments[0].aspects)
    if any(tuple(b.aspect for b in a.aspects) != aspects for a in assessments):
        raise BadInput("assessments", "different aspects", "the same aspects, in one order, for all")
    marks = marks or marks_for({a.piano.id: a.piano.name for a in assessments})
    series = tuple(_series(a, marks[a.piano.id]) for a in assessments)
    shares = weight_shares(aspects, profile)
    round_form = len(series) > 1 and FEWEST_SPOKES <= len(aspects) <= MOST_SPOKES
    return RadarPlan(
        title="What is known about each aspect", alt=_alt(series), aspects=aspects, weight_share=shares, series=series,
        form="radar" if round_form else "bars",
    )  # fmt: skip


def weight_shares(aspects: Sequence[str], profile: BuyerProfile | None) -> tuple[float, ...]:
    """Part of each aspect in all that counts, from the middles of the weight ranges; they add up to 1.

    Examples
    --------
    >>> weight_shares(["tone", "touch"], None)
    (0.5, 0.5)
    """
    if profile is None:
        return tuple(1.0 / len(aspects) for _ in aspects)
    middles = [sum(profile.weights.get(a, (0.0, 0.0))) / 2.0 for a in aspects]
    total = sum(middles) or 1.0
    return tuple(m / total for m in middles)


def _series(a: Assessment, mark: Mark) -> RadarSeries:
    bands = []
    for r in a.aspects:
        widest = max(r.unknown, key=lambda u: u.width, default=None)
        worst = min(r.made_by, key=lambda c: c.low + c.high, default=None)
        bands.append(
            AspectBand(
                aspect=r.aspect,
                low=r.low,
                high=r.high,
                made_by=worst.text if worst else "",
                unknown=f"{widest.text} ({widest.reason})" if widest else "",
            )
        )
    return RadarSeries(piano_id=a.piano.id, mark=mark, bands=tuple(bands))


def _alt(series: tuple[RadarSeries, ...]) -> str:
    said = []
    for s in series:
        weak = min(s.bands, key=lambda b: b.low + b.high)
        strong = max(s.bands, key=lambda b: b.low + b.high)
        wide = max(s.bands, key=lambda b: b.high - b.low)
        open_part = (
            f", least known in {wide.aspect} ({span(wide)})" if wide.high - wide.low >= WORTH_SAYING else ""
        )
        said.append(
            f"{s.mark.letter} is strongest in {strong.aspect} ({span(strong)}), weakest in {weak.aspect} ({span(weak)}){open_part}"
        )
    return (
        f"On a scale from 0 to 10, {'; '.join(said)}. Wide bands mean that much was not checked or not heard."
    )


def span(b: AspectBand) -> str:
    """An interval in words.

    Examples
    --------
    >>> span(AspectBand(aspect="tone", low=4.0, high=7.5, made_by="", unknown=""))
    '4.0 to 7.5'
    """
    one, other = f"{b.low:.1f}", f"{b.high:.1f}"
    return one if one == other else f"{one} to {other}"


@drawing
def draw_radar(
    plan: RadarPlan, theme: str = "light", *, bare: bool = False, panel: str | None = None
) -> Sheet:
    """The plan as a figure; ``panel`` draws the radar of one piano id only."""
    look_of = look.theme_of(theme)
    if plan.form == "bars":
        return _draw_bars(plan, look_of, bare=bare)
    chosen = [s for s in plan.series if panel in (None, s.piano_id)]
    if not chosen:
        raise BadInput("panel", repr(panel), "a piano id of the plan")
    columns = 1 if len(chosen) == 1 else 2 if len(chosen) in (2, 4) else 3
    rows = ceil(len(chosen) / columns)
    fig = frame.base_figure(look_of, title=plan.title, height=PANEL_PX * rows, bare=bare)
    fig.lay_out(margin={"l": 8, "r": 8, "b": 8}, showlegend=False)
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
    y = [1 - (row + 0.92) / rows, 1 - (row + 0.1) / rows]
    labels = [f"{wording.wrapped(a, width=10)}" for a in plan.aspects]
    fig.lay_out(**{
        name: {
            "domain": {"x": x, "y": y}, "bgcolor": "rgba(0,0,0,0)",
            "radialaxis": {"range": [0, CROWN_TO], "tickvals": [0, 5, 10], "showline": False, "gridcolor": theme.rule, "angle": angles[1] / 2,
                            "tickangle": 0, "tickfont": {"size": 10, "color": theme.muted}, "ticks": "", "layer": "below traces"},
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
    if not bare:
        fig.add_annotation(
            x=(column + 0.02) / columns, y=1 - row / rows, xref="paper", yref="paper", xanchor="left", yanchor="top",
            text=f"<b>{s.mark.letter}</b>  {wording.plain(s.mark.name)}", font={"size": look.TEXT_PX, "color": theme.ink},
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


def _draw_bars(plan: RadarPlan, theme: Theme, *, bare: bool) -> Sheet:
    n = len(plan.series)
    height = len(plan.aspects) * max(BAR_PX * n + 14, BAR_LEAST_PX) + 20
    fig = frame.base_figure(theme, title=plan.title, height=height, bare=bare)
    for i, s in enumerate(plan.series):
        at = [-(j + (i + 0.5) / n * 0.8 - 0.4) for j in range(len(plan.aspects))]
        colour = s.mark.colour(theme)
        fig.add(
            "bar", orientation="h", y=at, base=[b.low for b in s.bands], x=[max(b.high - b.low, 0.06) for b in s.bands], width=0.62 / n,
            marker={"color": look.faded(colour, 0.5), "line": {"color": colour, "width": 1.4}}, name=wording.plain(s.mark.label),
            hovertext=[wording.lines(s.mark.label, f"{b.aspect}: {span(b)} of 10", b.made_by, b.unknown) for b in s.bands],
            hoverinfo="text", text=[span(b) for b in s.bands], textposition="none",
        )  # fmt: skip
    ticks = [
        f"{wording.wrapped(a, width=14)}<br>counts {w:.0%}"
        for a, w in zip(plan.aspects, plan.weight_share, strict=True)
    ]
    fig.lay_out(
        margin={"l": 110, "b": 34},
        yaxis=frame.axis(
            theme,
            tickvals=[-j for j in range(len(ticks))],
            ticktext=ticks,
            showgrid=False,
            range=[-len(ticks) + 0.4, 0.6],
        ),
        xaxis=frame.axis(
            theme,
            range=[WORST - 0.1, BEST + 0.1],
            tickvals=[0, 2, 4, 6, 8, 10],
            title="score, 0 to 10; the bar is what is possible",
        ),
    )
    return fig
