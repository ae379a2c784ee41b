"""Amounts in words: whole units of the currency, as an English reader writes them."""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal

from babel.numbers import format_currency

UNKNOWN = "not known"


def money(amount: Decimal | float | int | None, currency: str) -> str:
    """An amount with its currency, to the whole unit; ``not known`` where it is None.

    Examples
    --------
    >>> money(Decimal("2340.4"), "EUR"), money(None, "EUR")
    ('€2,340', 'not known')
    """
    if amount is None:
        return UNKNOWN
    whole = Decimal(amount).quantize(Decimal(1), rounding=ROUND_HALF_UP)
    return format_currency(whole, currency.upper(), format="¤#,##0", locale="en_GB", currency_digits=False)


def about(amount: Decimal | float | int | None, currency: str) -> str:
    """An estimate, to the next ten: more figures would claim what nobody knows.

    Examples
    --------
    >>> about(Decimal("2557"), "EUR"), about(None, "EUR")
    ('€2,560', 'not known')
    """
    if amount is None:
        return UNKNOWN
    return money(Decimal(amount).quantize(Decimal("1E1"), rounding=ROUND_HALF_UP), currency)
