"""Marks of a chart over the keys: points, trend lines, names at their ends, and the strip of keys without a value."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import log10

from pianolab.figures import frame, look, wording
from pianolab.figures.key_plan import NOT_RECORDED, KeyPlan, KeyPoint, KeySeries
from pianolab.figures.look import Mark, Theme
from pianolab.figures.sheet import Sheet
from pianolab.keyboard import note_name

END_CHARS, END_LINE_PX, END_LEFT_PX, END_KEYS = 20, 15.0, 12, 6.0
"""Names at the ends of lines: letters in a line of words, its height, how far they stand off, keys' widths to lead there."""
NOT_KNOWN = "not known"


@dataclass(frozen=True, kw_only=True)
class Panel:
    """One stretch of the figure, from bottom to top, in pixels; ``axis`` is plotly's name of its y axis."""

    axis: str
    series: tuple[KeySeries, ...]
    bottom_px: float
    top_px: float


def draw_trend(fig: Sheet, s: KeySeries, panel: Panel, *, theme: Theme) -> None:
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
        showlegend=False,
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
        text=f"{wording.strong(mark.letter)}  {wording.plain(mark.name)}",
        font={"size": look.SMALL_PX, "color": theme.ink},
        **common,
    )
    if unit:
        fig.add_annotation(
            x=1, xanchor="right", text=wording.plain(unit), font={"size": 11, "color": theme.muted}, **common
        )


@dataclass(frozen=True, kw_only=True)
class LineEnd:
    """What stands beside the end of a line: a mark and its words, and where the line ends (None: there is none)."""

    mark: Mark
    words: str
    quiet: bool = False
    at: tuple[int, float] | None = None


def line_ends(plan: KeyPlan, *, narrow: bool) -> list[LineEnd]:
    """The name of each instrument at the end of its line, or that nothing is known of it; a letter where it is narrow."""
    ends = []
    for s in plan.series:
        known = [(k, v) for k, v in s.trend if v is not None]
        if known or not s.quiet:
            words = _end_words(s.mark, "" if known else NOT_KNOWN, narrow=narrow)
            ends.append(LineEnd(mark=s.mark, words=words, quiet=s.quiet, at=known[-1] if known else None))
    return ends + [LineEnd(mark=m, words=_end_words(m, NOT_RECORDED, narrow=narrow)) for m in plan.unheard]


def _end_words(mark: Mark, unknown: str, *, narrow: bool) -> str:
    if narrow:
        return wording.strong(mark.letter) + (" ?" if unknown else "")
    name = f"{mark.letter} {mark.name}" + (f": {unknown}" if unknown else "")
    first, *others = wording.wrapped(name, width=END_CHARS).split("<br>")
    return "<br>".join([f"<b>{first[0]}</b>{first[1:]}", *others])


def end_room(ends: Sequence[LineEnd]) -> float:
    """Pixels that the words at the ends of the lines take."""
    longest = max((len(line) for e in ends for line in e.words.replace("<b>", "").split("<br>")), default=0)
    return END_LEFT_PX + 0.56 * look.SMALL_PX * longest


def spread(wanted: Sequence[float], sizes: Sequence[float], *, most: float) -> list[float]:
    """Middles of labels of these sizes, as near as can be to where they are wanted, from 0 to ``most``, none over another.

    Labels that would overlap share the place about the middle of what they want. Where there is no room for
    all they stand at equal steps.

    Examples
    --------
    >>> spread([50, 52, 10], [10, 10, 10], most=100)
    [46.0, 56.0, 10]
    >>> spread([2, 99], [10, 10], most=100)
    [5.0, 95.0]
    """
    order = sorted(range(len(wanted)), key=lambda i: (wanted[i], i))
    if sum(sizes) >= most:
        step = most / max(1, len(order))
        return [step * (order.index(i) + 0.5) for i in range(len(order))]
    blocks: list[list[int]] = []
    for i in order:
        blocks.append([i])
        while (
            len(blocks) > 1
            and _block(blocks[-2], wanted, sizes, most)[1] > _block(blocks[-1], wanted, sizes, most)[0]
        ):
            last = blocks.pop()
            blocks[-1] += last
    placed = dict.fromkeys(order, 0.0)
    for block in blocks:
        at = _block(block, wanted, sizes, most)[0]
        for i in block:
            placed[i] = at + sizes[i] / 2 if len(block) > 1 or at != wanted[i] - sizes[i] / 2 else wanted[i]
            at += sizes[i]
    return [placed[i] for i in range(len(wanted))]


def _block(
    block: Sequence[int], wanted: Sequence[float], sizes: Sequence[float], most: float
) -> tuple[float, float]:
    """Lower and upper end of labels that touch: each a little off what it wants, all within the chart."""
    whole, before, pulls = sum(sizes[i] for i in block), 0.0, 0.0
    for i in block:
        pulls += wanted[i] - before - sizes[i] / 2
        before += sizes[i]
    low = min(max(pulls / len(block), 0.0), most - whole)
    return low, low + whole


def draw_ends(fig: Sheet, panel: Panel, ends: Sequence[LineEnd], *, plan: KeyPlan, theme: Theme) -> None:
    """Names at the ends of the lines, moved apart, each with its sign; a thin line leads there from where its own ends."""
    tall = panel.top_px - panel.bottom_px
    sizes = [END_LINE_PX * (e.words.count("<br>") + 1) for e in ends]
    wanted = [0.0 if e.at is None else tall * _share(e.at[1], plan) for e in ends]
    right = plan.last_key + END_KEYS
    for e, px in zip(ends, spread(wanted, sizes, most=tall), strict=True):
        y = _value(px / tall, plan)
        _end_sign(fig, panel, e, (right, y), plan=plan, theme=theme)
        fig.add_annotation(
            xref="paper",
            x=1,
            xanchor="left",
            yref=f"{panel.axis} domain",
            y=px / tall,
            yanchor="middle",
            align="left",
            borderpad=END_LEFT_PX - 4,
            text=e.words,
            font={"size": look.SMALL_PX, "color": theme.muted if e.quiet or not e.at else theme.ink},
        )


def _end_sign(
    fig: Sheet, panel: Panel, e: LineEnd, at: tuple[float, float], *, plan: KeyPlan, theme: Theme
) -> None:
    """An instrument's sign beside its name, and the thin line that leads there; an open one where nothing is known."""
    colour, (right, y) = theme.faint if e.quiet else e.mark.colour(theme), at
    if e.at is not None:
        fig.add(
            "scatter",
            x=[e.at[0], right],
            y=[_inside(e.at[1], plan), y],
            yaxis=panel.axis,
            mode="lines",
            line={"color": colour, "width": 1, "dash": "dot"},
            hoverinfo="skip",
            showlegend=False,
            name="leader",
        )
    fig.add(
        "scatter",
        x=[right],
        y=[y],
        yaxis=panel.axis,
        mode="markers",
        marker={
            "symbol": e.mark.symbol + ("" if e.at else "-open"),
            "size": 9,
            "color": colour,
            "line": {
                "color": colour if e.quiet or not e.at else theme.ink,
                "width": 1.3 if not e.at else 0.7,
            },
        },
        hoverinfo="skip",
        showlegend=False,
        cliponaxis=False,
        name="end",
    )


def _value(share: float, plan: KeyPlan) -> float:
    """What stands at that share of the panel's height."""
    low, high = plan.limits
    return float(low * (high / low) ** share) if plan.log else low + share * (high - low)


def _share(value: float, plan: KeyPlan) -> float:
    low, high = plan.limits
    value = min(max(value, low), high)
    if plan.log:
        return log10(value / low) / log10(high / low)
    return (value - low) / (high - low)
