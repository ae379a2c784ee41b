"""Records that hold statements, as a notebook shows them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from typing import Any

from pianolab.show import Fields, html_table
from pianolab.statements import Statement
from pianolab.words.language import say


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
