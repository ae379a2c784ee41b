"""What a buyer would otherwise do with the money: figures that only they can enter."""

from __future__ import annotations

from dataclasses import dataclass, fields
from decimal import Decimal, InvalidOperation
from pathlib import Path
from typing import Any

from pianolab.errors import BadInput
from pianolab.files import read_text, toml_of
from pianolab.show import Fields

MOST_INTEREST = 0.3
Share = tuple[float, float]


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


def load_plans(path: str | Path) -> MoneyPlans:
    """The figures from a TOML file, such as ``hire_a_month = 45``.

    Raises
    ------
    BadInput
        a file that can't be read, a field there isn't, a figure that `MoneyPlans` refuses

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     written = Path(folder, "plans.toml").write_text("hire_a_month = 45", encoding="utf-8")
    ...     load_plans(Path(folder, "plans.toml")).hire_a_month
    Decimal('45')
    """
    file = Path(path).name
    data = toml_of(read_text(path), name=file)
    known = [field.name for field in fields(MoneyPlans)]
    if unknown := sorted(set(data) - set(known)):
        raise BadInput(file, unknown, "only " + ", ".join(known))
    return MoneyPlans(**data)


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
