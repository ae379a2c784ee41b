"""The price list: what a job costs, low, usual and high, in one currency, from one day and region."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from decimal import Decimal, InvalidOperation
from difflib import get_close_matches
from functools import cache
from pathlib import Path
from typing import Any, Literal, get_args

from pianolab.errors import BadInput
from pianolab.shipped import shipped
from pianolab.show import Fields, Row, Showable

Per = Literal["piano", "key", "string"]
FIELDS = ("title", "low", "usual", "high", "hours", "per", "includes", "own_work")


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
    """All jobs by name, with currency, day and region."""

    jobs: dict[str, Price]
    currency: str
    day: date
    region: str
    note: str = ""
    header = ("job", "title", "low", "usual", "high", "hours", "per")

    def __getitem__(self, job: str) -> Price:
        if job in self.jobs:
            return self.jobs[job]
        close = get_close_matches(job, self.jobs, n=1)
        raise BadInput(
            "job", repr(job), "a job of the price list", f"Did you mean {close[0]}?" if close else ""
        )

    def __iter__(self) -> Iterator[Price]:
        return iter(self.jobs.values())

    def __len__(self) -> int:
        return len(self.jobs)

    def headline(self) -> str:
        return f"{len(self)} jobs in {self.currency}, {self.region}, {self.day.isoformat()}"

    def rows(self) -> list[Row]:
        return [(p.job, p.title, p.low, p.usual, p.high, p.hours, p.per) for p in self]


def load_prices(path: Path | None = None) -> PriceList:
    """A price list from a TOML file; without a path the invented one that comes with pianolab.

    Raises
    ------
    BadInput
        For a negative price, low above usual or usual above high, an unknown currency, a date that isn't
        one, or a job that includes one that isn't there.

    Examples
    --------
    >>> prices = load_prices()
    >>> prices.region, prices["tuning"].usual > 0
    ('invented', True)
    """
    source = shipped("datasets/prices.toml") if path is None else Path(path)
    try:
        data = tomllib.loads(source.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise BadInput(
            str(path or source.name), "a file that can't be read", "a TOML file", f"{error}."
        ) from None
    return _price_list(data, file=source.name)


def _price_list(data: dict[str, Any], *, file: str) -> PriceList:
    for name in ("currency", "date", "region", "jobs"):
        if not data.get(name):
            raise BadInput(f"{file}: {name}", "nothing", "currency, date, region and [jobs] tables")
    if unknown := sorted(set(data) - {"currency", "date", "region", "jobs", "note"}):
        raise BadInput(file, unknown, "only currency, date, region, note and [jobs] tables")
    if not isinstance(data["jobs"], dict):
        raise BadInput(f"{file}: jobs", repr(data["jobs"]), "tables such as [jobs.tuning]")
    if not isinstance(data["date"], date):
        raise BadInput(
            f"{file}: date", repr(data["date"]), "a date such as 2026-01-31, without quotation marks"
        )
    _check_currency(data["currency"], file=file)
    jobs = {job: _price(job, raw, file=file) for job, raw in data["jobs"].items()}
    for price in jobs.values():
        if missing := set(price.includes) - set(jobs):
            raise BadInput(f"{file}: {price.job}: includes", sorted(missing), "jobs of this list")
    return PriceList(
        jobs=jobs,
        currency=data["currency"],
        day=data["date"],
        region=str(data["region"]),
        note=str(data.get("note", "")),
    )


@cache
def _known_currencies() -> frozenset[str]:
    from babel.numbers import list_currencies

    return frozenset(list_currencies())


def _check_currency(code: object, *, file: str) -> None:
    if not isinstance(code, str) or code not in _known_currencies():
        raise BadInput(f"{file}: currency", repr(code), "a three-letter currency code such as EUR")


def _price(job: str, raw: Any, *, file: str) -> Price:
    name = f"{file}: {job}"
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
