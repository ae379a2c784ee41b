"""Stops and warnings that follow from several signs together: read from ``data/stops.toml``, then looked for.

A sign may be noticed in several ways, by eye, by gauge or by the recording, and counts once. What is told of a stop names
its signs, measured ones with their figures.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields
from functools import cache
from importlib.resources import files
from typing import Any, get_args

from pianolab.assess.results import AlertKind
from pianolab.checklist.spot import Spot

FILE = "stops.toml"


@dataclass(frozen=True, kw_only=True)
class Way:
    """One way to notice a sign: a value at a checklist point, so many keys heard, or a pitch as low as this."""

    point: str = ""
    at_grade: int | None = None
    on_answer: bool | None = None
    over: float | None = None
    under: float | None = None
    heard: str = ""
    from_keys: int = 0
    pitch_under: float | None = None


SignRule = tuple[Way, ...]
"""A sign by the ways in which it may be noticed."""


@dataclass(frozen=True, kw_only=True)
class StopRule:
    """One stop or warning: which signs it takes, what is said, who can settle it, and how grave it is.

    All of ``needs`` and at least ``least`` of ``of`` have to be there, and none of ``unless``. ``final`` says that no
    further look would lift it; ``why`` is what a technician would say.
    """

    id: str
    reason: str
    why: str
    source: str
    result: AlertKind
    severity: float
    confirm_by: str
    needs: tuple[SignRule, ...] = ()
    of: tuple[SignRule, ...] = ()
    unless: tuple[SignRule, ...] = ()
    least: int = 0
    final: bool = False
    kinds: tuple[str, ...] = ()

    @property
    def points(self) -> frozenset[str]:
        """The checklist points that can bring it about."""
        return frozenset(way.point for sign in (*self.needs, *self.of) for way in sign if way.point)


@cache
def load_stops() -> tuple[StopRule, ...]:
    """The rules that come with pianolab.

    Examples
    --------
    >>> board = next(rule for rule in load_stops() if rule.id == "board worn out")
    >>> board.least, board.result, "board-ribs" in board.points
    (3, 'veto', True)
    """
    return read_stops((files("pianolab.assess") / "data" / FILE).read_text(encoding="utf-8"))


def read_stops(text: str) -> tuple[StopRule, ...]:
    """Rules from the text of a TOML file.

    Raises
    ------
    BadInput
        With file, rule and field, where a rule is not complete.
    """
    return tuple(_rule(raw) for raw in tomllib.loads(text)["stop"])


def _rule(raw: Mapping[str, Any]) -> StopRule:
    spot = Spot(FILE, str(raw.get("id", "a stop without id")))
    known = {f.name for f in fields(StopRule)}
    for name in sorted(set(raw) - known):
        raise spot.bad(name, "an unknown field", "one of " + ", ".join(sorted(known)))
    for name in ("id", "reason", "why", "source", "result", "severity", "confirm_by"):
        if raw.get(name) in (None, ""):
            raise spot.bad(name, "nothing", "a value", "Every stop needs it.")
    signs = {n: tuple(_sign(s, spot) for s in raw.get(n, ())) for n in ("needs", "of", "unless")}
    rule = StopRule(**{**raw, **signs, "kinds": tuple(raw.get("kinds", ()))})
    if rule.result not in get_args(AlertKind) or not 0.0 <= rule.severity <= 1.0:
        raise spot.bad("result, severity", f"{rule.result}, {rule.severity}", "veto or warning, 0 to 1")
    if not rule.needs and not 0 < rule.least <= len(rule.of):
        raise spot.bad("least", rule.least, "needs, or how many of the signs it takes")
    return rule


def _sign(raw: Sequence[Mapping[str, Any]], spot: Spot) -> SignRule:
    return tuple(_ways(raw, spot))


def _ways(raw: Sequence[Mapping[str, Any]], spot: Spot) -> Iterator[Way]:
    known = {f.name for f in fields(Way)}
    for entry in raw:
        values = {"from_keys" if name == "from" else name: value for name, value in entry.items()}
        tells = [name for name in ("point", "heard", "pitch_under") if name in values]
        triggers = {"at_grade", "on_answer", "over", "under"} & set(values)
        if set(values) - known or len(tells) != 1 or (("point" in values) != bool(triggers)):
            need = "a point with a trigger, heard with from, or pitch_under"
            raise spot.bad("a sign", repr(dict(entry)), need)
        yield Way(**values)
