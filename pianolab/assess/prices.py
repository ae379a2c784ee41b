"""The price list: what a job costs, low, usual and high, in one currency, from one day and region.

A list of one's own may leave jobs out. In the currency of the usual list that list's figures stand in for them, and
`PriceList.lent` says for which; in another currency nothing can stand in, and asking for such a job is refused.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal, InvalidOperation
from difflib import get_close_matches
from functools import cache
from pathlib import Path
from typing import Any, Literal, get_args

from pianolab.errors import BadInput
from pianolab.files import read_text
from pianolab.shipped import shipped
from pianolab.show import Fields, Row, Showable

Per = Literal["piano", "key", "string"]
FIELDS = ("title", "low", "usual", "high", "hours", "per", "includes", "own_work")
HEAD = ("currency", "date", "region")
USUAL = "datasets/prices.toml"


@dataclass(frozen=True, kw_only=True)
class Price(Fields):
    """One job. ``per`` says whether the price is for the piano or for each key or string.

    ``includes`` names jobs that need no paying where this one is done; ``own_work`` is the part of the price
    (0 to 1) that is left for somebody who does the job themselves, None where nobody should.
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


@dataclass(frozen=True, kw_only=True, repr=False)
class PriceList(Showable):
    """All jobs by name, with the file they stand in, currency, day and region.

    ``lent`` are the jobs whose price is that of the usual list, because the file has none; ``missing`` those of the
    usual list that have no price here at all; ``lines`` says how many lines the file has, ``notes`` what its writer
    should know.
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
    notes: tuple[str, ...] = ()
    header = ("job", "title", "low", "usual", "high", "hours", "per")

    def __getitem__(self, job: str) -> Price:
        if job in self.jobs:
            return self.jobs[job]
        if job in self.missing:
            others = len(self.missing) - 1
            raise BadInput(
                f"{self._end()}: job {job!r}",
                "no price",
                f"[jobs.{job!r}] with low, usual and high in {self.currency}",
                f"The usual list is in {usual_prices().currency} and can't stand in"
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
        >>> load_prices().origin()
        'prices.toml: invented, 2026-01-15, in EUR'
        """
        return f"{self.file or 'prices'}: {self.region}, {self.day.isoformat()}, in {self.currency}"

    def stand_ins(self, jobs: Iterable[str]) -> str:
        """What to say where some of these jobs have the usual list's price for want of one of their own; or nothing."""
        wanted = [job for job in dict.fromkeys(jobs) if job in self.lent]
        if not wanted:
            return ""
        named = ", ".join(repr(job) for job in wanted)
        return f"{self._end()}: no price for {named}; the figures of the usual list ({usual_prices().region}) stand in"

    def _end(self) -> str:
        """Where a job that is missing could be written."""
        return f"{self.file}, line {self.lines}" if self.lines else self.file or "price list"

    def headline(self) -> str:
        return f"{len(self)} jobs, {self.origin()}"

    def rows(self) -> list[Row]:
        return [(p.job, p.title, p.low, p.usual, p.high, p.hours, p.per) for p in self]


def load_prices(path: str | Path | None = None) -> PriceList:
    """A price list from a TOML file; without a path the invented one that comes with pianolab.

    Raises
    ------
    BadInput
        With file, line and job: for a negative price, low above usual or usual above high, an unknown currency, a
        date that isn't one, or a job that includes one that isn't there.

    Examples
    --------
    >>> prices = load_prices()
    >>> prices.region, prices["tuning"].usual > 0
    ('invented', True)
    """
    if path is None:
        return usual_prices()
    return read_prices(read_text(path), file=Path(path).name)


@cache
def usual_prices() -> PriceList:
    """The invented list that comes with pianolab."""
    source = shipped(USUAL)
    text = source.read_text(encoding="utf-8")
    return _price_list(_parsed(text, file=source.name), text, file=source.name, known={})


def read_prices(text: str, *, file: str) -> PriceList:
    """A price list of one's own from its text; ``file`` is how it is called where something is wrong with it.

    Raises
    ------
    BadInput
        As `load_prices`.

    Examples
    --------
    >>> own = read_prices(
    ...     'currency = "EUR"\\ndate = 2026-03-01\\nregion = "here"\\n[jobs.tuning]\\nlow = 80\\nusual = 95\\nhigh = 120',
    ...     file="own.toml")
    >>> own["tuning"].usual, "hammer voicing" in own.lent, own["hammer voicing"] == load_prices()["hammer voicing"]
    (Decimal('95'), True, True)
    """
    usual = usual_prices()
    own = _price_list(_parsed(text, file=file), text, file=file, known=usual.jobs)
    absent = tuple(job for job in usual.jobs if job not in own.jobs)
    own = replace(own, notes=_misspelt(own, absent, text))
    if own.currency != usual.currency:
        return replace(own, missing=absent)
    return replace(own, jobs={**own.jobs, **{job: usual.jobs[job] for job in absent}}, lent=absent)


def _misspelt(own: PriceList, absent: tuple[str, ...], text: str) -> tuple[str, ...]:
    """Jobs that the usual list doesn't know, where one that it does know is missing and is called almost the same."""
    strange = [job for job in own.jobs if job not in usual_prices().jobs]
    guesses = [(job, get_close_matches(job, absent, n=1, cutoff=0.8)) for job in strange]
    return tuple(
        f"{_at(own.file, text, job)}: the usual list has no such job. Did you mean {close[0]}?"
        for job, close in guesses
        if close
    )


def _parsed(text: str, *, file: str) -> dict[str, Any]:
    # RecursionError: thousands of brackets inside one another.
    try:
        return tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError, OverflowError) as error:
        raise BadInput(file, "a file that can't be read", "a TOML file", f"{error}.") from None


def _price_list(data: dict[str, Any], text: str, *, file: str, known: dict[str, Price]) -> PriceList:
    for name in (*HEAD, "jobs"):
        if not data.get(name):
            raise BadInput(f"{file}: {name}", "nothing", "currency, date, region and [jobs] tables")
    if unknown := sorted(set(data) - {*HEAD, "jobs", "note"}):
        raise BadInput(file, unknown, "only currency, date, region, note and [jobs] tables")
    if not isinstance(data["jobs"], dict):
        raise BadInput(f"{file}: jobs", repr(data["jobs"]), "tables such as [jobs.tuning]")
    if not isinstance(data["date"], date):
        raise BadInput(
            f"{file}: date", repr(data["date"]), "a date such as 2026-01-31, without quotation marks"
        )
    _check_currency(data["currency"], file=file)
    jobs = {job: _price(job, raw, name=_at(file, text, job)) for job, raw in data["jobs"].items()}
    for price in jobs.values():
        if strange := set(price.includes) - set(jobs) - set(known):
            raise BadInput(
                f"{_at(file, text, price.job)}: includes",
                sorted(strange),
                "jobs of this list or the usual one",
            )
    return PriceList(
        jobs=jobs,
        currency=data["currency"],
        day=data["date"],
        region=str(data["region"]),
        note=str(data.get("note", "")),
        file=file,
        lines=len(text.splitlines()),
    )


def _at(file: str, text: str, job: str) -> str:
    """File, line and job, as an error names them; the line is that of the job's own table."""
    names = rf"(?:{re.escape(job)}|\"{re.escape(job)}\"|'{re.escape(job)}')"
    found = re.search(rf"^[ \t]*\[\s*jobs\s*\.\s*{names}\s*\]", text, re.MULTILINE)
    number = text.count("\n", 0, found.start()) + 1 if found else 0
    line = f", line {number}" if number else ""
    return f"{file}{line}: {job}"


@cache
def _known_currencies() -> frozenset[str]:
    from babel.numbers import list_currencies

    return frozenset(list_currencies())


def _check_currency(code: object, *, file: str) -> None:
    if not isinstance(code, str) or code not in _known_currencies():
        raise BadInput(f"{file}: currency", repr(code), "a three-letter currency code such as EUR")


def _price(job: str, raw: Any, *, name: str) -> Price:
    if not isinstance(raw, dict):
        raise BadInput(name, repr(raw), "a table of low, usual and high")
    if unknown := set(raw) - set(FIELDS):
        raise BadInput(name, sorted(unknown), "only " + ", ".join(FIELDS))
    low, usual, high = (_money(f"{name}: {end}", raw.get(end)) for end in ("low", "usual", "high"))
    if not low <= usual <= high:
        raise BadInput(name, f"{low}, {usual}, {high}", "low not above usual, usual not above high")
    per, includes = raw.get("per", "piano"), raw.get("includes", [])
    if per not in get_args(Per):
        raise BadInput(f"{name}: per", repr(per), "one of " + ", ".join(get_args(Per)))
    named = isinstance(includes, list) and all(isinstance(other, str) for other in includes)
    if not named or job in includes:
        got = "the job itself" if named else repr(includes)
        raise BadInput(f"{name}: includes", got, 'a list of other jobs, such as ["tuning"]')
    return Price(
        job=job,
        title=str(raw.get("title", job)),
        low=low,
        usual=usual,
        high=high,
        hours=_hours(f"{name}: hours", raw.get("hours", 0.0)),
        per=per,
        includes=tuple(includes),
        own_work=_part(f"{name}: own_work", raw.get("own_work")),
    )


def _money(name: str, value: Any) -> Decimal:
    try:
        money = Decimal(str(value))
    except InvalidOperation:
        raise BadInput(name, repr(value), "an amount of money") from None
    if isinstance(value, bool) or not money.is_finite() or money < 0:
        raise BadInput(name, value, "0 or more", "A minus sign by mistake?")
    return money


def _hours(name: str, value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not 0 <= value < float("inf"):
        raise BadInput(name, repr(value), "working hours, 0 or more")
    return float(value)


def _part(name: str, value: Any) -> float | None:
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not 0 <= value <= 1:
        raise BadInput(name, value, "a part from 0 to 1")
    return float(value)
