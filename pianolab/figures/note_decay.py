"""The level of one note over time as it was heard, its two stages of decay, and the noise it drowns in.

A room is not taken out of it; where one was proven, the time to fall 20 dB has the uncertainty that the room gives it,
or is only an upper bound, because the room rings on.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from statistics import median
from typing import Any

from pianolab.acoustics.survey_result import LevelCurve, Survey
from pianolab.errors import BadInput
from pianolab.figures import frame, look
from pianolab.figures.column_chart import BOUND_KIND
from pianolab.figures.look import Theme
from pianolab.figures.sheet import Plan, Sheet, drawing
from pianolab.figures.survey_cells import number, why_missing
from pianolab.keyboard import note_name
from pianolab.show import Row

MOST_POINTS = 400
FALL_DB = -20.0


@dataclass(frozen=True, kw_only=True)
class Stage:
    """One fitted stage of the decay: a straight line in dB over time."""

    name: str
    db_per_s: float
    start: tuple[float, float]
    end: tuple[float, float]


@dataclass(frozen=True, kw_only=True, repr=False)
class NotePlan(Plan):
    """Level curve of one note in dB re its maximum, as it was heard.

    ``fall_s`` is the time to fall 20 dB, ``fall_bound`` how to take it (``=``, ``>`` at least, ``<`` at most), ``fall_sd_s``
    its uncertainty (None for a bound); ``in_room`` says that a room was heard around the piano.
    """

    key: int
    time_s: tuple[float, ...]
    level_db: tuple[float, ...]
    floor_db: float
    stages: tuple[Stage, ...]
    fall_s: float | None
    fall_bound: str
    fall_reason: str
    hold_s: float | None
    fall_sd_s: float | None = None
    in_room: bool = False
    header = ("time", "unit", "level", "level unit")

    def rows(self) -> list[Row]:
        return [
            (round(t, 4), "s", round(db, 2), "dB") for t, db in zip(self.time_s, self.level_db, strict=True)
        ]


def plan_note(survey: Survey, key: int) -> NotePlan:
    """Plan of one note's level curve.

    Parameters
    ----------
    survey : a survey that kept its level curves
    key : key number, A4 = 49

    Returns
    -------
    NotePlan; stages are drawn only where the survey holds their slopes

    Raises
    ------
    BadInput : the survey has no curve of that key
    """
    curve = next((c for c in survey.curves if c.key == key), None)
    row: dict[str, Any] = next((r for r in survey.key_rows() if int(r["key"]) == key), {})
    if curve is None or not curve.time_s or not row:
        why = why_missing(row, "decay_20_s") if row else "the key is not in this survey"
        raise BadInput(f"key {key}", f"no level curve ({why})", "a key whose note was heard")
    step = max(1, len(curve.time_s) // MOST_POINTS)
    fall = number(row.get("decay_20_s"))
    bound = str(row.get("decay_20_bound") or "=")
    reason = why_missing(row, "decay_20_s") if fall is None else ""
    sd = number(row.get("decay_20_s_sd")) if bound == "=" else None
    in_room = survey.summary.t60_s is not None
    return NotePlan(
        title=f"How {note_name(key)} dies away",
        key=key,
        fall_sd_s=sd,
        in_room=in_room,
        alt=f"{_said(key, fall, bound, sd, reason, in_room=in_room)} {_stages_said(row, curve.floor_db)}",
        time_s=curve.time_s[::step],
        level_db=curve.level_db[::step],
        floor_db=curve.floor_db,
        stages=_stages(curve, row),
        fall_s=fall,
        fall_bound=bound,
        fall_reason=reason,
        hold_s=number(row.get("hold_s")),
    )


def _said(key: int, fall: float | None, bound: str, sd: float | None, reason: str, *, in_room: bool) -> str:
    if fall is None:
        return f"{note_name(key)}: the time to fall 20 dB is not known ({reason})."
    text = f"{note_name(key)} falls 20 dB in {_time(fall, bound, sd)}"
    if bound == "<":
        return f"{text}: the room rings on."
    return f"{text}, as heard in this room." if in_room and bound == "=" else f"{text}."


def _time(fall: float, bound: str, sd: float | None) -> str:
    sign = f"{BOUND_KIND[bound]} " if bound in BOUND_KIND else ""
    return f"{sign}{fall:.2f}{'' if sd is None else f' ± {sd:.2f}'} s"


def _stages_said(row: Mapping[str, Any], floor_db: float) -> str:
    early, late = number(row.get("early_db_per_s")), number(row.get("late_db_per_s"))
    first = f"first {early:.0f} dB/s" if early is not None else "the first stage is not known"
    second = f"then {late:.0f} dB/s" if late is not None else "the second stage could not be seen"
    return f"{first[0].upper()}{first[1:]}, {second}; the noise lies {-floor_db:.0f} dB under its loudest moment."


def _stages(curve: LevelCurve, row: Mapping[str, Any]) -> tuple[Stage, ...]:
    early, late = number(row.get("early_db_per_s")), number(row.get("late_db_per_s"))
    loudest = max(range(len(curve.level_db)), key=lambda i: curve.level_db[i])
    t0, top = curve.time_s[loudest], curve.level_db[loudest]
    stages = []
    if early:
        until = t0 + min(FALL_DB / -early, 0.6 * (curve.time_s[-1] - t0))
        stages.append(
            Stage(
                name="first stage", db_per_s=early, start=(t0, top), end=(until, top - early * (until - t0))
            )
        )
    hold = number(row.get("hold_s")) or curve.time_s[-1]
    tail = [
        (t, db)
        for t, db in zip(curve.time_s, curve.level_db, strict=True)
        if t0 + 0.5 * (hold - t0) < t < hold and db > curve.floor_db + 6.0
    ]
    if late and len(tail) > 4:
        at_zero = median(db + late * t for t, db in tail)
        start, end = t0, tail[-1][0]
        stages.append(
            Stage(
                name="second stage",
                db_per_s=late,
                start=(start, at_zero - late * start),
                end=(end, at_zero - late * end),
            )
        )
    return tuple(stages)


@drawing
def draw_note(plan: NotePlan, theme: str = "light", *, bare: bool = False) -> Sheet:
    """The plan as a figure."""
    look_of = look.theme_of(theme)
    fig = frame.base_figure(look_of, title=plan.title, height=240, bare=bare, bottom=44, legend=2)
    bottom = min(plan.floor_db - 8.0, min(plan.level_db))
    bottom = max(bottom, plan.floor_db - 14.0)
    fig.add_shape(
        "rect",
        xref="paper",
        yref="y",
        x0=0,
        x1=1,
        y0=bottom,
        y1=plan.floor_db,
        layer="below",
        fillcolor=look.faded(look_of.faint, 0.25),
        line={"width": 0},
    )
    fig.add_annotation(
        xref="paper",
        x=1,
        xanchor="right",
        y=plan.floor_db,
        yanchor="top",
        text="noise",
        font={"size": look.SMALL_PX, "color": look_of.muted},
    )
    fig.add(
        "scatter",
        x=list(plan.time_s),
        y=list(plan.level_db),
        mode="lines",
        line={"color": look_of.ink, "width": 1.8},
        name="level of the note",
        hovertemplate="%{x:.2f} s after the start<br>%{y:.1f} dB<extra></extra>",
    )
    for i, stage in enumerate(plan.stages):
        _draw_stage(fig, stage, first=i == 0)
    _draw_fall(fig, plan, look_of)
    fig.lay_out(
        xaxis=frame.axis(look_of, title="time, s", showgrid=False, range=[0, plan.time_s[-1]]),
        yaxis=frame.axis(look_of, title="level, dB under its loudest moment", range=[bottom, 4]),
    )
    return fig


def _draw_stage(fig: Sheet, stage: Stage, *, first: bool) -> None:
    colour = look.OKABE_ITO["vermillion" if first else "sky blue"]
    fig.add(
        "scatter",
        x=[stage.start[0], stage.end[0]],
        y=[stage.start[1], stage.end[1]],
        mode="lines",
        hoverinfo="skip",
        line={"color": colour, "width": 2.4, "dash": "7px 3px" if first else "2px 3px"},
        name=f"{stage.name}: {stage.db_per_s:.0f} dB/s",
    )


def _draw_fall(fig: Sheet, plan: NotePlan, theme: Theme) -> None:
    if plan.fall_s is None:
        return
    kind = BOUND_KIND.get(plan.fall_bound, "measured")
    loudest = plan.time_s[max(range(len(plan.level_db)), key=lambda i: plan.level_db[i])]
    x = loudest + plan.fall_s
    near = min(range(len(plan.time_s)), key=lambda i: abs(plan.time_s[i] - x))
    spread = (
        {}
        if plan.fall_sd_s is None
        else {"error_x": {"array": [plan.fall_sd_s], "color": theme.ink, "thickness": 1.2}}
    )
    fig.add(
        "scatter",
        x=[x],
        y=[FALL_DB if kind == "measured" else plan.level_db[near]],
        mode="markers+text",
        text=[_time(plan.fall_s, plan.fall_bound, plan.fall_sd_s)],
        textposition="top right",
        hoverinfo="skip",
        textfont={"size": look.SMALL_PX, "color": theme.ink},
        name=_fall_name(plan),
        marker={"symbol": look.KIND_SYMBOL[kind], "size": 10, "color": theme.ink},
        **spread,
    )


def _fall_name(plan: NotePlan) -> str:
    if plan.fall_bound == ">":
        return "let go or drowned before 20 dB"
    if plan.fall_bound == "<":
        return "20 dB down by then: the room rings on"
    return "20 dB down, as heard in this room" if plan.in_room else "20 dB down"
