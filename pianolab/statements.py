"""What is said of an instrument before it is put into words: small frozen records that code can judge by.

A reason, a step, an alert, an obstacle or a verdict is a `Statement`. Code looks at its kind, its subject and its
numbers; only `pianolab.words` makes a sentence of it, and no code ever reads that sentence again.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any

from pianolab.errors import BadInput
from pianolab.show import LOCALE

AS_WRITTEN = "as written"


@dataclass(frozen=True)
class Money:
    """An amount in a currency; ``locale`` says how the buyer writes amounts."""

    amount: Decimal | float
    currency: str
    locale: str = LOCALE


@dataclass(frozen=True, kw_only=True)
class Statement:
    """One thing that is said.

    ``kind`` chooses the words. ``subject`` is what it is about, by its id: a checklist point, a thing that is heard,
    a scale of touch. ``numbers`` are the values the words need, by name: numbers, amounts of `Money`, keys as a tuple
    of numbers, titles and names as text, further statements, and tuples of these. ``evidence`` names what it rests on.
    """

    kind: str
    subject: str = ""
    numbers: tuple[tuple[str, Any], ...] = ()
    evidence: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if not self.kind:
            raise BadInput("statement", "no kind", "the kind that chooses its words")

    def number(self, name: str) -> Any:
        """One of its values.

        Raises
        ------
        KeyError
            where the statement has no such value

        Examples
        --------
        >>> statement("price.asked within", amount=900).number("amount")
        900
        """
        return dict(self.numbers)[name]

    def same_as(self, other: Statement) -> bool:
        """Whether both say the same of the same thing, whatever their numbers; written words have to be the same words.

        Examples
        --------
        >>> statement("slipped", "pins", count=8).same_as(statement("slipped", "pins", count=9))
        True
        """
        if self.kind == AS_WRITTEN:
            return self == other
        return (self.kind, self.subject) == (other.kind, other.subject)


def statement(kind: str, subject: str = "", *, evidence: Iterable[str] = (), **numbers: Any) -> Statement:
    """A statement from its values by name.

    Examples
    --------
    >>> statement("heard", "buzz", count=2)
    Statement(kind='heard', subject='buzz', numbers=(('count', 2),), evidence=())
    """
    return Statement(kind=kind, subject=subject, numbers=tuple(numbers.items()), evidence=tuple(evidence))


def as_written(text: str, subject: str = "") -> Statement:
    """Words that people wrote: in a checklist, a price list, a note. They are passed on as they are.

    Examples
    --------
    >>> as_written("The plate is cracked.").number("text")
    'The plate is cracked.'
    """
    return statement(AS_WRITTEN, subject, text=text)


def with_changed_values(statement: Statement, change: Callable[[Any], Any]) -> Statement:
    """The same statement with every text and every amount in it passed through ``change``; kinds and ids stay.

    Examples
    --------
    >>> said = statement("leads", name="Mill Lane", others=(statement("out", name="Dock Road"),))
    >>> with_changed_values(said, lambda value: "Piano A").numbers[0]
    ('name', 'Piano A')
    """
    return replace(statement, numbers=tuple((name, _changed(v, change)) for name, v in statement.numbers))


def _changed(value: Any, change: Callable[[Any], Any]) -> Any:
    if isinstance(value, Statement):
        return with_changed_values(value, change)
    if isinstance(value, tuple):
        return tuple(_changed(v, change) for v in value)
    return change(value) if isinstance(value, (str, Money)) else value
