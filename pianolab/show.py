"""One list of rows feeds every view of a result: ``repr`` for scripts, HTML for notebooks, a frame for work."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import fields, is_dataclass
from decimal import ROUND_HALF_UP, Decimal
from html import escape
from importlib import import_module
from typing import TYPE_CHECKING, Any

from pianolab.errors import BadInput

if TYPE_CHECKING:
    import pandas as pd

Row = tuple[Any, ...]
Amount = Decimal | float | int | None

LOCALE = "en_GB"
NOT_KNOWN = "not known"


def format_value(value: object, unit: str = "") -> str:
    """A value as a reader wants it: no finer than its unit can be trusted, a dash for what is unknown.

    Without a unit that says how fine, three significant figures, and whole numbers from a thousand up.

    Examples
    --------
    >>> format_value(3.14159), format_value(None), format_value(12), format_value(2557.4)
    ('3.14', '–', '12', '2557')
    >>> format_value(0.003938, "dB"), format_value(-17.256, "cents")
    ('0.0', '-17.3')
    """
    if value is None or (isinstance(value, float) and value != value):
        return "–"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return _number(value, unit)
    if isinstance(value, (tuple, list)):
        return ", ".join(format_value(v, unit) for v in value)
    return str(value)


DECIMALS = {"dB": 1, "dB/s": 1, "cents": 1, "Hz": 1, "s": 2, "m": 2, "m²": 1, "m³": 0, "years": 0}


def _number(value: float, unit: str) -> str:
    if unit in DECIMALS:
        text = f"{value:.{DECIMALS[unit]}f}"
    elif 100.0 <= abs(value) < 1e15:
        text = f"{value:.1f}".removesuffix(".0") if abs(value) < 1000.0 else f"{value:.0f}"
    else:
        text = f"{value:.3g}"
    return text[1:] if text.startswith("-") and not text.strip("-0.") else text


def format_row(header: Sequence[str], row: Row) -> tuple[str, ...]:
    """The values of one row as a reader wants them, each by its unit: that of the column's name, or of a column ``unit``.

    Examples
    --------
    >>> format_row(("what", "low", "unit"), ("level", 0.70131, "dB"))
    ('level', '0.7', 'dB')
    >>> format_row(("part", "years to", "level (dB)"), ("strings", 16.39, 3.21))
    ('strings', '16', '3.2')
    """
    own = str(row[list(header).index("unit")]) if "unit" in header else ""
    return tuple(format_value(v, _unit_in(h) or own) for h, v in zip(header, row, strict=False))


def _unit_in(name: str) -> str:
    words = name.replace("(", " ").replace(")", " ").replace(",", " ").split()
    return next((w for w in words if w in DECIMALS and len(words) > 1), "")


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
    >>> money(2340, "CHF", locale="de_DE").replace("\xa0", " ")
    '2.340 CHF'
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


def short_value(value: object) -> str:
    """A value as a table in a notebook shows it: two decimals at most, and more only where nothing else is left.

    Examples
    --------
    >>> short_value(6.4951), short_value(0.126), short_value(10.0), short_value(0.00042), short_value(None)
    ('6.5', '0.13', '10', '0.00042', '–')
    """
    if isinstance(value, float) and value == value and abs(value) < 1000:
        if value == round(value) or abs(value) >= 0.005:
            return f"{value:.2f}".rstrip("0").rstrip(".")
        return f"{value:.2g}"
    return format_value(value)


NO_WRAP_CHARS = 15


def html_table(caption: str, header: Sequence[str], rows: Sequence[Row], *, empty: str = "none") -> str:
    """A plain HTML table, everything escaped; it follows the notebook's own light or dark theme.

    A column in which no row says anything is left out; a table without rows says ``empty``.

    Examples
    --------
    >>> print(html_table("two < three", ["a", "b"], [(1, "")]))
    <figure class="pianolab" style="margin:0;overflow-x:auto"><figcaption style="font-weight:600">two &lt; three</figcaption>...
    >>> html_table("faults", ["key"], []).endswith("<p>none</p></figure>")
    True
    """
    cells = [[short_value(c) for c in row] for row in rows]
    said = [i for i in range(len(header)) if any(row[i] for row in cells)]
    head = "".join(f'<th style="text-align:left">{escape(header[i])}</th>' for i in said)
    body = "".join("<tr>" + "".join(_cell(row[i]) for i in said) + "</tr>" for row in cells)
    table = f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"
    return html_figure(caption, table if cells else f"<p>{escape(empty)}</p>")


def _cell(text: str) -> str:
    whole = ";white-space:nowrap" if len(text) <= NO_WRAP_CHARS else ""
    return f'<td style="text-align:left{whole}">{escape(text)}</td>'


def html_figure(caption: str, inside: str) -> str:
    """HTML under a caption, as a notebook shows a result; ``inside`` is escaped already."""
    words = f'<figcaption style="font-weight:600">{escape(caption)}</figcaption>' if caption else ""
    return f'<figure class="pianolab" style="margin:0;overflow-x:auto">{words}{inside}</figure>'


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

    def chart(self, kind: str = "", **how: Any) -> Any:
        """A chart of this result; see `pianolab.workflow.charts.chart_of` for the kinds and how.

        Parameters
        ----------
        kind : which chart; empty for the usual one of this result
        **how : what that chart takes

        Returns
        -------
        a plotly figure

        Raises
        ------
        BadInput
            a kind that this result doesn't have, or a result without charts
        """
        # By name, when it is asked for: drawing stands far above results, and they are loaded without it.
        return import_module("pianolab.workflow.charts").chart_of(self, kind, **how)

    def shown(self) -> list[Row]:
        """The rows as a reader sees them in a notebook, where they differ from the numbers of `rows`.

        Returns
        -------
        list of rows, each with as many values as ``header`` has names
        """
        return self.rows()

    def _repr_html_(self) -> str:
        return html_table(self.headline(), self.header, self.shown())


class Fields:
    """A record that a notebook shows as a table of its fields; what is empty is left out, what is unknown is not.

    Examples
    --------
    >>> from dataclasses import dataclass
    >>> @dataclass(frozen=True)
    ... class Span(Fields):
    ...     low_db: float | None
    ...     note: str = ""
    >>> "<td" in Span(1.5)._repr_html_(), "note" in Span(None)._repr_html_()
    (True, False)
    """

    def _repr_html_(self) -> str:
        values = ((f.name, getattr(self, f.name)) for f in fields(self) if f.repr)  # type: ignore[arg-type]
        rows = [(name.replace("_", " "), _in_words(value)) for name, value in values]
        told = [row for row in rows if row[1] not in ("", (), [], {})]
        return html_table(type(self).__name__, ("what", "value"), told)


LONGEST_WORDS = 300


def _in_words(value: object) -> object:
    if isinstance(value, Mapping):
        return _cut("; ".join(f"{name}: {_in_words(v)}" for name, v in value.items()))
    if is_dataclass(value) and not isinstance(value, type):
        return _in_words({f.name.replace("_", " "): getattr(value, f.name) for f in fields(value)})
    if isinstance(value, (tuple, list)) and value:
        return _cut(", ".join(str(_in_words(v)) for v in value))
    return _cut(value) if isinstance(value, str) else short_value(value)


def _cut(words: str) -> str:
    return words if len(words) <= LONGEST_WORDS else f"{words[:LONGEST_WORDS]} …"


class Table(Showable):
    """A few rows of one's own, shown as every result is.

    Examples
    --------
    >>> Table("The rooms", ["piano", "seconds"], [("A", 0.31)])
    <Table The rooms>
    """

    def __init__(self, caption: str, header: Sequence[str], rows: Iterable[Sequence[Any]]) -> None:
        self._caption, self.header = caption, tuple(header)
        self._rows = [tuple(row) for row in rows]

    def headline(self) -> str:
        return self._caption

    def rows(self) -> list[Row]:
        return list(self._rows)


class Lines(Showable):
    """Sentences one under the other: a list in a notebook, plain lines in a script.

    Examples
    --------
    >>> Lines("Ask", ["How old is it?", "Who tuned it?"])
    Ask
      How old is it?
      Who tuned it?
    >>> Lines("Ask", [])._repr_html_().endswith("<p>none</p></figure>")
    True
    """

    header = ("line",)

    def __init__(self, caption: str, lines: Iterable[str], *, empty: str = "none") -> None:
        self._caption, self._lines, self._empty = caption, tuple(lines), empty

    def headline(self) -> str:
        return self._caption

    def rows(self) -> list[Row]:
        return [(line,) for line in self._lines]

    def __repr__(self) -> str:
        lines = "".join(f"\n  {line}" for line in self._lines or (self._empty,))
        return f"{self._caption}{lines}".strip("\n")

    def _repr_html_(self) -> str:
        items = "".join(f"<li>{escape(line)}</li>" for line in self._lines)
        inside = f'<ul style="margin:0">{items}</ul>' if items else f"<p>{escape(self._empty)}</p>"
        return html_figure(self._caption, inside)
