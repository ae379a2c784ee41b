"""What has to be opened or moved before a point can be seen, with its caution and what is said if it was not."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, fields
from functools import cache
from importlib.resources import files

from pianolab.checklist.spot import Spot


@dataclass(frozen=True, kw_only=True)
class Opening:
    """One thing to open or move: what it is called, what to ask, what to mind, the reason where it stayed shut."""

    id: str
    name: str
    ask: str
    caution: str
    not_opened: str
    grand: str = ""

    def cautions(self, kind: str) -> tuple[str, ...]:
        """What to mind at a piano of that kind."""
        return (self.caution, self.grand) if kind == "grand" and self.grand else (self.caution,)


@cache
def load_openings() -> dict[str, Opening]:
    """All openings by the id that a point's ``opens`` names.

    Examples
    --------
    >>> load_openings()["lid"].not_opened
    'the lid was not opened'
    """
    name = "openings.toml"
    data = tomllib.loads((files("pianolab.checklist") / "data" / name).read_text(encoding="utf-8"))
    needed = {f.name for f in fields(Opening)} - {"id", "grand"}
    for key, entry in data.items():
        if set(entry) - {"grand"} != needed:
            raise Spot(name, key).bad("", ", ".join(sorted(entry)), ", ".join(sorted(needed)))
    return {key: Opening(id=key, **entry) for key, entry in data.items()}
