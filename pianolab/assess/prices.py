"""The price list: what a job costs, low, usual and high, in one currency, from one day and region.

A list of one's own may leave jobs out. In the currency of the usual list that list's figures stand in for them, and
`PriceList.lent` says for which; in another currency nothing can stand in, and asking for such a job is refused.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from decimal import Decimal, InvalidOperation
from difflib import get_close_matches
from functools import cache
from pathlib import Path
from typing import Any, get_args

from pianolab.assess.price_list import Amounts, Per, Price, PriceList
from pianolab.checklist.points import JobKind, Need
from pianolab.errors import BadInput
from pianolab.files import read_text, toml_of
from pianolab.model.records import PianoKind
from pianolab.shipped import shipped

KINDS: tuple[PianoKind, ...] = get_args(PianoKind)
AMOUNTS = ("low", "usual", "high")
FIELDS = (
    *("title", *AMOUNTS, *KINDS, "hours", "per", "includes", "own_work", "need", "kind", "instead_of"),
    "seldom_worth",
)
OF_THE_TRADE = ("includes", "need", "kind", "instead_of", "seldom_worth")
"""What is no price and so the same in every list: a list that says nothing of it has it as the usual one."""

HEAD = ("currency", "date", "region")
USUAL = "datasets/prices.toml"


def load_prices(path: str | Path | None = None) -> PriceList:
    """A price list from a TOML file; without a path the invented one that comes with pianolab.

    Parameters
    ----------
    path : a TOML file; None for the invented list

    Returns
    -------
    PriceList

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
    own = replace(own, notes=_misspelt(own, absent, text), lender=(usual.region, usual.currency))
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
    return toml_of(text, name=file)


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
    jobs = {job: _price(job, raw, known, name=_at(file, text, job)) for job, raw in data["jobs"].items()}
    for price in jobs.values():
        for name in ("includes", "instead_of"):
            if strange := set(getattr(price, name)) - set(jobs) - set(known):
                where = f"{_at(file, text, price.job)}: {name}"
                raise BadInput(where, sorted(strange), "jobs of this list or the usual one")
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


def _price(job: str, raw: Any, known: Mapping[str, Price], *, name: str) -> Price:
    if not isinstance(raw, dict):
        raise BadInput(name, repr(raw), "a table of low, usual and high")
    if unknown := set(raw) - set(FIELDS):
        raise BadInput(name, sorted(unknown), "only " + ", ".join(FIELDS))
    low, usual, high = _amounts(name, {end: raw.get(end) for end in AMOUNTS})
    price = Price(
        job=job,
        title=str(raw.get("title", job)),
        low=low,
        usual=usual,
        high=high,
        hours=_hours(f"{name}: hours", raw.get("hours", 0.0)),
        per=_one_of(f"{name}: per", raw.get("per", "piano"), get_args(Per)),
        own_work=_part(f"{name}: own_work", raw.get("own_work")),
        of_kind={kind: _of_kind(f"{name}: {kind}", raw[kind]) for kind in KINDS if kind in raw},
    )
    if job in known:
        price = replace(price, **{field: getattr(known[job], field) for field in OF_THE_TRADE})
    return replace(price, **_of_the_trade(job, raw, name=name))


def _of_the_trade(job: str, raw: Mapping[str, Any], *, name: str) -> dict[str, Any]:
    """What the list itself says of a job besides its price."""
    said = {field: raw[field] for field in OF_THE_TRADE if field in raw}
    if "includes" in said:
        said["includes"] = _includes(f"{name}: includes", said["includes"], job)
    if "need" in said:
        _one_of(f"{name}: need", said["need"], get_args(Need))
    if "kind" in said:
        _one_of(f"{name}: kind", said["kind"], get_args(JobKind))
    if "instead_of" in said:
        _check_instead(f"{name}: instead_of", said["instead_of"], job)
    if not isinstance(said.get("seldom_worth", False), bool):
        raise BadInput(f"{name}: seldom_worth", repr(said["seldom_worth"]), "true or false")
    return said


def _amounts(name: str, given: Mapping[str, Any]) -> Amounts:
    low, usual, high = (_money(f"{name}: {end}", given[end]) for end in AMOUNTS)
    if not low <= usual <= high:
        raise BadInput(name, f"{low}, {usual}, {high}", "low not above usual, usual not above high")
    return low, usual, high


def _of_kind(name: str, given: Any) -> Amounts:
    if not isinstance(given, list) or len(given) != len(AMOUNTS):
        raise BadInput(name, repr(given), "three amounts: [low, usual, high]")
    return _amounts(name, dict(zip(AMOUNTS, given, strict=True)))


def _one_of(name: str, given: Any, allowed: tuple[str, ...]) -> Any:
    if given not in allowed:
        raise BadInput(name, repr(given), "one of " + ", ".join(allowed))
    return given


def _includes(name: str, given: Any, job: str) -> tuple[str, ...]:
    named = isinstance(given, list) and all(isinstance(other, str) for other in given)
    if not named or job in given:
        got = "the job itself" if named else repr(given)
        raise BadInput(name, got, 'a list of other jobs, such as ["tuning"]')
    return tuple(given)


def _check_instead(name: str, given: Any, job: str) -> None:
    fits = isinstance(given, dict) and job not in given
    if not fits or not all(type(number) is int and number >= 1 for number in given.values()):
        raise BadInput(
            name, repr(given), 'other jobs, each with a number from 1, such as { "key tops" = 20 }'
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
