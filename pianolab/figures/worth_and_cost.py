"""What is worth finding out next: what knowing it is worth against what it costs, or how often it changes what to do."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from pianolab.compare.comparison import Comparison
from pianolab.figures import frame, look, wording
from pianolab.figures.look import Mark, Theme, marks_for
from pianolab.figures.sheet import Plan, Sheet, drawing
from pianolab.show import Row, about

BAR_PX, LINE_PX, SPACE_PX = 12, 15, 12
LEAST_CHANCE = 0.005
"""What would change what to do less often than this is left out of the chart."""


@dataclass(frozen=True, kw_only=True)
class StepRow:
    """One thing to find out on one instrument: what it takes beside its own words, the chance that it changes what to do,
    what that is worth and what it costs in the buyer's money (None where money isn't reckoned), and what follows.
    """

    mark: Mark
    text: str
    effort: str
    takes: str
    minutes: float | None
    chance: float
    why: str
    worth: float | None = None
    cost: float | None = None
    then: str = ""

    @property
    def net(self) -> float | None:
        """What it is worth beyond what it costs."""
        return None if self.worth is None else self.worth - (self.cost or 0.0)


@dataclass(frozen=True, kw_only=True, repr=False)
class StepPlan(Plan):
    """The next steps that pay, what is worth most beyond its cost first; ``stop`` says when to stop looking."""

    steps: tuple[StepRow, ...]
    stop: str
    currency: str
    locale: str
    header = (
        "instrument",
        "find out",
        "effort",
        "minutes",
        "chance to change what to do",
        "worth",
        "cost",
        "what then",
        "why",
    )

    @property
    def by_money(self) -> bool:
        """Whether the bars are money; else they are chances."""
        return any(s.net is not None for s in self.steps)

    def rows(self) -> list[Row]:
        return [
            (s.mark.label, s.text, s.effort, s.minutes, round(s.chance, 4), s.worth, s.cost, s.then, s.why)
            for s in self.steps
        ]


def plan_next_steps(
    comparison: Comparison, *, most: int = 8, marks: Mapping[str, Mark] | None = None
) -> StepPlan:
    """Plan of the next steps, the ``most`` telling ones first.

    Parameters
    ----------
    comparison : the shortlist compared
    most : how many steps at most
    marks : the instruments' marks by id; None makes them

    Returns
    -------
    StepPlan

    Examples
    --------
    A comparison without next steps says so in ``alt``; nothing is drawn as if it were settled by luck.
    """
    marks = marks or marks_for({a.piano.id: a.piano.name for a in comparison.assessments})
    telling = [s for s in comparison.next_steps if s.chance_to_change >= LEAST_CHANCE and s.pays]
    best = sorted(telling, key=lambda s: (-float(s.net or 0), -s.chance_to_change))[:most]
    steps = tuple(
        StepRow(
            mark=marks[s.piano_id],
            text=s.text,
            effort=s.effort,
            takes=s.takes,
            minutes=s.minutes,
            chance=s.chance_to_change,
            why=s.why,
            worth=None if s.worth is None else float(s.worth),
            cost=None if s.cost is None else float(s.cost),
            then=s.outcomes,
        )
        for s in best
    )
    what = "what to do" if len(comparison.assessments) == 1 else "the first choice"
    if not steps:
        alt = f"Nothing that is still unknown is worth what it costs to find out: it would hardly change {what}."
    else:
        s = steps[0]
        alt = (
            f"Most worth finding out on {s.mark.letter}: {_with_effort(s)}; "
            f"it would change {what} in about {100 * s.chance:.0f} of 100 cases."
        )
    listed = comparison.to_find_out()
    return StepPlan(
        title="What to find out next",
        alt=alt,
        steps=steps,
        stop=listed.when_to_stop,
        currency=comparison.profile.currency,
        locale=comparison.profile.locale,
    )


@drawing
def draw_next_steps(plan: StepPlan, theme: str = "light", *, bare: bool = False) -> Sheet:
    """The plan as a figure: a bar per step, its words above it."""
    look_of = look.theme_of(theme)
    words = [_words(s, bare=bare) for s in plan.steps]
    heights = [LINE_PX * (1 + w.count("<br>")) + BAR_PX + SPACE_PX for w in words]
    bottoms = [sum(heights[: i + 1]) for i in range(len(heights))]
    height = max(sum(heights), LINE_PX)
    fig = frame.base_figure(look_of, title=plan.title, height=height, bare=bare, bottom=44)
    _draw_bars(fig, plan, [b - SPACE_PX - BAR_PX / 2 for b in bottoms], look_of)
    for text, bottom in zip(words, bottoms, strict=True):
        fig.add_annotation(
            x=0,
            xref="paper",
            xanchor="left",
            y=bottom - SPACE_PX - BAR_PX,
            yanchor="bottom",
            align="left",
            text=text,
            font={"size": look.SMALL_PX, "color": look_of.ink},
            borderpad=0,
        )
    top = max([*_lengths(plan), 0.05])
    axis = (
        {"title": f"worth beyond its cost ({plan.currency})"}
        if plan.by_money
        else {"title": "chance that it changes what to do", "tickformat": ".0%"}
    )
    fig.lay_out(
        margin={"l": 14, "r": 20},
        xaxis=frame.axis(look_of, range=[0, 1.45 * top], showgrid=False, nticks=5, **axis),
        yaxis=frame.axis(look_of, range=[height, 0], showticklabels=False, showgrid=False),
    )
    return fig


def _draw_bars(fig: Sheet, plan: StepPlan, at: list[float], theme: Theme) -> None:
    """A bar for each step, at these heights, and beside it what it is worth."""
    fig.add(
        "bar",
        orientation="h",
        y=at,
        x=_lengths(plan),
        width=BAR_PX,
        marker={
            "color": [s.mark.colour(theme) for s in plan.steps],
            "line": {"color": theme.ink, "width": 0.6},
        },
        showlegend=False,
        text=[_beside(s, plan) for s in plan.steps],
        textposition="outside",
        textangle=0,
        cliponaxis=False,
        textfont={"size": look.SMALL_PX, "color": theme.muted},
        hovertext=[
            wording.lines(
                s.mark.label,
                s.text,
                s.takes,
                s.why,
                f"changes what to do in {100 * s.chance:.0f} of 100 cases",
                s.then,
            )
            for s in plan.steps
        ],
        hoverinfo="text",
    )


def _lengths(plan: StepPlan) -> list[float]:
    return [max(0.0, s.net or 0.0) if plan.by_money else s.chance for s in plan.steps]


def _beside(s: StepRow, plan: StepPlan) -> str:
    """What stands at the end of a bar: money where it is reckoned, else how often it changes what to do."""
    if s.worth is None:
        return f"{100 * s.chance:.0f} of 100"
    worth = about(Decimal(round(s.worth)), plan.currency, locale=plan.locale)
    if s.cost is None:
        return f"worth {worth}"
    return f"worth {worth}, costs {about(Decimal(round(s.cost)), plan.currency, locale=plan.locale)}"


def _with_effort(s: StepRow) -> str:
    return f"{s.text} ({s.takes})" if s.takes else s.text


def _words(s: StepRow, *, bare: bool) -> str:
    name = "" if bare else f"{s.mark.name}: "
    text = wording.wrapped(f"{name}{_with_effort(s)}", width=frame.words_chars(bare=bare))
    return f"{wording.strong(s.mark.letter)}  {text}"
