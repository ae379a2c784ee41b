"""A price list as records: what each job costs, why one has it done, and where the figures come from."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from decimal import Decimal
from difflib import get_close_matches
from functools import cache
from importlib.resources import files
from typing import Any, Literal

from pianolab.checklist.points import JobKind, Need
from pianolab.errors import BadInput
from pianolab.model.records import PianoKind
from pianolab.show import Fields, Row, Showable

Per = Literal["piano", "key", "string", "way", "flight", "kilometre", "year"]
MOST_NAMED = 4
Amounts = tuple[Decimal, Decimal, Decimal]


@cache
def trade_practice() -> Mapping[str, Any]:
    """``data/jobs.toml``: what is done the second time, and how a price list ages."""
    text = (files("pianolab.assess") / "data" / "jobs.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


@dataclass(frozen=True, kw_only=True)
class Price(Fields):
    """One job, low, usual and high, labour and material together.

    ``per`` says what the price is for: the piano, each key or string, each ``way`` (out of one home, into the other),
    ``flight`` of stairs, ``kilometre`` or ``year``. ``includes`` names jobs that need no paying where this one is done; ``own_work`` is the part of the
    price (0 to 1) that is left for somebody who does the job themselves, None where nobody should. ``of_kind`` holds
    the amounts of a grand or an upright where they differ. ``need`` says why the job is done where a finding says
    nothing else, ``kind`` what sort of job it is. ``instead_of`` names jobs by key or string with the number from
    which on a workshop does this one for the whole piano. ``seldom_worth``: the work costs more than most pianos
    are worth with it done.
    """

    job: str
    title: str
    low: Decimal
    usual: Decimal
    high: Decimal
    hours: float
    per: Per = "piano"
    includes: tuple[str, ...] = ()
    own_work: float | None = None
    of_kind: Mapping[PianoKind, Amounts] = field(default_factory=dict)
    need: Need = "needed"
    kind: JobKind = "work"
    instead_of: Mapping[str, int] = field(default_factory=dict)
    seldom_worth: bool = False

    def for_kind(self, piano_kind: PianoKind) -> Price:
        """The same job on a grand or an upright.

        Examples
        --------
        >>> job = Price(job="a", title="a", low=Decimal(1), usual=Decimal(2), high=Decimal(3), hours=1,
        ...     of_kind={"grand": (Decimal(4), Decimal(5), Decimal(6))})
        >>> job.for_kind("grand").usual, job.for_kind("upright").usual
        (Decimal('5'), Decimal('2'))
        """
        low, usual, high = self.of_kind.get(piano_kind, (self.low, self.usual, self.high))
        return replace(self, low=low, usual=usual, high=high, of_kind={})


@dataclass(frozen=True, kw_only=True, repr=False)
class PriceList(Showable):
    """All jobs by name, with the file they stand in, currency, day and region.

    ``lent`` are the jobs whose price is that of the usual list, because the file has none; ``missing`` those of the
    usual list that have no price here at all; ``lender`` is the usual list's region and currency; ``lines`` says how
    many lines the file has, ``notes`` what its writer should know.
    """

    jobs: dict[str, Price]
    currency: str
    day: date
    region: str
    note: str = ""
    file: str = ""
    lines: int = 0
    lent: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()
    lender: tuple[str, str] = ("", "")
    notes: tuple[str, ...] = ()
    header = (
        "job",
        "title",
        "need",
        "low",
        "usual",
        "high",
        "low, grand",
        "usual, grand",
        "high, grand",
        "hours",
        "per",
    )

    def __getitem__(self, job: str) -> Price:
        if job in self.jobs:
            return self.jobs[job]
        if job in self.missing:
            others = len(self.missing) - 1
            raise BadInput(
                f"{self._end()}: job {job!r}",
                "no price",
                f"[jobs.{job!r}] with low, usual and high in {self.currency}",
                f"The usual list is in {self.lender[1]} and can't stand in"
                + (f", for {others} more jobs of it neither." if others else "."),
            )
        close = get_close_matches(job, self.jobs, n=1)
        hint = f"Did you mean {close[0]}?" if close else "A list of your own can price it: --prices FILE."
        raise BadInput(f"{self.file or 'prices'}: job", repr(job), "a job of the price list", hint)

    def __iter__(self) -> Iterator[Price]:
        return iter(self.jobs.values())

    def __len__(self) -> int:
        return len(self.jobs)

    def origin(self) -> str:
        """Where the prices come from, wherever money is shown: file, region, day and currency.

        Examples
        --------
        >>> from pianolab.assess import load_prices
        >>> load_prices().origin()
        'prices.toml: invented, 2026-01-15, in EUR'
        """
        return f"{self.file or 'prices'}: {self.region}, {self.day.isoformat()}, in {self.currency}"

    def aged(self, on: date) -> str:
        """What to say where the list is too old by that day; or nothing.

        Examples
        --------
        >>> from pianolab.assess import load_prices
        >>> load_prices().aged(date(2027, 1, 1))
        ''
        >>> load_prices().aged(date(2030, 1, 15))
        'prices of 2026-01-15 (prices.toml): those of today are likely 8 to 22 % higher; ask for new ones'
        """
        years, age = (on - self.day).days / 365.25, trade_practice()["age"]
        if years <= age["warn_after_years"]:
            return ""
        low, high = (100.0 * ((1.0 + rise) ** years - 1.0) for rise in age["rise_a_year"])
        said = f"prices of {self.day.isoformat()} ({self.file or 'the price list'})"
        return f"{said}: those of today are likely {low:.0f} to {high:.0f} % higher; ask for new ones"

    def stand_ins(self, jobs: Iterable[str]) -> str:
        """What to say where some of these jobs have the usual list's price for want of one of their own; or nothing."""
        wanted = [job for job in dict.fromkeys(jobs) if job in self.lent]
        if not wanted:
            return ""
        named = ", ".join(repr(job) for job in wanted)
        return (
            f"{self._end()}: no price for {named}; the figures of the usual list ({self.lender[0]}) stand in"
        )

    def gaps(self) -> str:
        """What to say of jobs that have no price here and can't borrow one; or nothing."""
        if not self.missing:
            return ""
        named = ", ".join(repr(job) for job in self.missing[:MOST_NAMED])
        more = f" and {len(self.missing) - MOST_NAMED} more" if len(self.missing) > MOST_NAMED else ""
        return (
            f"{self._end()}: no price for {named}{more}; where nobody has looked, they are not reckoned with"
        )

    def _end(self) -> str:
        """Where a job that is missing could be written."""
        return f"{self.file}, line {self.lines}" if self.lines else self.file or "price list"

    def headline(self) -> str:
        return f"{len(self)} jobs, {self.origin()}"

    def rows(self) -> list[Row]:
        return [self._row(p.for_kind("upright"), p.for_kind("grand")) for p in self]

    @staticmethod
    def _row(p: Price, grand: Price) -> Row:
        return (
            *(p.job, p.title, p.need, p.low, p.usual, p.high),
            *(grand.low, grand.usual, grand.high, p.hours, p.per),
        )
