"""How often each instrument comes first, second, … over all the weights and unknowns that are possible.

The field calls these shares rank acceptability indices (stochastic multicriteria acceptability analysis).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from pianolab.compare.comparison import Comparison
from pianolab.figures import frame, look, wording
from pianolab.figures.look import Mark, Theme, marks_for
from pianolab.figures.sheet import Plan, Sheet, drawing
from pianolab.show import Row
from pianolab.statements import Statement, statement
from pianolab.words import say

ROW_PX, NAME_PX = 46, 14
UNFIT = "not fit to buy"
LEAST_SAID, MOST = 0.005, 0.5
"""A share under this reads as zero and is left out."""
ORDINALS = ("1st", "2nd", "3rd", "4th", "5th", "6th", "7th", "8th")


@dataclass(frozen=True, kw_only=True)
class RankRow:
    """One instrument's shares of the ranks, first rank first; with ``unfit``, where it is not fit to buy, they add up to 1."""

    mark: Mark
    shares: tuple[float, ...]
    vetoed: bool
    unfit: float = 0.0


@dataclass(frozen=True, kw_only=True, repr=False)
class RankPlan(Plan):
    """Rank shares of the shortlist over ``draws`` tries with the given seed; ``none_fit`` is the share in which not one is
    fit to buy.
    """

    ranks: tuple[RankRow, ...]
    none_fit: float
    draws: int
    seed: int
    header = ("instrument", "rank", "share of tries", "reason to stop")

    def rows(self) -> list[Row]:
        return [
            (r.mark.label, rank, round(share, 4), r.vetoed)
            for r in self.ranks
            for rank, share in [*enumerate(r.shares, start=1), (UNFIT, r.unfit)]
        ]


def plan_ranks(comparison: Comparison, *, marks: Mapping[str, Mark] | None = None) -> RankPlan:
    """Plan of the rank chart, in the order of the shortlist.

    Parameters
    ----------
    comparison : the compared shortlist
    marks : letters and colours already given on a page; made from the names where None

    Returns
    -------
    RankPlan
    """
    marks = marks or marks_for({a.piano.id: a.piano.name for a in comparison.assessments})
    ranks = []
    for a in comparison.assessments:
        s = comparison.standing(a.piano.id)
        ranks.append(RankRow(mark=marks[a.piano.id], shares=s.rank_shares, vetoed=s.vetoed, unfit=s.unfit))
    first = sorted(ranks, key=lambda r: -r.shares[0])
    said = wording.listed(f"{r.mark.letter} in {100 * r.shares[0]:.0f}" for r in first)
    alt = f"Out of 100 tries with other weights and other values for what is unknown, first and fit to buy is {said}."
    if comparison.none_fit >= LEAST_SAID:
        alt += f" In {100 * comparison.none_fit:.0f} none of them is fit to buy."
    stopped = [r.mark.letter for r in ranks if r.vetoed]
    if stopped:
        alt += f" {wording.listed(stopped)} {'has' if len(stopped) == 1 else 'have'} a reason to stop, whatever the shares say."
    return RankPlan(
        title=say(_message(ranks, comparison.none_fit)),
        alt=alt,
        ranks=tuple(ranks),
        none_fit=comparison.none_fit,
        draws=comparison.draws,
        seed=comparison.seed,
    )


def _message(ranks: Sequence[RankRow], none_fit: float) -> Statement:
    first = max(ranks, key=lambda r: r.shares[0])
    if none_fit > MOST:
        return statement("chart.ranks.none fit")
    kind = "chart.ranks.first" if first.shares[0] > MOST else "chart.ranks.ahead"
    return statement(kind, name=first.mark.name)


@drawing
def draw_ranks(plan: RankPlan, theme: str = "light", *, bare: bool = False, narrow: bool = False) -> Sheet:
    """The plan as a figure: one bar per instrument, darkest part first rank; ``narrow`` ones have fewer words."""
    look_of = look.theme_of(theme)
    n = len(plan.ranks)
    row_px = ROW_PX + NAME_PX
    fig = frame.base_figure(look_of, title=plan.title, height=row_px * n, bare=bare, bottom=44)
    for rank in range(max(len(r.shares) for r in plan.ranks)):
        _draw_rank(fig, plan, rank, look_of, narrow=narrow)
    if any(r.unfit >= LEAST_SAID for r in plan.ranks):
        _draw_unfit(fig, plan, look_of)
    _names(fig, plan, look_of)
    fig.lay_out(
        barmode="stack",
        margin={"l": 40, "r": 24},
        bargap=0.38 * ROW_PX / row_px + 1 - ROW_PX / row_px,
        xaxis=frame.axis(
            look_of,
            range=[0, 1],
            tickvals=[0, 0.25, 0.5, 0.75, 1],
            ticktext=["0", "25", "50", "75", "100"],
            title="of 100 tries",
        ),
        yaxis=frame.axis(
            look_of,
            showgrid=False,
            tickvals=list(range(n)),
            range=[n - 0.5, -0.5 - NAME_PX / row_px / 2],
            ticktext=[wording.strong(r.mark.letter) for r in plan.ranks],
            tickfont={"size": 15, "color": look_of.ink},
        ),
    )
    return fig


def _names(fig: Sheet, plan: RankPlan, theme: Theme) -> None:
    for i, r in enumerate(plan.ranks):
        fig.add_annotation(
            x=0,
            xref="paper",
            xanchor="left",
            y=i - 0.26,
            yanchor="bottom",
            borderpad=0,
            text=wording.plain(r.mark.name),
            font={"size": look.SMALL_PX, "color": theme.ink},
        )


def _draw_rank(fig: Sheet, plan: RankPlan, rank: int, theme: Theme, *, narrow: bool) -> None:
    shade = _shade(rank, max(len(r.shares) for r in plan.ranks), theme)
    shares = [r.shares[rank] if rank < len(r.shares) else 0.0 for r in plan.ranks]
    least = (0.15, 0.08) if narrow else (0.07, 0.03)
    fig.add(
        "bar",
        orientation="h",
        y=list(range(len(shares))),
        x=shares,
        name=ORDINALS[rank],
        marker={"color": shade, "line": {"color": theme.paper, "width": 1.5}},
        text=[
            f"{ORDINALS[rank]}  {100 * s:.0f}" if s >= least[0] else f"{100 * s:.0f}" if s >= least[1] else ""
            for s in shares
        ],
        textposition="inside",
        insidetextanchor="middle",
        textangle=0,
        textfont={"color": look.ink_on(shade), "size": look.SMALL_PX},
        hovertext=[
            wording.lines(
                r.mark.label,
                f"{ORDINALS[rank]} in {100 * s:.1f} of 100 tries",
                "a reason to stop" if r.vetoed else "",
            )
            for r, s in zip(plan.ranks, shares, strict=True)
        ],
        hoverinfo="text",
    )


def _draw_unfit(fig: Sheet, plan: RankPlan, theme: Theme) -> None:
    """What is left: the tries in which an instrument is not fit to buy, hatched, so that it is no rank."""
    shares = [r.unfit for r in plan.ranks]
    fig.add(
        "bar",
        orientation="h",
        y=list(range(len(shares))),
        x=shares,
        name=UNFIT,
        marker={
            "color": theme.paper,
            "line": {"color": theme.faint, "width": 1},
            "pattern": {"shape": "/", "fgcolor": theme.faint, "size": 6},
        },
        text=[
            f"{UNFIT}  {100 * s:.0f}" if s >= 0.3 else f"{100 * s:.0f}" if s >= 0.05 else "" for s in shares
        ],
        textposition="inside",
        insidetextanchor="middle",
        textangle=0,
        textfont={"color": theme.ink, "size": look.SMALL_PX},
        hovertext=[
            wording.lines(r.mark.label, f"{UNFIT} in {100 * r.unfit:.1f} of 100 tries") for r in plan.ranks
        ],
        hoverinfo="text",
    )


def _shade(rank: int, count: int, theme: Theme) -> str:
    start, end = ("#17405C", "#DCE6EC") if theme.name == "light" else ("#9CD3F5", "#26343D")
    t = rank / max(1, count - 1)
    mixed = (round((1 - t) * int(start[i : i + 2], 16) + t * int(end[i : i + 2], 16)) for i in (1, 3, 5))
    return "#" + "".join(f"{c:02X}" for c in mixed)
