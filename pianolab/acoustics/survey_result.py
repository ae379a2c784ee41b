"""What listening gives: the survey, with a row per key, level curves and a summary; and its table as text.

A row is a dictionary by column. While rows are worked with, ``gaps`` and ``not_judged`` are dictionaries and ``faults``
is a tuple; in the table, which users read and store, they are text.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import asdict, dataclass, field
from typing import TYPE_CHECKING, Any

from pianolab.acoustics.columns import AGREED, DECLARED, FURTHER, Column, column_rows, declared, undeclared
from pianolab.acoustics.judging.tuning_need import need_of_table, pitch_words
from pianolab.acoustics.named_reasons import join_names, join_reasons, split_names, split_reasons
from pianolab.errors import BadInput
from pianolab.show import Row as ShownRow
from pianolab.show import Showable

if TYPE_CHECKING:
    import pandas as pd

    from pianolab.acoustics.repeated import Repeats

Row = dict[str, Any]


def table_of(rows: Iterable[Row], *, merged: bool = False) -> pd.DataFrame:
    """Rows as the survey table: columns in their order, numbers as floats, reasons and faults as text."""
    import pandas as pd

    written = [
        {
            **row,
            "gaps": join_reasons(row["gaps"]),
            "not_judged": join_reasons(row["not_judged"]),
            "faults": join_names(row["faults"]),
        }
        for row in rows
    ]
    known = {c.name: c for c in declared(merged=merged)}
    names = dict.fromkeys([*known, *(name for row in written for name in row)])
    return typed(pd.DataFrame(written, columns=list(names)))


def typed(table: pd.DataFrame) -> pd.DataFrame:
    """The same with texts empty and numbers NaN where unknown; a column that isn't declared goes by what it holds."""
    text = {c.name for c in declared(merged=True) if c.is_text}
    number = {c.name for c in declared(merged=True) if not c.is_text}
    for name in table.columns:
        if name in text or (name not in number and table[name].map(lambda v: isinstance(v, str)).any()):
            table[name] = table[name].fillna("").astype(str)
        else:
            table[name] = table[name].astype(int if name == "key" else float)
    return table


def rows_of(table: pd.DataFrame) -> list[Row]:
    """The rows of a survey table with its reasons as dictionaries and its faults as tuples, in the table's order."""
    return [
        {
            **row,
            "gaps": split_reasons(row.get("gaps")),
            "not_judged": split_reasons(row.get("not_judged")),
            "faults": split_names(row.get("faults")),
        }
        for row in _cells_of(table)
    ]


def csv_rows(table: pd.DataFrame) -> tuple[list[str], list[list[str]]]:
    """Header and cells as a CSV file has them: numbers as finely as their column says, nothing for what is unknown."""
    columns = _columns_of(table)
    return [c.name for c in columns], [[c.text(row[c.name]) for c in columns] for row in _cells_of(table)]


def rounded_rows(table: pd.DataFrame) -> tuple[list[str], list[list[str | float | None]]]:
    """The same with numbers as numbers and None for what is unknown."""
    columns = _columns_of(table)
    return [c.name for c in columns], [[c.rounded(row[c.name]) for c in columns] for row in _cells_of(table)]


def _cells_of(table: pd.DataFrame) -> list[Row]:
    return [{str(name): value for name, value in row.items()} for row in table.to_dict(orient="records")]


def _columns_of(table: pd.DataFrame) -> list[Column]:
    """The table's columns, those that are declared first; one that isn't goes by what it holds."""
    known = {c.name: c for c in declared(merged=True)}
    names = [*(n for n in known if n in table), *(str(n) for n in table.columns if n not in known)]
    return [known.get(n) or undeclared(n, is_text=table[n].dtype.kind not in "fiub") for n in names]


COLUMNS: tuple[str, ...] = tuple(c.name for c in AGREED)
"""Columns of the survey table that every reader may count on, in order; more may follow them."""

EXTRA_COLUMNS: tuple[str, ...] = tuple(c.name for c in FURTHER)
FAULTS: tuple[str, ...] = ("silent", "off_pitch", "unison", "short_sustain", "damper", "buzz", "voicing")
FAULTS_BY_WEIGHT: tuple[str, ...] = (
    "silent",
    "short_sustain",
    "unison",
    "off_pitch",
    "damper",
    "buzz",
    "voicing",
)
"""The same, what costs most to mend first [practice]: the order in which they are told."""
STATUSES: tuple[str, ...] = ("measured", "silent", "skipped", "unclear")
TEXT_COLUMNS: frozenset[str] = frozenset(c.name for c in DECLARED if c.is_text)


def count_faults(table: pd.DataFrame) -> dict[str, int]:
    """How many keys of a survey table have each fault."""
    own = [split_names(cell) for cell in table["faults"]]
    return {fault: sum(fault in names for names in own) for fault in FAULTS}


@dataclass(frozen=True, kw_only=True)
class LevelCurve:
    """Level of one note over time (30 ms window), in dB re its maximum, with the noise floor beside it."""

    key: int
    time_s: tuple[float, ...]
    level_db: tuple[float, ...]
    floor_db: float


@dataclass(frozen=True, kw_only=True)
class PartialPitches:
    """Pitch of each partial of one note, partial 1 first: energy centroid of its close modes, Hz; None if not heard.

    ``weight`` runs from 0 to 1. Two recordings of one piano are compared partial by partial: what a bridge, or
    a string's own unevenness, pulls is the same in both and drops out.
    """

    key: int
    f_hz: tuple[float | None, ...]
    weight: tuple[float, ...]


@dataclass(frozen=True, kw_only=True)
class SurveySummary:
    """The recording as a whole; ``warnings`` are sentences, ``reading`` is ``clear`` or ``doubtful``.

    ``other_first_key`` holds the first key of the other reading where a shift by a semitone can't be told.
    ``impairments`` names what is wrong with the recording, ``quality`` says it and what it forbids, and
    ``quality_unknown`` lists what could not be told about the recording. ``wide_unisons`` of ``unisons_judged`` are
    wider than some weeks after a tuning is usual; ``needs_tuning`` says whether that, or how uneven the keys are, is
    the state of the whole (`tuning_need`).
    """

    first_key: int
    last_key: int
    a4_hz: float
    rate_hz: int
    channels: int
    seconds: float
    measured: int
    silent: tuple[int, ...]
    skipped: tuple[int, ...]
    unclear: tuple[int, ...]
    offset_cents: float | None
    tuning_spread_cents: float | None
    reading: str
    other_first_key: int | None
    t60_s: float | None
    t60_reason: str
    noise_db: float
    clipped_keys: tuple[int, ...]
    quality: tuple[str, ...]
    sustain_hidden: int
    sustain_heard: int
    warnings: tuple[str, ...]
    fault_counts: dict[str, int] = field(default_factory=dict)
    impairments: tuple[str, ...] = ()
    quality_unknown: tuple[str, ...] = ()
    unisons_judged: int = 0
    wide_unisons: int = 0
    needs_tuning: bool = False


@dataclass(frozen=True, kw_only=True, repr=False, eq=False)
class Survey(Showable):
    """All keys of one piano as measured from one recording.

    ``table`` has a row per key; `Survey.columns` says what its columns hold. Numbers are NaN and texts empty where
    unknown, and the column ``gaps`` says why; `gaps_of`, `not_judged_of` and `faults_of` give the same key by key.
    """

    table: pd.DataFrame
    summary: SurveySummary
    curves: tuple[LevelCurve, ...] = ()
    strikes: tuple[dict[str, Any], ...] = ()
    partials: tuple[PartialPitches, ...] = ()

    def to_frame(self) -> pd.DataFrame:
        """A copy of the survey table."""
        return self.table.copy()

    @staticmethod
    def columns() -> pd.DataFrame:
        """What the columns of the table hold: unit, meaning, uncertainty, why a cell may be empty, how takes merge.

        Examples
        --------
        >>> Survey.columns().set_index("column").loc["decay_20_s", "unit"]
        's'
        """
        import pandas as pd

        header, rows = column_rows()
        return pd.DataFrame(rows, columns=list(header))

    def gaps_of(self, key: int) -> dict[str, str]:
        """Column to reason, for every measure of this key that is not known.

        Raises
        ------
        BadInput : the survey has no such key
        """
        return dict(self._row(key)["gaps"])

    def not_judged_of(self, key: int) -> dict[str, str]:
        """Fault to reason, for every fault that could not be tested on this key; raises as `gaps_of`."""
        return dict(self._row(key)["not_judged"])

    def faults_of(self, key: int) -> tuple[str, ...]:
        """The faults heard on this key; raises as `gaps_of`."""
        return tuple(self._row(key)["faults"])

    def key_rows(self) -> list[dict[str, Any]]:
        """A dictionary per key, in key order, with reasons as dictionaries and faults as a tuple."""
        return rows_of(self.table.sort_values("key"))

    def _row(self, key: int) -> dict[str, Any]:
        rows = rows_of(self.table[self.table["key"] == key])
        if not rows:
            s = self.summary
            raise BadInput("key", key, f"one of the survey's keys, {s.first_key} to {s.last_key}")
        return rows[0]

    def headline(self) -> str:
        s = self.summary
        found = [
            f"{s.fault_counts[f]} {f.replace('_', ' ')}" for f in FAULTS_BY_WEIGHT if s.fault_counts.get(f)
        ]
        said = [f"{s.measured} of {s.last_key - s.first_key + 1} keys measured", *self.state_of_tuning()]
        return "; ".join([*said, ", ".join(found) or "no fault heard", *self.untold()])

    def unjudged(self) -> dict[str, int]:
        """Fault to the number of measured keys on which it could not be told; without those told on every key."""
        heard = [row for row in self.key_rows() if row["status"] == "measured"]
        counted = {f: sum(f in row["not_judged"] for row in heard) for f in FAULTS_BY_WEIGHT}
        return {f: n for f, n in counted.items() if n}

    def untold(self) -> tuple[str, ...]:
        """What no words about the faults heard may leave out: those that could not be told, in a few words; or none."""
        n = self.summary.measured
        said = [
            f"{f.replace('_', ' ')} on {'any key' if left >= n else f'{left} of {n} keys'}"
            for f, left in self.unjudged().items()
        ]
        return (f"could not be told: {', '.join(said)}",) if said else ()

    @property
    def repeats(self) -> Repeats:
        """What the keys that were struck twice say of the uncertainties; recomputed from ``strikes``."""
        from pianolab.acoustics.repeated import repeats_in

        return repeats_in(self.strikes)

    def state_of_tuning(self) -> tuple[str, ...]:
        """What is to be known before any fault: the pitch of the whole, and whether to tune before deciding."""
        need = need_of_table(self.table)
        return tuple(w for w in (pitch_words(self.summary.offset_cents), need.says()) if w)

    def rows(self) -> list[ShownRow]:
        s = self.summary
        return [
            ("keys measured", s.measured, "keys", f"of {s.last_key - s.first_key + 1}"),
            ("pitch against A4", s.offset_cents, "cents", f"A4 = {s.a4_hz:g} Hz"),
            (
                "unevenness of the tuning",
                s.tuning_spread_cents,
                "cents",
                "middle half of the keys' distance from the curve",
            ),
            ("room and recording", s.t60_s, "s", s.t60_reason or "reverberation heard in the recording"),
            ("reading of the keys", s.reading, "", ""),
            *(("note", "", "", w) for w in s.warnings),
        ]

    def to_json(self) -> str:
        """Everything in one JSON text; `from_json` gives it back."""
        table = json.loads(self.table.to_json(orient="columns", double_precision=15))
        data = {
            "table": {c: list(column.values()) for c, column in table.items()},
            "summary": asdict(self.summary),
            "curves": [asdict(c) for c in self.curves],
            "strikes": list(self.strikes),
            "partials": [asdict(p) for p in self.partials],
        }
        return json.dumps(data, ensure_ascii=False)

    @classmethod
    def from_json(cls, text: str) -> Survey:
        """A survey from the text that `to_json` made."""
        import pandas as pd

        data = json.loads(text)
        table = typed(pd.DataFrame(data["table"]))
        summary: dict[str, Any] = {
            k: tuple(v) if isinstance(v, list) else v for k, v in data["summary"].items()
        }
        curves = [
            LevelCurve(**{**c, "time_s": tuple(c["time_s"]), "level_db": tuple(c["level_db"])})
            for c in data["curves"]
        ]
        return cls(
            table=table,
            summary=SurveySummary(**summary),
            curves=tuple(curves),
            strikes=tuple(data["strikes"]),
            partials=tuple(
                PartialPitches(key=p["key"], f_hz=tuple(p["f_hz"]), weight=tuple(p["weight"]))
                for p in data.get("partials", ())
            ),
        )
