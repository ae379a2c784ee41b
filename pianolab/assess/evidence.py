"""One thing known or unknown about a piano, before it is weighed: how bad it is at best and at worst."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from pianolab.statements import Statement

Effort = Literal["look again", "record again", "tune and record again", "technician"]


@dataclass(frozen=True, kw_only=True)
class Gap:
    """A part of the evidence that is not known, and why; ``share`` is how much worse it could turn out (0 to 1)."""

    key: str
    what: Statement
    why: Statement
    share: float
    effort: Effort
    minutes: float | None = None
    veto_chance: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Evidence:
    """What one checklist point or one measure says; whose it is stands in ``source``, what it is about in ``says``.

    ``share`` is what is known to be wrong, 0 (nothing) to 1 (failed); the gaps come on top of it.
    ``strengths`` maps each aspect to how strongly this bears on it. ``fault`` names what is wrong where it may be noticed
    in several ways: evidence of one fault counts once, the heaviest of it.
    """

    source: str
    says: Statement
    share: float
    strengths: dict[str, float]
    gaps: tuple[Gap, ...] = ()
    fault: str = ""
