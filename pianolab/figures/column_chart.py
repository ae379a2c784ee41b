"""A column of the survey as a chart over the keys: what is read from the rows, how it is shown, and how it is said.

Title, scale and limits stand in the column's own declaration (`pianolab.acoustics.columns`); a `Measure` adds the words.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from statistics import median
from typing import Any, Literal

from pianolab.acoustics.columns import ColumnChart, bound_of, column, sd_of
from pianolab.acoustics.survey_result import Survey
from pianolab.errors import BadInput
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
from pianolab.figures.survey_cells import number
from pianolab.figures.wording import listed

LOG_TICKS = tuple(step * 10.0**power for power in (-2, -1, 0, 1) for step in (1, 2, 5))
EMPTY_LOG = (0.05, 20.0)
LOG_ROOM = (0.8, 1.35)
FINE_DIGITS = 6
LEAST_SPAN = 1e-6
"""A scale has two ends, though all values be the same."""

BOUND_KIND: dict[str, Kind] = {"<": "at most", ">": "at least"}
"""How a time is to be taken that is a bound; ``=`` and no word mean measured."""

Row = Mapping[str, Any]
Words = Callable[[Row], Sequence[str]]
Say = Callable[[Sequence[KeySeries], Mapping[str, Survey]], str]


def no_words(row: Row) -> Sequence[str]:  # noqa: ARG001
    """Nothing is told beside the value."""
    return ()


@dataclass(frozen=True, kw_only=True)
class Measure:
    """One column of the survey as a chart over the keys.

    ``column`` is its name; ``kind`` says how a row's value is to be taken (by its bound where it has one), ``words``
    what else the hover tells. ``say`` writes the text alternative from the series and their surveys; without it the typical
    value of each instrument is told. ``message`` makes the title out of the series, empty where they don't bear one. Instruments that were not recorded are named in any case.

    Raises
    ------
    BadInput : no such column, or one that holds no numbers
    """

    column: str
    say: Say | None = None
    words: Words = no_words
    kind: Callable[[Row], Kind] | None = None
    message: Callable[[Sequence[KeySeries]], str] | None = None

    def __post_init__(self) -> None:
        if column(self.column).is_text:
            raise BadInput("column", repr(self.column), "a column of numbers", "A bound or a statement?")

    @property
    def chart(self) -> ColumnChart:
        """How it is drawn; a column that says nothing about it gets the plain form."""
        own = column(self.column)
        digits = FINE_DIGITS if own.decimals is None else min(own.decimals, 2)
        return own.chart or ColumnChart(
            title=_upper(own.words), axis=own.name, least=(0.0, 0.0), digits=digits
        )

    @property
    def unit(self) -> str:
        return column(self.column).unit or self.chart.unit

    @property
    def log(self) -> bool:
        return self.chart.least is None

    def plan(
        self, surveys: Mapping[str, Survey], names: Mapping[str, str], *, focus: str | None = None
    ) -> KeyPlan:
        """Plan of this measure over the keys, for one instrument or the shortlist.

        Parameters
        ----------
        surveys : mapping of piano id to `Survey`; instruments without one are left out
        names : mapping of piano id to name, in the order of the shortlist
        focus : one piano id to show alone; where the measure is overlaid the others stay as grey lines

        Returns
        -------
        KeyPlan; keys with the measure's fault have the kind ``fault``, bounds ``at least`` and ``at most``

        Raises
        ------
        BadInput : no survey at all, or one that belongs to no named instrument
        """
        marks = check_surveys(surveys, names, focus)
        chart, chosen = self.chart, {i: s for i, s in surveys.items() if focus in (None, i)}
        drawn = surveys if chart.overlay else chosen
        series = tuple(self._series(marks[i], s, quiet=i not in chosen) for i, s in drawn.items())
        limits = self._limits(series)
        unheard = [marks[i] for i in names if i not in surveys and focus is None]
        first_key, last_key = compass(chosen)
        arrange: Literal["overlay", "rows"] = "overlay" if chart.overlay else "rows"
        return KeyPlan(
            title=(self.message(series) if self.message else "") or chart.title,
            alt=self._alt([s for s in series if not s.quiet], chosen) + _not_recorded(unheard),
            measure=chart.axis,
            unit=self.unit,
            first_key=first_key,
            last_key=last_key,
            series=series,
            arrange=arrange,
            log=self.log,
            limits=limits,
            usual=chart.usual,
            digits=chart.digits,
            ticks=tuple(t for t in LOG_TICKS if limits[0] <= t <= limits[1]) if self.log else (),
            unheard=tuple(unheard),
        )

    def point(self, row: Row) -> KeyPoint | None:
        """What a row says of its key, None where the measure is unknown."""
        value = number(row.get(self.column))
        if value is None or (self.log and value <= 0):
            return None
        kind = self.kind(row) if self.kind else self._by_bound(row)
        flagged = self.chart.fault in row["faults"] and kind == "measured"
        sd = number(row.get(self.chart.sd or sd_of(self.column)))
        words = tuple(w for w in self.words(row) if w)
        return KeyPoint(
            key=int(row["key"]), value=value, kind="fault" if flagged else kind, sd=sd, words=words
        )

    def _by_bound(self, row: Row) -> Kind:
        return BOUND_KIND.get(str(row.get(bound_of(self.column))), "measured")

    def _series(self, mark: Mark, survey: Survey, *, quiet: bool) -> KeySeries:
        overlay = self.chart.overlay
        return series_of(mark, survey, column=self.column, point=self.point, quiet=quiet, trend=overlay)

    def _alt(self, series: Sequence[KeySeries], surveys: Mapping[str, Survey]) -> str:
        if self.say is not None:
            return self.say(series, surveys)
        said = [self._typical(s) for s in series]
        return f"{_upper(column(self.column).words)}, typical value: {listed(said)}."

    def _typical(self, s: KeySeries) -> str:
        values = s.values("measured", "fault")
        keys = len(s.points) + len(s.gaps)
        typical = f"{median(values):.{self.chart.digits}f} {self.unit}".strip() if values else "not known"
        return f"{s.mark.letter} {typical} ({len(values)} of {keys} keys measured)"

    def _limits(self, series: Sequence[KeySeries]) -> tuple[float, float]:
        least = self.chart.least
        if least is not None:
            low, high = shown_limits(series, least=least, even=least[0] < 0)
            return low, max(high, low + LEAST_SPAN)
        values = [v for s in series for v in s.values()] or list(EMPTY_LOG)
        return LOG_ROOM[0] * min(values), LOG_ROOM[1] * max(values)


def _not_recorded(marks: Sequence[Mark]) -> str:
    """That nothing is known of the instruments nobody recorded; a chart is never silent about one."""
    return f" Not recorded, so not known: {listed(m.label for m in marks)}." if marks else ""


def _upper(words: str) -> str:
    return words[:1].upper() + words[1:]


def plan_column(
    name: str, surveys: Mapping[str, Survey], names: Mapping[str, str], *, focus: str | None = None
) -> KeyPlan:
    """Plan of any column of numbers of the survey over the keys; `Measure.plan` says the rest.

    Parameters
    ----------
    name : a column, such as ``inharmonicity``; `Survey.columns` lists them

    Raises
    ------
    BadInput : no such column, one that holds no numbers, or as `Measure.plan`
    """
    return Measure(column=name).plan(surveys, names, focus=focus)
