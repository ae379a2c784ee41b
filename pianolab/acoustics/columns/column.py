"""What a column of the survey is: one declaration that rows, merging, impairments, tables and charts all read."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import isfinite, isnan
from typing import TYPE_CHECKING, Any, Literal, get_args

from numpy.typing import NDArray

from pianolab.errors import BadInput

if TYPE_CHECKING:
    from pianolab.acoustics.judging.fault_rules import FoundFaults
    from pianolab.acoustics.notes import NoteMeasures
    from pianolab.acoustics.spectra import Samples

Values = Sequence[Any] | NDArray[Any]
"""One value per measured note."""

Kind = Literal["label", "count", "number", "sd", "bound", "statement"]
"""Labels and counts tell which key it is and are always there; a bound says how a time is to be taken; a statement may be
empty without a reason. Labels, bounds and statements are text."""

Merge = Literal["best take", "mean", "time", "first known", "sum", "with its measure", "apart"]
"""How takes of one key become one value (`pianolab.recordings.merging`); ``apart`` is worked out by rules of its own."""

MERGE_WORDS: Mapping[Merge, str] = {
    "best take": "that of the best take",
    "mean": "their mean, by their uncertainties where known",
    "time": "the mean of measured times; else the highest of lower or the lowest of upper bounds",
    "first known": "that of the best take that has one",
    "sum": "their sum",
    "with its measure": "what belongs to the merged measure",
    "apart": "worked out anew",
}

RestsOn = Literal[
    "nothing",
    "level",
    "pitch",
    "stiffness",
    "unison",
    "beats",
    "fall",
    "late fall",
    "strings' fall",
    "release",
    "brightness",
    "between partials",
]
"""The side of the sound that a value is read from. What spoils one value that rests on it spoils all of them."""

ENDINGS = {"_hz": "Hz", "cents": "cents", "_s": "s", "_per_s": "dB/s", "_db": "dB"}


@dataclass(frozen=True, kw_only=True)
class Listened:
    """All that is known of the measured notes when the table is written; arrays have an entry per note."""

    m: NoteMeasures
    judged: FoundFaults
    strikes: Mapping[int, int]
    channels: Samples
    rate_hz: int


@dataclass(frozen=True, kw_only=True)
class ColumnChart:
    """A column as a chart over the keys.

    ``axis`` names what is drawn, ``fault`` the fault that goes with it; ``usual`` is the band that is no fault, ``least``
    the span that is shown at least (None: a logarithmic scale). ``overlay`` draws all instruments in one panel. ``unit``
    and ``sd`` stand in where the column has no unit or no uncertainty of its own.
    """

    title: str
    axis: str
    fault: str = ""
    unit: str = ""
    sd: str = ""
    usual: tuple[float, float] | None = None
    least: tuple[float, float] | None = None
    overlay: bool = False
    digits: int = 1


@dataclass(frozen=True, kw_only=True)
class Column:
    """One column of the survey table.

    Parameters
    ----------
    name, unit : as in the table; a name that ends in a unit must have that unit
    words : what it is, for readers
    kind : see `Kind`
    decimals : digits after the point in CSV files, finer than can be measured; None: eight significant digits
    values : from everything that was listened to, one value per measured note; None: not from the notes
    absent : why a cell is empty where nothing is known that fits better; every number needs it
    why : reasons per note, "" where a note's value is there or ``absent`` says it
    of : for an uncertainty or a bound: the column it belongs to; a number may belong to another that it is told with.
        Where that one is empty this one is, for the same reason
    rests_on : what spoils it, see `RestsOn`; taken from ``of`` where that is given
    merge : how takes become one value
    spread : whether the distance between takes is told
    chart : how it is drawn over the keys

    Raises
    ------
    BadInput : a part that is forgotten or doesn't fit, at import

    Examples
    --------
    >>> Column(name="width_cents", unit="cents", words="how wide", decimals=2, absent="too weak", rests_on="unison",
    ...        values=lambda heard: heard.m.unison.spread_cents, merge="mean").text(1.234)
    '1.23'
    """

    name: str
    unit: str
    words: str
    merge: Merge
    kind: Kind = "number"
    decimals: int | None = None
    values: Callable[[Listened], Values] | None = None
    absent: str = ""
    why: Callable[[Listened], Sequence[str]] | None = None
    of: str = ""
    rests_on: RestsOn | None = None
    spread: bool = False
    chart: ColumnChart | None = None

    def __post_init__(self) -> None:
        if fault := _fault_of(self):
            raise BadInput(f"column {self.name!r}", *fault)

    @property
    def is_text(self) -> bool:
        return self.kind in ("label", "bound", "statement")

    @property
    def empty(self) -> Any:
        """The cell of what is not known."""
        return "" if self.is_text else float("nan")

    @property
    def needs_reason(self) -> bool:
        """Whether an empty cell is a gap in what is known."""
        return self.kind in ("number", "sd", "bound")

    def text(self, value: Any) -> str:
        """A cell as a CSV file has it; empty for what is unknown."""
        if self.is_text:
            return str(value)
        if isnan(value):
            return ""
        if not isfinite(value):
            return "inf" if value > 0 else "-inf"
        return f"{value:.8g}" if self.decimals is None else f"{value:.{self.decimals}f}"

    def rounded(self, value: Any) -> str | float | None:
        """The same as text or number; None for what is unknown."""
        text = self.text(value)
        return (
            text if self.is_text else None if text == "" else float(text) if self.decimals != 0 else int(text)
        )


def is_empty(value: Any) -> bool:
    """Whether a cell holds nothing."""
    return value is None or value == "" or (isinstance(value, float) and isnan(value))


def _fault_of(c: Column) -> tuple[str, str, str] | None:
    """What is wrong with a declaration by itself: what was got, what is needed, and a hint."""
    ending = max((e for e in ENDINGS if c.name.endswith(e)), key=len, default="")
    if not c.words:
        return "no words", "what the column holds, in words", "Readers see them in the list of columns."
    if ending and c.kind == "number" and c.unit != ENDINGS[ending]:
        return f"unit {c.unit!r}", f"{ENDINGS[ending]!r}", "The name ends in a unit."
    if c.needs_reason and not c.absent:
        return "no reason for an empty cell", "`absent`", "A value that nobody knows says why."
    if c.kind in ("sd", "bound") and not c.of:
        return f"a {c.kind} of nothing", "`of`, the column it belongs to", ""
    if c.kind == "number" and c.rests_on is None and not c.of:
        return (
            "nothing it rests on",
            f"`rests_on`, one of {', '.join(get_args(RestsOn))}",
            "Else nothing spoils it.",
        )
    if c.rests_on is not None and c.rests_on not in get_args(RestsOn):
        return f"rests_on {c.rests_on!r}", f"one of {', '.join(get_args(RestsOn))}", "Misspelt?"
    if c.merge not in get_args(Merge):
        return f"merge {c.merge!r}", f"one of {', '.join(get_args(Merge))}", "Misspelt?"
    return None


def checked(columns: Iterable[Column]) -> tuple[Column, ...]:
    """The columns, once it is sure that they fit together.

    Raises
    ------
    BadInput : a name twice, or ``of`` a column that isn't there
    """
    all_of_them = tuple(columns)
    names = [c.name for c in all_of_them]
    for c in all_of_them:
        if names.count(c.name) > 1:
            raise BadInput(f"column {c.name!r}", "two declarations", "one", "Declared in two files?")
        if c.of and c.of not in names:
            raise BadInput(f"column {c.name!r}", f"of {c.of!r}", "a column that is declared", "Misspelt?")
    return all_of_them
