"""What is worth finding out next: the chance that knowing it changes the first choice."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from pianolab.compare.results import Comparison
from pianolab.figures import frame, look, wording
from pianolab.figures.look import Mark, marks_for
from pianolab.figures.plans import Plan
from pianolab.figures.sheet import Sheet, drawing
from pianolab.show import Row

BAR_PX, LINE_PX, SPACE_PX = 12, 15, 12
LEAST_CHANCE = 0.005
"""What would change the first choice less often than this is left out of the chart."""


@dataclass(frozen=True, kw_only=True)
class StepRow:
    """One thing to find out on one instrument, what it takes beside its own words, and the chance that it changes the
    first choice.
    """

    mark: Mark
    text: str
    effort: str
    takes: str
    minutes: float | None
    chance: float
    why: str


@dataclass(frozen=True, kw_only=True, repr=False)
class StepPlan(Plan):
    """The most telling next steps, best first."""

    steps: tuple[StepRow, ...]
    header = ("instrument", "find out", "effort", "minutes", "chance to change the first choice", "why")

    def rows(self) -> list[Row]:
        return [(s.mark.label, s.text, s.effort, s.minutes, round(s.chance, 4), s.why) for s in self.steps]


def plan_next_steps(
    comparison: Comparison, *, most: int = 8, marks: Mapping[str, Mark] | None = None
) -> StepPlan:
    """Plan of the next steps, the ``most`` telling ones first.

    Examples
    --------
    A comparison without next steps says so in ``alt``; nothing is drawn as if it were settled by luck.
    """
    marks = marks or marks_for({a.piano.id: a.piano.name for a in comparison.assessments})
    telling = [s for s in comparison.next_steps if s.chance_to_change >= LEAST_CHANCE]
    best = sorted(telling, key=lambda s: -s.chance_to_change)[:most]
    steps = tuple(
        StepRow(
            mark=marks[s.piano_id],
            text=s.text,
            effort=s.effort,
            takes=s.takes,
            minutes=s.minutes,
            chance=s.chance_to_change,
            why=s.why,
        )
        for s in best
    )
    if not steps:
        alt = "Nothing that is still unknown would be likely to change the first choice."
    else:
        s = steps[0]
        alt = (
            f"Most worth finding out on {s.mark.letter}: {_with_effort(s)}; "
            f"it would change the first choice in about {100 * s.chance:.0f} of 100 cases."
        )
    return StepPlan(title="What to find out next", alt=alt, steps=steps)


@drawing
def draw_next_steps(plan: StepPlan, theme: str = "light", *, bare: bool = False) -> Sheet:
    """The plan as a figure: a bar per step, its words above it."""
    look_of = look.theme_of(theme)
    words = [_words(s, bare=bare) for s in plan.steps]
    heights = [LINE_PX * (1 + w.count("<br>")) + BAR_PX + SPACE_PX for w in words]
    bottoms = [sum(heights[: i + 1]) for i in range(len(heights))]
    height = max(sum(heights), LINE_PX)
    fig = frame.base_figure(look_of, title=plan.title, height=height, bare=bare, bottom=44)
    fig.add(
        "bar", orientation="h", y=[b - SPACE_PX - BAR_PX / 2 for b in bottoms], x=[s.chance for s in plan.steps], width=BAR_PX,
        marker={"color": [s.mark.colour(look_of) for s in plan.steps], "line": {"color": look_of.ink, "width": 0.6}}, showlegend=False,
        text=[f"{100 * s.chance:.0f} of 100" for s in plan.steps], textposition="outside", textangle=0, cliponaxis=False,
        textfont={"size": look.SMALL_PX, "color": look_of.muted},
        hovertext=[wording.lines(s.mark.label, s.text, s.takes, s.why, f"changes the first choice in {100 * s.chance:.0f} of 100 cases")
                   for s in plan.steps],
        hoverinfo="text",
    )  # fmt: skip
    for text, bottom in zip(words, bottoms, strict=True):
        fig.add_annotation(
            x=0, xref="paper", xanchor="left", y=bottom - SPACE_PX - BAR_PX, yanchor="bottom", align="left", text=text,
            font={"size": look.SMALL_PX, "color": look_of.ink}, borderpad=0,
        )  # fmt: skip
    top = max([s.chance for s in plan.steps] + [0.05])
    fig.lay_out(
        margin={"l": 14, "r": 20},
        xaxis=frame.axis(look_of, range=[0, 1.25 * top], showgrid=False, tickformat=".0%", nticks=5, title="chance that it changes the first choice"),
        yaxis=frame.axis(look_of, range=[height, 0], showticklabels=False, showgrid=False),
    )  # fmt: skip
    return fig


def _with_effort(s: StepRow) -> str:
    return f"{s.text} ({s.takes})" if s.takes else s.text


def _words(s: StepRow, *, bare: bool) -> str:
    name = "" if bare else f"{s.mark.name}: "
    text = wording.wrapped(f"{name}{_with_effort(s)}", width=frame.words_chars(bare=bare))
    return f"<b>{s.mark.letter}</b>  {text}"
