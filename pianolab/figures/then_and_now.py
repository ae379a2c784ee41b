"""Two visits to one piano as pictures: marks on the keys then and now, and what came of each promise."""

from __future__ import annotations

from dataclasses import dataclass

from pianolab.assess.changes import Kept, VisitChanges
from pianolab.assess.marks import MarkChange
from pianolab.figures import frame, look, wording
from pianolab.figures.keyboard_drawing import SIDE_PX, add_lane_words, lanes_figure
from pianolab.figures.look import Theme
from pianolab.figures.sheet import Plan, Sheet, drawing
from pianolab.keyboard import note_name
from pianolab.show import Row

LANE_PX, ROW_PX = 58, 62
OUTCOMES: tuple[Kept, ...] = ("kept", "partly kept", "not kept", "not looked at again")
_COLOURS = dict(zip(OUTCOMES, ("bluish green", "orange", "vermillion", ""), strict=True))
_SYMBOLS = dict(zip(OUTCOMES, ("circle", "diamond", "x", "circle-open"), strict=True))


@dataclass(frozen=True, kw_only=True, repr=False)
class MarksPlan(Plan):
    """Keys named then and now, a lane for each point; None stands where nobody looked."""

    first_key: int
    last_key: int
    marks: tuple[MarkChange, ...]
    header = ("what", "then", "now", "stayed", "came", "gone")

    def rows(self) -> list[Row]:
        return [
            (
                m.title,
                _named(m.then, every=m.then_all) or "no key",
                _named(m.now, every=m.now_all) or "no key",
                *map(_named, (m.stayed, m.came, m.gone)),
            )
            for m in self.marks
        ]


@dataclass(frozen=True, kw_only=True, repr=False)
class PromisesPlan(Plan):
    """What was promised, what it was then and is now, and what came of it."""

    promises: tuple[tuple[str, str, str, str, Kept], ...]
    header = ("point", "promised", "then", "now", "kept")

    def rows(self) -> list[Row]:
        return list(self.promises)


def plan_marks_then_and_now(changes: VisitChanges) -> MarksPlan:
    """Plan of the marks on the keys of two visits.

    Parameters
    ----------
    changes : two visits compared (`pianolab.assess.compare_visits`)
    """
    p, marks = changes.piano, changes.marks
    once = [m.title for m in marks if not m.looked_twice]
    said = [f"{m.title}: {_lane_said(m)}" for m in marks]
    alt = (
        ". ".join(said) + "."
        if said
        else "Neither visit named a key: nothing is known of single keys by eye."
    )
    if once:
        alt += f" Looked at on one visit only, so that nothing is known of a change: {wording.listed(once)}."
    return MarksPlan(
        title=f"{p.name}: marks on the keys, then and now",
        alt=alt,
        first_key=p.first_key,
        last_key=p.last_key,
        marks=marks,
    )


def plan_promises(changes: VisitChanges) -> PromisesPlan:
    """Plan of the seller's promises: a row for each, and what a second look found of it.

    Parameters
    ----------
    changes : two visits to one piano beside each other

    Returns
    -------
    PromisesPlan
    """
    rows = tuple((p.title, p.promised, p.before, p.after, p.kept) for p in changes.promises)
    counted = [(o, sum(row[4] == o for row in rows)) for o in OUTCOMES]
    said = wording.listed([f"{n} {outcome}" for outcome, n in counted if n])
    alt = f"Of {len(rows)} promises {said}." if rows else "Nothing was promised on the first visit."
    return PromisesPlan(title=f"{changes.piano.name}: what came of the promises", alt=alt, promises=rows)


@drawing
def draw_marks_then_and_now(plan: MarksPlan, theme: str = "light", *, bare: bool = False) -> Sheet:
    """The plan as a figure: for each mark a row of rings (then) over a row of dots (now), over the drawn keys."""
    look_of, n = look.theme_of(theme), len(plan.marks)
    lanes = {"range": [max(n, 1) - 0.5, -0.6], "showgrid": False}
    fig = lanes_figure(plan, look_of, lanes_px=LANE_PX * n, lanes=lanes, bare=bare)
    for i, mark in enumerate(plan.marks):
        _draw_marks(fig, mark, i, look_of)
    if not n:
        add_lane_words(fig, plan.alt, y=-0.12, colour=look_of.ink)
    return fig


@drawing
def draw_promises(plan: PromisesPlan, theme: str = "light", *, bare: bool = False) -> Sheet:
    """The plan as a figure: each promise in words, and a sign under the outcome that a second look found."""
    look_of, n = look.theme_of(theme), max(1, len(plan.promises))
    fig = frame.base_figure(look_of, title=plan.title, height=ROW_PX * n + 10, bare=bare)
    fig.lay_out(
        margin={"l": SIDE_PX, "r": SIDE_PX},
        xaxis=frame.axis(
            look_of, range=[-0.5, 3.5], tickvals=[0, 1, 2, 3], ticktext=list(OUTCOMES), showgrid=False
        ),
        yaxis=frame.axis(look_of, range=[n - 0.4, -0.6], showgrid=False, showticklabels=False),
    )
    for i, promise in enumerate(plan.promises):
        _draw_promise(fig, promise, i, look_of, chars=frame.words_chars(bare=bare))
    if not plan.promises:
        fig.add_annotation(
            xref="paper", x=0, xanchor="left", y=0, text=plan.alt, font={"size": 12, "color": look_of.muted}
        )
    return fig


def _draw_promise(
    fig: Sheet, promise: tuple[str, str, str, str, Kept], i: int, theme: Theme, *, chars: int
) -> None:
    """One promise in words over its row, and the sign of what came of it."""
    title, promised, then, now, kept = promise
    colour = look.OKABE_ITO.get(_COLOURS.get(kept, ""), theme.muted)
    fig.add(
        "scatter",
        x=[OUTCOMES.index(kept)],
        y=[i + 0.22],
        mode="markers",
        name=kept,
        hoverinfo="text",
        hovertext=[wording.lines(title, f"promised: {promised}", f"then: {then}", f"now: {now}", kept)],
        marker={
            "symbol": _SYMBOLS[kept],
            "size": 15,
            "color": colour,
            "line": {"color": theme.ink, "width": 1},
        },
    )
    fig.add_shape(
        "line",
        xref="paper",
        x0=0,
        x1=1,
        y0=i + 0.56,
        y1=i + 0.56,
        line={"color": theme.rule, "width": 1},
    )
    text = f"{wording.strong(title)}  {wording.wrapped(promised, width=chars)}"
    fig.add_annotation(
        xref="paper",
        x=0,
        xanchor="left",
        y=i - 0.02,
        yanchor="bottom",
        text=text,
        font={"size": 12, "color": theme.ink},
    )


def _draw_marks(fig: Sheet, mark: MarkChange, i: int, theme: Theme) -> None:
    """Then above, now below; where nobody looked a line in words stands in the place of the signs."""
    colour = look.OKABE_ITO["vermillion"]
    rows = (("then", mark.then, i + 0.06, "circle-open"), ("now", mark.now, i + 0.34, "circle"))
    for when, keys, y, symbol in rows:
        ringed = {"width": 2, "color": colour} if when == "then" else {"width": 1, "color": theme.ink}
        fig.add(
            "scatter",
            x=list(keys or [None]),
            y=[y] * len(keys or [None]),
            yaxis="y2",
            mode="markers",
            name=when,
            hoverinfo="text",
            hovertext=[
                f"{note_name(k)} (key {k})<br>{when}: {wording.plain(mark.title)}" for k in keys or ()
            ],
            marker={"symbol": symbol, "size": 9, "color": colour, "line": ringed},
        )
    words = f"{wording.strong(mark.title)}  {wording.plain(_lane_said(mark))}"
    add_lane_words(fig, words, y=i - 0.12, colour=theme.ink)


def _lane_said(m: MarkChange) -> str:
    sides = [
        f"{when} {_count(keys, every=every)}"
        for when, keys, every in (("then (rings)", m.then, m.then_all), ("now (dots)", m.now, m.now_all))
    ]
    change = [f"{len(k)} {w}" for k, w in ((m.came, "new"), (m.gone, "gone")) if k]
    return ", ".join([*sides, *change])


def _count(keys: tuple[int, ...] | None, *, every: bool) -> str:
    if keys is None:
        return "not looked at"
    named = f"{len(keys)} {'key' if len(keys) == 1 else 'keys'}" if keys else ""
    if not every:
        return f"{named} named of more" if named else "seen, but no key named"
    return named or "no key"


def _named(keys: tuple[int, ...] | None, *, every: bool = True) -> str:
    if keys is None:
        return "not looked at"
    return ", ".join([*map(note_name, keys), *([] if every else ["others not named"])])
