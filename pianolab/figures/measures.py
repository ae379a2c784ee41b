"""A measure over the keys described once: what is read from a survey's rows, how it is shown, and how it is said."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from pianolab.acoustics.results import Survey
from pianolab.figures.key_plan import (
    KeyPlan,
    KeyPoint,
    KeySeries,
    check_surveys,
    compass,
    series_of,
    shown_limits,
)
from pianolab.figures.look import Kind, Mark
from pianolab.figures.survey_cells import names_in, number

LOG_TICKS = tuple(step * 10.0**power for power in (-2, -1, 0, 1) for step in (1, 2, 5))
EMPTY_LOG = (0.05, 20.0)
LOG_ROOM = (0.8, 1.35)
BOUND_KIND: dict[str, Kind] = {"<": "at most", ">": "at least"}
"""How a time is to be taken that is a bound; ``=`` and no word mean measured."""

Row = Mapping[str, Any]
Said = Callable[[Sequence[KeySeries], Mapping[str, Survey], Sequence[Mark]], str]


@dataclass(frozen=True, kw_only=True)
class Measure:
    """One column of the survey as a chart over the keys.

    ``column`` holds the value; ``kind`` says how a row's value is to be taken, ``words`` what else the hover
    tells. ``fault`` is the word in ``faults`` that belongs to it. ``least`` is the span of values shown at
    least (None: a logarithmic scale), ``usual`` the band that is no fault. ``say`` writes the text
    alternative from the series, their surveys, and the instruments that were not recorded.
    """

    title: str
    column: str
    measure: str
    unit: str
    fault: str
    say: Said
    words: Callable[[Row], Sequence[str]] = lambda row: ()  # noqa: ARG005
    kind: Callable[[Row], Kind] | None = None
    sd: str = ""
    overlay: bool = False
    usual: tuple[float, float] | None = None
    least: tuple[float, float] | None = None
    digits: int = 1

    @property
    def log(self) -> bool:
        return self.least is None

    @property
    def arrange(self) -> Literal["overlay", "rows"]:
        return "overlay" if self.overlay else "rows"

    def point(self, row: Row) -> KeyPoint | None:
        """What a row says of its key, None where the measure is unknown."""
        value = number(row[self.column])
        if value is None or (self.log and value <= 0):
            return None
        flagged = self.fault in names_in(row.get("faults"))
        kind: Kind = self.kind(row) if self.kind else "measured"
        return KeyPoint(
            key=int(row["key"]), value=value, kind="fault" if flagged and kind == "measured" else kind,
            sd=number(row.get(self.sd or f"{self.column}_sd")), words=tuple(w for w in self.words(row) if w),
        )  # fmt: skip


def plan_measure(
    measure: Measure, surveys: Mapping[str, Survey], names: Mapping[str, str], *, focus: str | None = None
) -> KeyPlan:
    """Plan of a measure over the keys, for one instrument or the shortlist.

    Parameters
    ----------
    measure : what is shown
    surveys : mapping of piano id to `Survey`; instruments without one are left out
    names : mapping of piano id to name, in the order of the shortlist
    focus : one piano id to show alone; where the measure is overlaid the others stay as grey lines

    Returns
    -------
    KeyPlan

    Raises
    ------
    BadInput : no survey at all, or one that belongs to no named instrument
    """
    marks = check_surveys(surveys, names, focus)
    chosen = {i: s for i, s in surveys.items() if focus in (None, i)}
    drawn = surveys if measure.overlay else chosen
    series = tuple(
        series_of(marks[i], s, column=measure.column, point=measure.point, quiet=i not in chosen, trend=measure.overlay)
        for i, s in drawn.items()
    )  # fmt: skip
    limits = _limits(measure, series)
    unheard = [marks[i] for i in names if i not in surveys and focus is None]
    first_key, last_key = compass(chosen)
    return KeyPlan(
        title=measure.title, alt=measure.say([s for s in series if not s.quiet], chosen, unheard), measure=measure.measure,
        unit=measure.unit, first_key=first_key, last_key=last_key, series=series, arrange=measure.arrange, log=measure.log,
        limits=limits, usual=measure.usual, digits=measure.digits,
        ticks=tuple(t for t in LOG_TICKS if limits[0] <= t <= limits[1]) if measure.log else (),
    )  # fmt: skip


def _limits(measure: Measure, series: Sequence[KeySeries]) -> tuple[float, float]:
    if measure.least is not None:
        return shown_limits(series, least=measure.least, even=measure.least[0] < 0)
    values = [v for s in series for v in s.values()] or list(EMPTY_LOG)
    return LOG_ROOM[0] * min(values), LOG_ROOM[1] * max(values)
