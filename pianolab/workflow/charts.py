"""Charts by name: what a result can draw of itself, so that nobody must know which plan goes with which drawing."""

from __future__ import annotations

import json
import os
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from pianolab import figures
from pianolab.acoustics import Survey
from pianolab.assess import VisitChanges
from pianolab.compare import Comparison
from pianolab.errors import BadInput
from pianolab.figures.look import marks_for
from pianolab.model import Piano
from pianolab.recordings import Holding, LeftPedal
from pianolab.workflow.deciding import Decision
from pianolab.workflow.many import ManySurveys

THEME_FILE = Path("@jupyterlab") / "apputils-extension" / "themes.jupyterlab-settings"
COMMENT = re.compile(r"^\s*//.*$", re.MULTILINE)
AS_AROUND = "as the notebook"
"""A theme: light or dark, as JupyterLab is when the chart is drawn."""

Chart = Any
"""A figure of plotly's, which only `pianolab.figures` knows."""

OVER_KEYS: dict[str, tuple[Callable[..., Any], Callable[..., Chart]]] = {
    "tuning": (figures.plan_tuning, figures.draw_tuning),
    "unison": (figures.plan_unison, figures.draw_unison),
    "decay": (figures.plan_decay, figures.draw_decay),
    "damper": (figures.plan_damper, figures.draw_damper),
    "brightness": (figures.plan_brightness, figures.draw_brightness),
}
"""What is drawn over the keys, of one survey or of several in one chart."""

OF_A_COMPARISON = ("radar", "ranks", "costs", "next steps")
OF_ONE_PIANO = ("keyboard", "instrument", "holding", "pedal", "room")
OF_TWO_VISITS: dict[str, tuple[Callable[..., Any], Callable[..., Chart]]] = {
    "marks": (figures.plan_marks_then_and_now, figures.draw_marks_then_and_now),
    "promises": (figures.plan_promises, figures.draw_promises),
}
THE_RECORDING = "this recording"


def chart_of(
    result: Any, kind: str, *, piano: str = "", key: int | None = None, theme: str = AS_AROUND
) -> Chart:
    """A chart of a result.

    Parameters
    ----------
    result : a `Survey`, several of them (`ManySurveys`, a mapping by name), `VisitChanges` (then and now in one chart),
        a `Comparison` or a `Decision`
    kind : ``tuning``, ``unison``, ``decay``, ``damper`` or ``brightness`` over the keys, of surveys and decisions, or
        any column of numbers of the survey, such as ``inharmonicity``;
        ``note``, the decay of one key of a survey; ``radar``, ``ranks``, ``costs``, ``next steps`` of comparisons and
        decisions; ``keyboard``, ``instrument``, ``holding``, ``pedal``, ``room`` of one piano of a decision;
        ``marks``, ``promises`` of two visits
    piano : of a decision: the piano by name or id; the one ahead where none is named
    key : int, for ``note``; A4 = 49
    theme : ``light``, ``dark``, or as the notebook around it (`lab_theme`)

    Returns
    -------
    A figure; a notebook shows it as it is

    Raises
    ------
    BadInput
        a kind that this result doesn't have, and what the chart itself refuses

    Examples
    --------
    >>> chart_of({}, "raddar")
    Traceback (most recent call last):
    ...
    pianolab.errors.BadInput: chart: got 'raddar', need one of tuning, unison, decay, damper, brightness. ...
    """
    theme = lab_theme() if theme == AS_AROUND else theme
    if isinstance(result, Decision):
        return _of_decision(result, kind, piano, theme)
    if isinstance(result, Comparison):
        return _of_comparison(result, kind, theme)
    if isinstance(result, Survey):
        return _of_survey(result, kind, key, theme)
    if isinstance(result, (ManySurveys, Mapping)):
        surveys = result.surveys if isinstance(result, ManySurveys) else result
        return _over_keys(surveys, {i: str(i) for i in surveys}, kind, theme)
    if isinstance(result, VisitChanges):
        if kind in OF_TWO_VISITS:
            plan, draw = OF_TWO_VISITS[kind]
            return draw(plan(result), theme)
        recorded = {"then": result.survey_before, "now": result.survey_after}
        return _over_keys(
            {i: s for i, s in recorded.items() if s is not None}, {i: i for i in recorded}, kind, theme
        )
    if isinstance(result, Holding):
        return figures.draw_drift(figures.plan_drift(result, name=THE_RECORDING), theme)
    if isinstance(result, LeftPedal):
        return figures.draw_spans(figures.plan_left_pedal(result), theme)
    raise BadInput("chart", f"a {type(result).__name__}", "a survey, a comparison or a decision")


def _over_keys(surveys: Mapping[str, Survey], names: Mapping[str, str], kind: str, theme: str) -> Chart:
    if kind in _columns(surveys):
        return figures.draw_over_keys(figures.plan_column(kind, surveys, names), theme)
    plan, draw = OVER_KEYS[_known(kind, OVER_KEYS)]
    return draw(plan(surveys, names), theme)


def _columns(surveys: Mapping[str, Survey]) -> tuple[str, ...]:
    """The columns of numbers that any of these surveys has."""
    tables = [s.table.select_dtypes("number") for s in surveys.values()]
    return tuple(dict.fromkeys(column for table in tables for column in table.columns))


def _of_survey(survey: Survey, kind: str, key: int | None, theme: str) -> Chart:
    surveys = {THE_RECORDING: survey}
    if _known(kind, (*OVER_KEYS, "note"), more=_columns(surveys)) != "note":
        return _over_keys(surveys, {THE_RECORDING: THE_RECORDING}, kind, theme)
    if key is None:
        raise BadInput("key", "none", "the number of the key to draw, A4 = 49")
    return figures.draw_note(figures.plan_note(survey, key), theme)


def _of_comparison(comparison: Comparison, kind: str, theme: str) -> Chart:
    _known(kind, OF_A_COMPARISON)
    if kind == "radar":
        plan = figures.plan_radar(comparison.assessments, profile=comparison.profile)
        return figures.draw_radar(plan, theme)
    if kind == "ranks":
        return figures.draw_ranks(figures.plan_ranks(comparison), theme)
    if kind == "costs":
        return figures.draw_costs(figures.plan_costs(comparison), theme)
    return figures.draw_next_steps(figures.plan_next_steps(comparison), theme)


def _of_decision(decision: Decision, kind: str, piano: str, theme: str) -> Chart:
    columns = _columns(decision.surveys)
    _known(kind, (*OVER_KEYS, *OF_A_COMPARISON, *OF_ONE_PIANO), more=columns)
    if kind in OVER_KEYS or kind in columns:
        names = {p.id: p.name for p in decision.pianos}
        return _over_keys(decision.surveys, names, kind, theme)
    if kind == "costs" and decision.no_money:
        raise BadInput("chart", "'costs'", "prices in one currency", f"{decision.notes[0]}.")
    if kind in OF_A_COMPARISON:
        return _of_comparison(decision.comparison, kind, theme)
    return _of_one_piano(decision, decision.piano(piano), kind, theme)


def _of_one_piano(decision: Decision, piano: Piano, kind: str, theme: str) -> Chart:
    findings = decision.findings.get(piano.id, ())
    if kind == "keyboard":
        survey = decision.surveys.get(piano.id)
        plan = figures.plan_keyboard(piano, survey=survey, findings=findings, checklist=decision.checklist)
        return figures.draw_keyboard(plan, theme)
    if kind == "instrument":
        drawing = figures.plan_instrument(piano, findings=findings, checklist=decision.checklist)
        return figures.draw_instrument(drawing, theme)
    if kind == "room":
        return figures.draw_spans(figures.plan_room_change(decision.rooms[piano.id], name=piano.name), theme)
    recorded: Mapping[str, Any] = decision.holding if kind == "holding" else decision.pedals
    if piano.id not in recorded:
        need = (
            "recordings on two days"
            if kind == "holding"
            else "a recording with the left pedal beside one without"
        )
        raise BadInput(f"chart of {piano.name}", repr(kind), need)
    if kind == "pedal":
        return figures.draw_spans(figures.plan_left_pedal(recorded[piano.id], name=piano.name), theme)
    mark = marks_for({p.id: p.name for p in decision.pianos})[piano.id]
    return figures.draw_drift(figures.plan_drift(recorded[piano.id], name=piano.name, mark=mark), theme)


def _known(kind: str, kinds: Iterable[str], *, more: Sequence[str] = ()) -> str:
    """The kind itself; those in ``more`` go too, and are too many to be named where it is unknown."""
    if kind not in (*kinds, *more):
        close = get_close_matches(kind, [*kinds, *more], n=1)
        hint = f"Did you mean {close[0]}?" if close else "Another result may have it."
        raise BadInput("chart", repr(kind), "one of " + ", ".join(kinds), hint)
    return kind


def lab_theme() -> str:
    """``dark`` where JupyterLab's own theme is a dark one, else ``light``; read anew each time.

    The setting lies beside the server; where it can't be read, as on another machine, it counts as light.

    Examples
    --------
    >>> lab_theme() in ("light", "dark")
    True
    """
    try:
        text = (_settings_folder() / THEME_FILE).read_text(encoding="utf-8")
        chosen = json.loads(COMMENT.sub("", text))
    except (OSError, ValueError):
        return "light"
    name = chosen.get("theme", "") if isinstance(chosen, dict) else ""
    return "dark" if "dark" in str(name).lower() else "light"


def _settings_folder() -> Path:
    if own := os.environ.get("JUPYTERLAB_SETTINGS_DIR"):
        return Path(own)
    config = os.environ.get("JUPYTER_CONFIG_DIR")
    return (Path(config) if config else Path.home() / ".jupyter") / "lab" / "user-settings"
