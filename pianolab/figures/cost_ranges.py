"""What each instrument will really cost: asking price, then needed repairs, moving and first tunings, as a range."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from pianolab.assess.results import RepairEstimate
from pianolab.compare.results import Comparison
from pianolab.figures import frame, look, wording
from pianolab.figures.look import Mark, Theme, marks_for
from pianolab.figures.money import about, money
from pianolab.figures.plans import Plan
from pianolab.figures.sheet import Sheet, drawing
from pianolab.show import Row
from pianolab.statements import Statement, statement
from pianolab.words import say

ROW_PX, WORDS_LINE_PX, BUDGET_PX = 64, 15, 22
ABOUT_SAME = Decimal("1.05")
"""Totals this near to the least are told together: they are estimates."""


@dataclass(frozen=True, kw_only=True)
class CostRow:
    """One instrument's money: None where the asking price is unknown; ``repairs`` are those that are needed."""

    mark: Mark
    asking: Decimal | None
    repairs: tuple[Decimal, Decimal, Decimal]
    total: tuple[Decimal, Decimal, Decimal] | None
    offer: Decimal | None
    aim: Decimal | None
    why: str
    vetoed: bool


@dataclass(frozen=True, kw_only=True, repr=False)
class CostPlan(Plan):
    """Cost ranges of the shortlist (10, 50 and 90 % of the simulated totals lie under these).

    ``origin`` says whose prices the repairs were reckoned with, and of which day.
    """

    currency: str
    budget: Decimal | None
    costs: tuple[CostRow, ...]
    origin: str = ""
    header = (
        "instrument",
        "asking price",
        "needed repairs 10 %",
        "needed repairs 50 %",
        "needed repairs 90 %",
        "total 10 %",
        "total 50 %",
        "total 90 %",
        "aim at",
        "walk away above",
        "why",
        "currency",
    )

    @property
    def most(self) -> float:
        """The largest amount that is drawn."""
        drawn = [v for c in self.costs for v in (*(c.total or c.repairs), c.asking or 0)]
        return max(1.0, *map(float, (*drawn, self.budget or 0)))

    def rows(self) -> list[Row]:
        return [
            (
                c.mark.label,
                c.asking,
                *c.repairs,
                *(c.total or (None, None, None)),
                c.aim,
                c.offer,
                c.why,
                self.currency,
            )
            for c in self.costs
        ]


def plan_costs(comparison: Comparison, *, marks: Mapping[str, Mark] | None = None) -> CostPlan:
    """Plan of the cost chart.

    Parameters
    ----------
    comparison : the compared shortlist
    marks : letters and colours already given on a page; made from the names where None

    Returns
    -------
    CostPlan; all amounts are estimates, and ``alt`` says so
    """
    marks = marks or marks_for({a.piano.id: a.piano.name for a in comparison.assessments})
    costs = tuple(_row(comparison, a.piano.id, marks[a.piano.id]) for a in comparison.assessments)
    currency = comparison.profile.currency
    return CostPlan(
        title=say(_message(costs, comparison.profile.budget)),
        alt=_alt(costs, comparison),
        currency=currency,
        budget=comparison.profile.budget,
        costs=costs,
        origin=_origin(comparison),
    )


def _message(costs: Sequence[CostRow], budget: Decimal | None) -> Statement:
    """Which costs least, which more than the budget, and of which it is not known."""
    middles = sorted(((c.total[1], c.mark.name) for c in costs if c.total), key=lambda m: m[0])
    unknown = tuple(c.mark.name for c in costs if not c.total)
    if not middles:
        return statement("chart.costs.unknown")
    (least, name), over = middles[0], tuple(n for m, n in middles if budget is not None and m > budget)
    near = [n for m, n in middles if m <= ABOUT_SAME * least]
    if len(over) == len(middles):
        said = statement("chart.costs.all over the budget", name=name)
    elif len(middles) == 1:
        said = statement("chart.costs.one", name=name)
    else:
        alike = statement("chart.costs.alike", names=tuple(near)) if len(near) > 1 else None
        said = alike or statement("chart.costs.least", name=name)
        said = statement("chart.costs.over the budget", message=said, over=over) if over else said
    return statement("chart.costs.not known of", message=said, unknown=unknown) if unknown else said


def _row(comparison: Comparison, piano_id: str, mark: Mark) -> CostRow:
    a, s = comparison.assessment(piano_id), comparison.standing(piano_id)
    known = s.total_p10 is not None and s.total_p50 is not None and s.total_p90 is not None
    return CostRow(
        mark=mark,
        asking=a.piano.asking_price,
        repairs=_needed(a.repairs),
        total=(s.total_p10, s.total_p50, s.total_p90) if known else None,  # type: ignore[arg-type]
        offer=s.price.walk_away_above,
        aim=s.price.aim_at,
        why="; ".join(s.price.reasons),
        vetoed=s.vetoed,
    )


def _needed(repairs: RepairEstimate) -> tuple[Decimal, Decimal, Decimal]:
    needed = (repairs.needed_p10, repairs.needed_p50, repairs.needed_p90)
    return tuple(Decimal(0) if amount is None else amount for amount in needed)  # type: ignore[return-value]


def _origin(comparison: Comparison) -> str:
    """Whose prices the repairs were reckoned with; each list once."""
    return "; ".join(dict.fromkeys(a.repairs.origin for a in comparison.assessments if a.repairs.origin))


def _alt(costs: tuple[CostRow, ...], comparison: Comparison) -> str:
    code, budget = comparison.profile.currency, comparison.profile.budget
    known = sorted((c for c in costs if c.total), key=lambda c: c.total[1] if c.total else 0)
    said = [
        f"{c.mark.letter} {about(c.total[0], code)} to {about(c.total[2], code)}, most likely about {about(c.total[1], code)}"
        for c in known
        if c.total
    ]
    text = f"Total with needed repairs, moving and first tunings: {'; '.join(said)}." if said else ""
    blind = [c.mark.letter for c in costs if not c.total]
    text += (
        f" The asking price of {wording.listed(blind)} is not known, so neither is the total."
        if blind
        else ""
    )
    text += f" The budget is {money(budget, code)}." if budget is not None else ""
    origin = f" Prices of {_origin(comparison)}." if _origin(comparison) else ""
    return f"{text} All amounts are estimates, not quotes.{origin}".strip()


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
            ticktext=[f"<b>{c.mark.letter}</b>" for c in plan.costs],
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
    colour, code = c.mark.colour(theme), plan.currency
    first = y == 0
    asking = float(c.asking) if c.asking is not None else 0.0
    if c.asking is not None:
        fig.add(
            "bar",
            orientation="h",
            y=[y],
            x=[asking],
            width=0.34,
            marker={"color": colour, "line": {"width": 0}},
            name="asking price",
            showlegend=False,
            hovertext=[wording.lines(c.mark.label, f"asking price {money(c.asking, code)}")],
            hoverinfo="text",
        )
    low, middle, high = c.total or c.repairs
    what = (
        "total with needed repairs, moving and first tunings"
        if c.total
        else "needed repairs alone; the asking price is not known"
    )
    fig.add(
        "bar",
        orientation="h",
        y=[y],
        base=[asking],
        x=[max(float(middle) - asking, 0.0)],
        width=0.34,
        name="on top of it, most likely",
        marker={"color": look.faded(colour, 0.28), "line": {"color": colour, "width": 1.2}},
        hoverinfo="text",
        showlegend=False,
        hovertext=[wording.lines(c.mark.label, f"most likely {about(middle, code)}", what)],
    )
    fig.add(
        "scatter",
        x=[float(low), float(high)],
        y=[y, y],
        mode="lines+markers",
        line={"color": theme.ink, "width": 1.6},
        name="8 of 10 tries fall between",
        marker={"symbol": "line-ns-open", "size": 13, "color": theme.ink, "line": {"width": 1.6}},
        hoverinfo="text",
        showlegend=first,
        hovertext=[
            wording.lines(
                c.mark.label, f"{about(low, code)} to {about(high, code)}", what, "estimates, not quotes"
            )
        ]
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
        text=_row_words(c, code, narrow=narrow),
        font={"size": look.SMALL_PX, "color": theme.ink},
        align="left",
        borderpad=0,
        bgcolor=theme.paper,
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
