"""One list of rows feeds every view of a result: ``repr`` for scripts, HTML for notebooks, a frame for work."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import ROUND_HALF_UP, Decimal
from html import escape
from typing import TYPE_CHECKING, Any

from pianolab.errors import BadInput

if TYPE_CHECKING:
    import pandas as pd

Row = tuple[Any, ...]
Amount = Decimal | float | int | None

LOCALE = "en_GB"
NOT_KNOWN = "not known"


def format_value(value: object) -> str:
    """A value as a reader wants it: four significant figures, a dash for what is unknown.

    Examples
    --------
    >>> format_value(3.14159), format_value(None), format_value(12)
    ('3.142', '–', '12')
    """
    if value is None or (isinstance(value, float) and value != value):
        return "–"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.4g}"
    if isinstance(value, (tuple, list)):
        return ", ".join(format_value(v) for v in value)
    return str(value)


def money(amount: Amount, currency: str, *, locale: str = LOCALE) -> str:
    """An amount with its currency, to the whole unit; ``not known`` where it is None.

    Every amount a reader sees is written by this function.

    Parameters
    ----------
    amount : Decimal, float, int or None
    currency : str, a three-letter code
    locale : str; how numbers are written, such as ``en_GB``, ``de_CH``

    Raises
    ------
    BadInput
        an unknown locale

    Examples
    --------
    >>> money(Decimal("2340.4"), "EUR"), money(-80, "EUR"), money(None, "EUR")
    ('€2,340', '-€80', 'not known')
    >>> money(2340, "CHF", locale="de_CH").replace("\xa0", " ")
    'CHF 2’340'
    """
    if amount is None:
        return NOT_KNOWN
    from babel import Locale, UnknownLocaleError
    from babel.numbers import format_currency

    whole = Decimal(amount).quantize(Decimal(1), rounding=ROUND_HALF_UP)
    try:
        pattern = Locale.parse(locale).currency_formats["standard"].pattern.replace(".00", "")
        return str(
            format_currency(whole, currency.upper(), format=pattern, locale=locale, currency_digits=False)
        )
    except (UnknownLocaleError, ValueError, TypeError):
        raise BadInput("locale", repr(locale), "a language and country such as en_GB or de_CH") from None


def about(amount: Amount, currency: str, *, locale: str = LOCALE) -> str:
    """An estimate, to the next ten: more figures would claim what nobody knows.

    Examples
    --------
    >>> about(Decimal("2557"), "EUR"), about(None, "EUR")
    ('€2,560', 'not known')
    """
    if amount is None:
        return NOT_KNOWN
    return money(Decimal(amount).quantize(Decimal("1E1"), rounding=ROUND_HALF_UP), currency, locale=locale)


def html_table(caption: str, header: Sequence[str], rows: Sequence[Row]) -> str:
    """A plain HTML table, everything escaped; it follows the notebook's own light or dark theme.

    Examples
    --------
    >>> print(html_table("two < three", ["a"], [(1,)]))
    <table class="pianolab"><caption style="text-align:left;font-weight:600">two &lt; three</caption>...
    """
    head = "".join(f'<th style="text-align:left">{escape(h)}</th>' for h in header)
    body = "".join(
        "<tr>" + "".join(f'<td style="text-align:left">{escape(format_value(c))}</td>' for c in row) + "</tr>"
        for row in rows
    )
    return (
        '<table class="pianolab"><caption style="text-align:left;font-weight:600">'
        f"{escape(caption)}</caption><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"
    )


class Showable:
    """A result that says itself in one line, shows itself as a table and turns into a frame.

    A subclass gives ``headline()`` and ``rows()``; ``header`` names the columns of the rows.
    """

    header: Sequence[str] = ("quantity", "value", "unit", "note")

    def headline(self) -> str:
        raise NotImplementedError

    def rows(self) -> list[Row]:
        raise NotImplementedError

    def to_frame(self) -> pd.DataFrame:
        import pandas as pd

        return pd.DataFrame(self.rows(), columns=list(self.header))

    def __repr__(self) -> str:
        return f"<{type(self).__name__} {self.headline()}>"

    def _repr_html_(self) -> str:
        return html_table(self.headline(), self.header, self.rows())
