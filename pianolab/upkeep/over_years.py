"""Money over the years as a result that shows itself: lines, the year's share, and the buyer's other plans."""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from decimal import Decimal, InvalidOperation
from typing import Any

from pianolab.errors import BadInput
from pianolab.files import toml_of
from pianolab.show import LOCALE, Fields, Row, Showable, about
from pianolab.statements import Money as Amount
from pianolab.statements import Statement, statement
from pianolab.words import say

MOST_INTEREST = 0.3
Share = tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class MoneySpan:
    """An amount of which 10, 50 and 90 % of the drawn cases lie under these."""

    low: Decimal
    middle: Decimal
    high: Decimal


@dataclass(frozen=True, kw_only=True)
class MoneyLine:
    """One line over all the years: what it is for and how much; None, with ``why``, where that is not known.

    ``counted`` is False for what is in no sum. ``what`` is the part that wears out, by its name.
    """

    kind: str
    total: MoneySpan | None
    what: str = ""
    why: str = ""
    counted: bool = True

    @property
    def title(self) -> str:
        return say(statement(f"money line.{self.kind}", what=self.what))


@dataclass(frozen=True, kw_only=True)
class MoneyPlans(Fields):
    """Figures beside the piano itself; None is not entered, and nothing is put in its place.

    Parameters
    ----------
    resale : part of the price paid that a sale may bring back after the years of use, low and high (0 to 1)
    hire_a_month : what hiring a like piano costs a month, in the buyer's currency, delivery and tuning as in the offer
    new_price : what a new piano that would do costs, in the buyer's currency
    new_resale : part of that price that comes back after the same years, low and high (0 to 1)
    interest : what the money would earn a year elsewhere (0.03 for 3 %)

    Raises
    ------
    BadInput
        an amount below 0, a share that isn't one, low above high

    Examples
    --------
    >>> MoneyPlans(hire_a_month=45, resale=(0.3, 0.6)).hire_a_month
    Decimal('45')
    """

    resale: Share | None = None
    hire_a_month: Decimal | None = None
    new_price: Decimal | None = None
    new_resale: Share | None = None
    interest: float | None = None

    def __post_init__(self) -> None:
        for name in ("hire_a_month", "new_price"):
            object.__setattr__(self, name, _amount(name, getattr(self, name)))
        for name in ("resale", "new_resale"):
            object.__setattr__(self, name, _share(name, getattr(self, name)))
        if self.interest is not None and not _within(self.interest, MOST_INTEREST):
            raise BadInput("interest", repr(self.interest), f"0 to {MOST_INTEREST:g}", "3 % is 0.03.")


@dataclass(frozen=True, kw_only=True, repr=False)
class MoneyOverYears(Showable):
    """What one piano costs over the years of use, line by line, and a year of it; an estimate, not a quote.

    ``total`` is the plain sum of what is counted, ``a_year`` an even share of it with interest; both are None, with
    ``why_unknown``, where no price is asked yet. ``hire_a_year`` and ``new_a_year`` are None where the buyer entered
    no figure; ``below_hire`` and ``below_new`` are the shares of the drawn cases in which this piano costs less a
    year. ``origin`` says whose prices these are, and of which day.
    """

    piano: str
    lines: tuple[MoneyLine, ...]
    years: float
    currency: str
    a_year: MoneySpan | None
    total: MoneySpan | None = None
    why_unknown: str = ""
    hire_a_year: Decimal | None = None
    new_a_year: MoneySpan | None = None
    below_hire: float | None = None
    below_new: float | None = None
    plans: MoneyPlans = field(default_factory=MoneyPlans)
    wear_counted: bool = True
    origin: str = ""
    locale: str = LOCALE
    header = ("what", "low", "middle", "high", "note")

    @property
    def says(self) -> tuple[Statement, ...]:
        """The year's share, what stands beside it, what nobody entered, and where the prices come from."""
        said = [self._year()]
        if self.hire_a_year is not None:
            said.append(self._beside("hire", self.hire_a_year, self.below_hire))
        if self.new_a_year is not None:
            said.append(self._beside("new", self.new_a_year.middle, self.below_new))
        if missing := self._missing():
            said.append(statement("money.not entered", what=missing))
        if not self.wear_counted:
            said.append(statement("money.no wear"))
        return (*said, statement("money.origin", origin=self.origin))

    def _year(self) -> Statement:
        if self.a_year is None:
            return statement("money.a year unknown", why=self.why_unknown)
        low, middle, high = (self._amount(a) for a in (self.a_year.low, self.a_year.middle, self.a_year.high))
        return statement("money.a year", low=low, middle=middle, high=high, years=self.years)

    def _beside(self, other: str, a_year: Decimal, share: float | None) -> Statement:
        if share is None:
            return statement(f"money.{other}, price unknown", a_year=self._amount(a_year))
        return statement(f"money.{other}", a_year=self._amount(a_year), share=share)

    def _missing(self) -> tuple[Statement, ...]:
        figures = ("resale", "hire_a_month", "new_price", "interest")
        return tuple(statement(f"money entry.{n}") for n in figures if getattr(self.plans, n) is None)

    def _amount(self, amount: Decimal) -> Amount:
        return Amount(amount, self.currency, self.locale)

    @property
    def sentences(self) -> tuple[str, ...]:
        return tuple(say(statement) for statement in self.says)

    def headline(self) -> str:
        return self.sentences[0]

    def rows(self) -> list[Row]:
        rows: list[Row] = [(line.title, *_ends(line.total), _note(line)) for line in self.lines]
        ends = (("all", self.total), ("a year", self.a_year))
        rows += [
            (say(statement(f"money line.{name}")), *_ends(span), self.why_unknown) for name, span in ends
        ]
        return rows

    def shown(self) -> list[Row]:
        return [
            (what, *(about(a, self.currency, locale=self.locale) for a in amounts), note)
            for what, *amounts, note in self.rows()
        ]


def _ends(span: MoneySpan | None) -> tuple[Decimal | None, Decimal | None, Decimal | None]:
    return (None, None, None) if span is None else (span.low, span.middle, span.high)


def _note(line: MoneyLine) -> str:
    return line.why if line.counted else say(statement("money line.not counted"))


def read_plans(text: str, *, file: str) -> MoneyPlans:
    """The figures from the text of a TOML file of that name.

    Parameters
    ----------
    text : TOML
    file : the name by which a complaint calls it

    Returns
    -------
    MoneyPlans

    Raises
    ------
    BadInput
        no TOML, a field there isn't, a figure that `MoneyPlans` refuses

    Examples
    --------
    >>> read_plans("hire_a_month = 45", file="plans.toml").hire_a_month
    Decimal('45')
    """
    data = toml_of(text, name=file)
    known = [field.name for field in fields(MoneyPlans)]
    if unknown := sorted(set(data) - set(known)):
        raise BadInput(file, unknown, "only " + ", ".join(known))
    return MoneyPlans(**data)


def plans_text(plans: MoneyPlans) -> str:
    """Plans as the text of a TOML file; what is not entered is left out.

    Parameters
    ----------
    plans : the figures

    Returns
    -------
    str, TOML

    Examples
    --------
    >>> print(plans_text(MoneyPlans(resale=(0.3, 0.6), hire_a_month=45)), end="")
    resale = [0.3, 0.6]
    hire_a_month = 45
    >>> read_plans("hire_a_month = 45", file="plans.toml") == MoneyPlans(hire_a_month=45)
    True
    """
    entered = {field.name: getattr(plans, field.name) for field in fields(MoneyPlans)}
    return "".join(
        f"{name} = {list(value) if isinstance(value, tuple) else value}\n"
        for name, value in entered.items()
        if value is not None
    )


def _amount(name: str, value: Any) -> Decimal | None:
    if value is None:
        return None
    try:
        amount = Decimal(str(value))
    except InvalidOperation:
        raise BadInput(name, repr(value), "an amount of money") from None
    if isinstance(value, bool) or not amount.is_finite() or amount < 0:
        raise BadInput(name, repr(value), "an amount of money, 0 or more")
    return amount


def _share(name: str, value: Any) -> Share | None:
    if value is None:
        return None
    need = "two parts of the price from 0 to 1, low and high"
    if not isinstance(value, (tuple, list)) or len(value) != 2 or not all(_within(v, 1.0) for v in value):
        raise BadInput(name, repr(value), need, "30 to 60 % is (0.3, 0.6).")
    if value[0] > value[1]:
        raise BadInput(name, repr(value), need)
    return float(value[0]), float(value[1])


def _within(value: Any, most: float) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool) and 0.0 <= value <= most
