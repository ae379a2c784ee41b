"""A few quantities with their ranges, one under the other: what another room or a pedal changes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pianolab.figures import frame, look, wording
from pianolab.figures.sheet import Plan, Sheet, drawing
from pianolab.recordings.left_pedal import LeftPedal, RegisterChange
from pianolab.rooms.change import RoomChange
from pianolab.rooms.room_acoustics import Span
from pianolab.show import Row
from pianolab.statements import Statement, statement
from pianolab.words import say, upper_first

ROW_PX, LEAST_DB = 36, 3.0
LEVEL = "level"
Range = tuple[float, float, float]


@dataclass(frozen=True, kw_only=True)
class SpanRow:
    """One quantity: lowest, middle and highest in dB; None where unknown, and ``why`` says why."""

    label: str
    about: str
    range_db: Range | None
    why: str = ""


@dataclass(frozen=True, kw_only=True, repr=False)
class SpanPlan(Plan):
    """Ranges over zero; rows of one ``about`` share a sign and a name in the legend."""

    spans: tuple[SpanRow, ...]
    scale: str
    header = ("what", "where", "lowest", "middle", "highest", "unit", "why not known")

    def rows(self) -> list[Row]:
        return [(s.about, s.label, *(s.range_db or (None, None, None)), "dB", s.why) for s in self.spans]


def plan_room_change(change: RoomChange, *, name: str = "") -> SpanPlan:
    """What the move from one room to another changes in level, octave by octave, at the player's ear.

    Parameters
    ----------
    change : the two rooms compared
    name : the piano's name for the title

    Returns
    -------
    SpanPlan; an octave without a value says why
    """
    ear = change.ear_db or (None,) * len(change.bands_hz)
    spans = tuple(
        SpanRow(
            label=_band(hz),
            about="level at the player's ear",
            range_db=_range(span),
            why="" if span else change.why_unknown,
        )
        for hz, span in zip(change.bands_hz, ear, strict=True)
    )
    return SpanPlan(
        title=upper_first(say(_message("room", spans, name))),
        alt=change.sentence,
        spans=spans,
        scale="dB louder (+) or softer (−) at home",
    )


def plan_left_pedal(pedal: LeftPedal, *, name: str = "") -> SpanPlan:
    """What the left pedal changes, register by register: how loud, and how bright beyond what softness explains.

    Parameters
    ----------
    pedal : two recordings compared
    name : the piano's name for the title

    Returns
    -------
    SpanPlan; a register without a value says why
    """
    spans = tuple(row for r in pedal.registers for row in (_level(r), _colour(r)))
    levels = [s for s in spans if s.about == LEVEL]
    return SpanPlan(
        title=upper_first(say(_message("left pedal", levels, name))),
        alt=" ".join(pedal.statements),
        spans=spans,
        scale="change with the left pedal, dB",
    )


def _message(about: str, spans: Sequence[SpanRow], name: str) -> Statement:
    """Where it changes most, of what is certain: a range on one side of zero; or that nothing is."""
    of = f"{name}: " if name else ""
    known = [(s.label, s.range_db) for s in spans if s.range_db]
    if not known:
        return statement(f"chart.{about}.unknown", of=of)
    sure = [(label, (low + high) / 2) for label, (low, _, high) in known if low > 0 or high < 0]
    if not sure:
        return statement(f"chart.{about}.not certain", of=of)
    where, change = max(sure, key=lambda s: abs(s[1]))
    return statement(f"chart.{about}.{'louder' if change > 0 else 'softer'}", of=of, where=where)


def _band(hz: int) -> str:
    """An octave as people read it.

    Examples
    --------
    >>> _band(125), _band(4000)
    ('125 Hz', '4 kHz')
    """
    return f"{hz / 1000:g} kHz" if hz >= 1000 else f"{hz} Hz"


def _range(span: Span | None) -> Range | None:
    return None if span is None else (span.low, span.middle, span.high)


def _level(r: RegisterChange) -> SpanRow:
    range_db: Range | None = None
    if r.level_db is not None and r.level_sd is not None:
        range_db = (r.level_db - r.level_sd, r.level_db, r.level_db + r.level_sd)
    return SpanRow(label=r.register, about=LEVEL, range_db=range_db, why=r.why)


def _colour(r: RegisterChange) -> SpanRow:
    low, high = r.colour_lowest_db, r.colour_highest_db
    range_db = (low, 0.5 * (low + high), high) if low is not None and high is not None else None
    return SpanRow(label=r.register, about="colour beyond softness", range_db=range_db, why=r.why)


@drawing
def draw_spans(plan: SpanPlan, theme: str = "light", *, bare: bool = False, narrow: bool = False) -> Sheet:
    """The plan as a figure: a line from lowest to highest with a mark in the middle, zero drawn through.

    ``narrow`` breaks its words for a phone.
    """
    look_of = look.theme_of(theme)
    kinds, n = tuple(dict.fromkeys(s.about for s in plan.spans)), max(1, len(plan.spans))
    fig = frame.base_figure(
        look_of, title=plan.title, height=ROW_PX * n, bare=bare, bottom=44, legend=1 if len(kinds) > 1 else 0
    )
    for i, kind in enumerate(kinds):
        _draw_kind(fig, plan, kind, symbol=("circle", "diamond-open")[i % 2], colour=look_of.ink)
    for y, s in enumerate(plan.spans):
        if s.range_db is None:
            fig.add_annotation(
                x=0,
                y=y,
                text=wording.wrapped(f"not known: {s.why}", width=26 if narrow else 60 if bare else 44),
                xanchor="center",
                font={"size": 11, "color": look_of.muted},
            )
    fig.add_shape(
        "line",
        xref="x",
        yref="paper",
        x0=0,
        x1=0,
        y0=0,
        y1=1,
        layer="below",
        line={"color": look_of.faint, "width": 1.4},
    )
    most = max([LEAST_DB, *(abs(v) for s in plan.spans for v in s.range_db or ())])
    labels = [_row_label(s, short=len(kinds) == 1 or not bare) for s in plan.spans]
    fig.lay_out(
        margin={"l": 70 if len(kinds) == 1 or not bare else 128},
        xaxis=frame.axis(look_of, range=[-1.1 * most, 1.1 * most], title=plan.scale, nticks=7),
        yaxis=frame.axis(
            look_of, range=[n - 0.5, -0.5], tickvals=list(range(len(labels))), ticktext=labels, showgrid=False
        ),
    )
    return fig


def _row_label(s: SpanRow, *, short: bool) -> str:
    """Where no legend says what a sign stands for, each row does."""
    return wording.plain(s.label) if short else wording.wrapped(f"{s.label}: {s.about}", width=18)


def _draw_kind(fig: Sheet, plan: SpanPlan, kind: str, *, symbol: str, colour: str) -> None:
    rows = [(y, s.label, s.range_db) for y, s in enumerate(plan.spans) if s.about == kind and s.range_db]
    x: list[float | None] = []
    at: list[float | None] = []
    for y, _, (low, _, high) in rows:
        x += [low, high, None]
        at += [y, y, None]
    fig.add(
        "scatter",
        x=x,
        y=at,
        mode="lines",
        line={"color": colour, "width": 2},
        hoverinfo="skip",
        showlegend=False,
        name="range",
    )
    fig.add(
        "scatter",
        x=[r[1] for *_, r in rows],
        y=[y for y, *_ in rows],
        mode="markers",
        name=wording.plain(kind),
        hoverinfo="text",
        marker={"symbol": symbol, "size": 10, "color": colour, "line": {"color": colour, "width": 2}},
        hovertext=[
            wording.lines(
                label,
                kind,
                f"{wording.signed(r[1], digits=1)} dB ({wording.signed(r[0], digits=1)} to "
                f"{wording.signed(r[2], digits=1)})",
            )
            for _, label, r in rows
        ],
    )
