"""A language: a template for each kind of statement, and how it writes numbers, amounts, lists and keys.

Templates are data (``data/en.toml``). A template names the values of a statement in braces; behind a colon stands
how a value is written: ``lower`` (as behind a colon), ``upper`` (as a sentence begins), ``bare`` (without its full
stop), ``list`` (a, b and c), ``commas``, ``semicolons``, ``keys`` (all of them), ``few`` (the first of them),
``money``, ``about`` (an estimate), ``percent``, or a pattern of digits such as ``0.0``. Several follow each other
with a space between: ``lower list``. Where a number decides the words, a table names it in ``by`` and holds a
template for each plural form of the language.
"""

from __future__ import annotations

import string
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, fields
from decimal import Decimal
from functools import cache
from importlib.resources import files
from typing import Any

from pianolab.errors import BadInput
from pianolab.files import toml_of
from pianolab.show import LOCALE, Fields, about, html_table, money
from pianolab.statements import Money, Statement
from pianolab.words.writing import MORE, TO, keys_in_words, listed, lower_first, upper_first, without_stop

Template = str | Mapping[str, str]
FEW = 4
"""So many keys or stretches are named before the rest is counted."""
ON_TEXT: dict[str, Callable[[str], str]] = {
    "lower": lower_first,
    "upper": upper_first,
    "bare": without_stop,
}
PLAIN_NUMBER = "0.######"


@dataclass(frozen=True, kw_only=True, eq=False)
class Language:
    """Templates by kind, and the locale that numbers, amounts and lists are written in."""

    locale: str
    templates: Mapping[str, Template]
    _filler: string.Formatter = field(init=False, repr=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "_filler", _Filler(self))

    def say(self, statement: Statement) -> str:
        """A statement in words.

        Raises
        ------
        BadInput
            for a kind that this language has no words for, or a value that the words need and the statement lacks
        """
        template = self.templates.get(statement.kind)
        if template is None:
            raise BadInput(
                "statement", repr(statement.kind), f"a kind that there are words for in {self.locale}"
            )
        values = dict(statement.numbers)
        try:
            return self._filler.vformat(self._form(template, values), (), values)
        except KeyError as missing:
            need = f"the value {missing}, which its words name"
            raise BadInput(f"statement {statement.kind!r}", sorted(values), need) from None

    def _form(self, template: Template, values: Mapping[str, Any]) -> str:
        """The template for the plural form that a number asks for."""
        if isinstance(template, str):
            return template
        from babel import Locale

        form = Locale.parse(self.locale).plural_form(values[template["by"]])
        return template.get(form, template["other"])

    def written(self, value: Any, how: str = "") -> str:
        """One value as a template asks for it."""
        for step in how.split():
            value = self._step(value, step)
        return self._plain(value)

    def _step(self, value: Any, step: str) -> Any:
        if step in ON_TEXT:
            change = ON_TEXT[step]
            if isinstance(value, tuple):
                return tuple(change(self._plain(v)) for v in value)
            return change(self._plain(value))
        if step in ("keys", "few"):
            to, more = str(self.templates.get("keys.to", TO)), str(self.templates.get("keys.more", MORE))
            most = FEW if step == "few" else None
            return keys_in_words(value, most=most, locale=self.locale, to=to, more=more)
        if step in JOINED:
            return JOINED[step].join(filter(None, (self._plain(v) for v in value)))
        if isinstance(value, str):  # an amount that was left out on request
            return value
        return (
            listed(map(self._plain, value), locale=self.locale)
            if step == "list"
            else self._number(value, step)
        )

    def _number(self, value: Any, step: str) -> str:
        from babel.numbers import format_decimal, format_percent

        if isinstance(value, Money):
            write = about if step == "about" else money
            return write(Decimal(value.amount), value.currency, locale=value.locale)
        if step == "percent":
            return str(format_percent(value, locale=self.locale))
        return str(format_decimal(value, format=step, locale=self.locale))

    def _plain(self, value: Any) -> str:
        if isinstance(value, Statement):
            return self.say(value)
        if isinstance(value, tuple):
            return listed(map(self._plain, value), locale=self.locale)
        if isinstance(value, Money):
            return self._number(value, "money")
        if isinstance(value, (int, float, Decimal)):
            return self._number(value, PLAIN_NUMBER)
        return "" if value is None else str(value)


JOINED = {"commas": ", ", "semicolons": "; "}


class _Filler(string.Formatter):
    """Fills a template; how a value is written is the language's affair."""

    def __init__(self, language: Language) -> None:
        self._language = language

    def format_field(self, value: Any, format_spec: str) -> str:
        return self._language.written(value, format_spec)


def load_language(text: str) -> Language:
    """A language from its TOML text: ``locale``, and templates in tables whose names make up the kinds.

    Parameters
    ----------
    text : TOML

    Returns
    -------
    Language

    Raises
    ------
    BadInput
        no TOML, something other than templates, or no locale

    Examples
    --------
    >>> german = load_language('locale = "de_DE"\\n[offer]\\n"budget" = "höchstens {amount:money}"')
    >>> german.say(Statement(kind="offer.budget", numbers=(("amount", Money(900, "EUR", "de_DE")),))).replace("\\xa0", " ")
    'höchstens 900 €'
    """
    data = toml_of(text, name="language")
    locale = data.pop("locale", LOCALE)
    return Language(locale=locale, templates=dict(_kinds(data)))


def _kinds(data: Mapping[str, Any], within: str = "") -> list[tuple[str, Template]]:
    found: list[tuple[str, Template]] = []
    for name, value in data.items():
        kind = f"{within}{name}"
        if not isinstance(value, (str, dict)):
            raise BadInput(f"language, {kind}", repr(value)[:40], "a template, or a table of them")
        if isinstance(value, str) or "by" in value:
            found.append((kind, value))
        else:
            found += _kinds(value, f"{kind}.")
    return found


@cache
def english() -> Language:
    """The language that comes with pianolab (``data/en.toml``)."""
    return load_language((files("pianolab.words") / "data" / "en.toml").read_text(encoding="utf-8"))


def say(statement: Statement | None) -> str:
    """A statement in English; nothing for None.

    Parameters
    ----------
    statement : what is to be said

    Returns
    -------
    str

    Examples
    --------
    >>> from pianolab.statements import statement
    >>> say(statement("stops", count=1)), say(statement("stops", count=2)), say(None)
    ('1 reason to stop', '2 reasons to stop', '')
    """
    return "" if statement is None else english().say(statement)


class Told(Fields):
    """A record that a notebook shows as a table of its fields, statements in words.

    Examples
    --------
    >>> from dataclasses import dataclass
    >>> from pianolab.statements import as_written
    >>> @dataclass(frozen=True)
    ... class Stop(Told):
    ...     says: Statement
    >>> "The plate is cracked" in Stop(as_written("The plate is cracked."))._repr_html_()
    True
    """

    def _repr_html_(self) -> str:
        values = ((f.name.replace("_", " "), _told(getattr(self, f.name))) for f in fields(self))  # type: ignore[arg-type]
        rows = [(name, value) for name, value in values if value not in ("", (), [], {})]
        return html_table(type(self).__name__, ("what", "value"), rows)


def _told(value: Any) -> Any:
    if isinstance(value, Statement):
        return say(value)
    if isinstance(value, Mapping):
        return "; ".join(f"{name}: {_told(v)}" for name, v in value.items())
    if isinstance(value, (tuple, list)):
        return "; ".join(str(_told(v)) for v in value)
    return value
