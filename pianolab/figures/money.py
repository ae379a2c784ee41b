"""Amounts in words: whole units of the currency, as an English reader writes them."""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal

from babel.numbers import format_currency


def money(amount: Decimal | float | int | None, currency: str) -> str:
    """An amount with its currency, to the whole unit; ``not known`` where it is None.

    Examples
    --------
    >>> money(Decimal("2340.4"), "EUR"), money(None, "EUR")
    ('€2,340', 'not known')
    """
    if amount is None:
        return "not known"
    whole = Decimal(amount).quantize(Decimal(1), rounding=ROUND_HALF_UP)
    return format_currency(whole, currency.upper(), format="¤#,##0", locale="en_GB", currency_digits=False)
