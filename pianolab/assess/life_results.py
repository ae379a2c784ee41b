"""What remaining life gives: a range of years for each part, what it rests on, and whether it is enough."""

from __future__ import annotations

from dataclasses import dataclass

from pianolab.show import Fields, Row, Showable

Range = tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class PartLife(Fields):
    """Years that one part may still last, low and high; None, with ``why_unknown``, where nothing tells.

    ``basis`` says what it rests on, ``source`` where the usual life comes from, ``ends`` what its end is like;
    ``by_age`` marks a range that rests on age alone.
    """

    part: str
    title: str
    years: Range | None
    basis: str
    source: str
    ends: str
    why_unknown: str = ""
    by_age: bool = False

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

    def sentence(self, years_of_use: float) -> str:
        """The same in words, with the range."""
        if self.years is None:
            return f"How long the {self.title} will last nobody can say: {self.why_unknown}."
        low, high = (f"{y:.0f}" for y in self.years)
        left = f"about {high} more" if low == high else f"{low} to {high} more"
        words = {
            "yes": f"The {self.title} should last the {years_of_use:g} years you plan ({left})",
            "no": f"The {self.title} will hardly last the {years_of_use:g} years you plan ({left})",
            "perhaps": f"The {self.title} may or may not last the {years_of_use:g} years you plan ({left})",
        }
        return f"{words[self.lasts(years_of_use)]}: {self.basis}."


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
