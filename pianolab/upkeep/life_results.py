"""What remaining life gives: a range of years for each part, what it rests on, and whether it is enough."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from pianolab.show import Row, Showable
from pianolab.statements import Statement, statement
from pianolab.words import Told, say

Range = tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class PartLife(Told):
    """Years that one part may still last, low and high; None, with ``why_not``, where nothing tells.

    ``rests_on`` says what it rests on, ``source`` where the usual life comes from, ``ends`` what its end is like;
    ``by_age`` marks a range that rests on age alone.
    """

    part: str
    title: str
    years: Range | None
    source: str
    ends: str
    rests_on: Statement | None = None
    why_not: Statement | None = None
    by_age: bool = False

    @property
    def basis(self) -> str:
        return say(self.rests_on)

    @property
    def why_unknown(self) -> str:
        return say(self.why_not)

    def lasts(self, years_of_use: float) -> str:
        """``yes``, ``no``, ``perhaps`` or ``unknown``: whether it lasts as long as the buyer plans.

        By age alone it is never more than ``perhaps``, neither for better nor for worse.
        """
        if self.years is None:
            return "unknown"
        if self.by_age:
            return "perhaps"
        if self.years[0] >= years_of_use:
            return "yes"
        return "no" if self.years[1] < years_of_use else "perhaps"

    def says(self, years_of_use: float) -> Statement:
        """The same with the range, and what it rests on."""
        if self.years is None:
            return statement("life.unknown", self.part, title=self.title, why=self.why_not)
        low, high = self.years
        left = statement("life.left about" if round(low) == round(high) else "life.left", low=low, high=high)
        values: dict[str, Any] = {"title": self.title, "planned": years_of_use, "left": left}
        return statement(f"life.{self.lasts(years_of_use)}", self.part, **values, basis=self.rests_on)

    def sentence(self, years_of_use: float) -> str:
        return say(self.says(years_of_use))


@dataclass(frozen=True, kw_only=True, repr=False)
class Life(Showable):
    """Remaining life of all parts that wear out, held against the years a buyer plans."""

    parts: tuple[PartLife, ...]
    years_of_use: float
    hours_per_week: Range
    note: str = "estimates from common practice; a technician who looks inside knows better"
    header = ("part", "years from", "years to", "lasts", "rests on", "source")

    def part(self, name: str) -> PartLife:
        return next(p for p in self.parts if p.part == name)

    @property
    def sentences(self) -> tuple[str, ...]:
        return tuple(p.sentence(self.years_of_use) for p in self.parts)

    def headline(self) -> str:
        sure = [p.title for p in self.parts if p.lasts(self.years_of_use) == "yes"]
        short = [p.title for p in self.parts if p.lasts(self.years_of_use) == "no"]
        said = [f"{', '.join(sure)} should last {self.years_of_use:g} years"] if sure else []
        said += [f"{', '.join(short)} will hardly do so"] if short else []
        rest = len(self.parts) - len(sure) - len(short)
        said += [f"open or unknown: {rest} of {len(self.parts)} parts"] if rest else []
        return "; ".join(said)

    def rows(self) -> list[Row]:
        return [
            (
                p.title,
                *(p.years or (None, None)),
                p.lasts(self.years_of_use),
                p.basis or p.why_unknown,
                p.source,
            )
            for p in self.parts
        ]

    def shown(self) -> list[Row]:
        return [tuple(f"{c:.0f}" if isinstance(c, float) else c for c in row) for row in self.rows()]
