"""A measure over the keys, as plain data: points, gaps with their reasons, and a robust trend line."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import median
from typing import TYPE_CHECKING, Any, Literal

from pianolab.acoustics.survey_result import Survey
from pianolab.errors import BadInput
from pianolab.figures.look import Kind, Mark, marks_for
from pianolab.figures.sheet import Plan
from pianolab.figures.survey_cells import why_missing
from pianolab.keyboard import note_name
from pianolab.show import Row

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

TREND_REACH_KEYS, TREND_LEAST = 4, 3
NOT_RECORDED = "not recorded"
FAR_OUT = 3.0
"""Values further than this many quartile widths beyond the middle half may be drawn at the edge of a chart."""


@dataclass(frozen=True, kw_only=True)
class KeyPoint:
    """One key's value, how far it can be trusted (``kind``), its standard deviation, and words for the hover."""

    key: int
    value: float
    kind: Kind
    sd: float | None = None
    words: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class KeyGap:
    """A key without a value, and why."""

    key: int
    reason: str


@dataclass(frozen=True, kw_only=True)
class KeySeries:
    """One instrument over the keys; ``quiet`` ones are drawn as a grey trend line for comparison."""

    mark: Mark
    points: tuple[KeyPoint, ...]
    gaps: tuple[KeyGap, ...]
    trend: tuple[tuple[int, float | None], ...] = ()
    quiet: bool = False

    def values(self, *kinds: Kind) -> list[float]:
        """Values of the points of these kinds (all kinds where none is named)."""
        return [p.value for p in self.points if not kinds or p.kind in kinds]


@dataclass(frozen=True, kw_only=True, repr=False)
class KeyPlan(Plan):
    """A measure of one or several instruments over the keys.

    ``arrange`` is ``overlay`` (one panel) or ``rows`` (a panel per instrument, same scale); ``usual`` is a
    band of values that is no fault; values beyond ``limits`` are drawn at the edge and named in the hover.
    ``unheard`` are instruments that were not recorded: they stand in the legend and the table, as unknown.
    """

    measure: str
    unit: str
    first_key: int
    last_key: int
    series: tuple[KeySeries, ...]
    arrange: Literal["overlay", "rows"] = "overlay"
    log: bool = False
    limits: tuple[float, float] = (0.0, 1.0)
    usual: tuple[float, float] | None = None
    ticks: tuple[float, ...] = ()
    digits: int = 1
    unheard: tuple[Mark, ...] = ()
    header = ("instrument", "key", "note", "value", "unit", "standard deviation", "how", "note or reason")

    @property
    def loud(self) -> tuple[KeySeries, ...]:
        return tuple(s for s in self.series if not s.quiet)

    @property
    def kinds(self) -> tuple[Kind, ...]:
        """The kinds of points that occur, in a fixed order."""
        order: tuple[Kind, ...] = ("measured", "at least", "at most", "masked", "fault", "moved")
        here = {p.kind for s in self.loud for p in s.points}
        return tuple(k for k in order if k in here)

    def rows(self) -> list[Row]:
        known = sorted((row for s in self.loud for row in self._rows_of(s)), key=lambda row: (row[0], row[1]))
        return known + [
            (m.label, None, "", None, self.unit, None, "unknown", NOT_RECORDED) for m in self.unheard
        ]

    def _rows_of(self, s: KeySeries) -> Iterator[Row]:
        for p in s.points:
            words = "; ".join(p.words)
            value = round(p.value, self.digits + 1)
            yield s.mark.label, p.key, note_name(p.key), value, self.unit, p.sd, p.kind, words
        for g in s.gaps:
            yield s.mark.label, g.key, note_name(g.key), None, self.unit, None, "unknown", g.reason


def series_of(
    mark: Mark,
    survey: Survey,
    *,
    column: str,
    point: Callable[[Mapping[str, Any]], KeyPoint | None],
    quiet: bool = False,
    trend: bool = True,
) -> KeySeries:
    """One instrument's series: what ``point`` makes of each row, and a gap with its reason where it makes none."""
    points, gaps = [], []
    for row in survey.key_rows():
        made = point(row)
        if made is None:
            gaps.append(KeyGap(key=int(row["key"]), reason=why_missing(row, column)))
        else:
            points.append(made)
    line = running_trend(points) if trend else ()
    return KeySeries(mark=mark, points=tuple(points), gaps=tuple(gaps), trend=line, quiet=quiet)


def running_trend(points: Sequence[KeyPoint]) -> tuple[tuple[int, float | None], ...]:
    """Median of the trusted values within four keys on each side.

    None where fewer than three stand, or where fewer than half of the values there can be trusted: a line
    through the few exceptions would say what is not known.

    Examples
    --------
    >>> same = [KeyPoint(key=k, value=2.0, kind="measured") for k in (40, 41, 42)]
    >>> running_trend(same)
    ((40, 2.0), (41, 2.0), (42, 2.0))
    """
    trusted = [p for p in points if p.kind in ("measured", "fault")]
    if not trusted:
        return ()
    keys = range(min(p.key for p in trusted), max(p.key for p in trusted) + 1)
    return tuple((k, _near_median(k, points)) for k in keys)


def _near_median(key: int, points: Sequence[KeyPoint]) -> float | None:
    near = [p for p in points if abs(p.key - key) <= TREND_REACH_KEYS]
    values = [p.value for p in near if p.kind in ("measured", "fault")]
    return median(values) if len(values) >= TREND_LEAST and 2 * len(values) >= len(near) else None


def check_surveys(
    surveys: Mapping[str, Survey], names: Mapping[str, str], focus: str | None
) -> dict[str, Mark]:
    """Marks of all instruments; `BadInput` where a survey or the focus belongs to none of them."""
    marks = marks_for(names)
    if stray := set(surveys) - set(names):
        raise BadInput("surveys", ", ".join(sorted(stray)), "only instruments that are in names")
    if not surveys:
        raise BadInput("surveys", "none", "at least one survey", "Listen to a recording first.")
    if focus is not None and focus not in surveys:
        raise BadInput("focus", repr(focus), "an instrument that has a survey")
    return marks


def compass(surveys: Mapping[str, Survey]) -> tuple[int, int]:
    """First and last key over all surveys."""
    keys = [int(k) for s in surveys.values() for k in s.table["key"]]
    if not keys:
        raise BadInput("surveys", "no rows", "surveys with at least one key")
    return min(keys), max(keys)


def shown_limits(
    series: Sequence[KeySeries], *, least: tuple[float, float], even: bool
) -> tuple[float, float]:
    """Limits that show 9 of 10 values at either end and at least ``least``; what lies far out is drawn at the edge.

    Examples
    --------
    >>> shown_limits([], least=(-8.0, 8.0), even=True)
    (-8.0, 8.0)
    """
    values = sorted(v for s in series for v in s.values())
    if not values:
        return least
    low, high = _edges(values)
    low, high = min(least[0], low), max(least[1], high)
    if even:
        high = max(high, -low)
        low = -high
    return low, high


def _edges(values: Sequence[float]) -> tuple[float, float]:
    """How far a chart must reach either way for sorted values, whatever single ones lie far out."""
    n = len(values)
    quarter, most = values[n // 4], values[3 * n // 4]
    reach = FAR_OUT * (most - quarter)
    low = max(1.1 * values[0], min(quarter - reach, 1.1 * values[n // 10]))
    high = min(1.1 * values[-1], max(most + reach, 1.1 * values[9 * n // 10]))
    return low, high
