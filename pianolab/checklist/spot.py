"""Where in which data file a value stands, for the line that complains about it."""

from __future__ import annotations

from dataclasses import dataclass

from pianolab.errors import BadInput


@dataclass(frozen=True)
class Spot:
    """A file, and the entry in it.

    Examples
    --------
    >>> print(Spot("own.toml", "keys-chips").bad("minutes", -1, "0 or more"))
    own.toml: keys-chips: minutes: got -1, need 0 or more.
    """

    file: str
    point: str = ""

    def bad(self, field: str, got: object, need: str, hint: str = "") -> BadInput:
        name = ": ".join(part for part in (self.file, self.point, field) if part)
        return BadInput(name, got, need, hint)
