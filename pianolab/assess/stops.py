"""Stops and warnings that follow from several signs together: read from ``data/stops.toml``, then looked for.

A sign may be noticed in several ways, by eye, by gauge or by the recording, and counts once. What is told of a stop names
its signs, measured ones with their figures.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields
from functools import cache
from importlib.resources import files
from typing import Any, get_args

from pianolab.assess.assessment import Alert, AlertKind, HowSure
from pianolab.assess.by_recording import HeardKeys, counted
from pianolab.assess.findings import PointView, found_at
from pianolab.assess.places import holds
from pianolab.assess.scoring import Scoring
from pianolab.checklist.points import Spot
from pianolab.statements import Statement, statement

SURENESS: tuple[HowSure, ...] = ("seen", "likely", "possible")
MEASURED = ("reading", "count")
TECHNICIAN = "technician"
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


@dataclass(frozen=True)
class Sign:
    """One sign that is there: what was noticed, where, how sure it is, whether it was measured, and by whom."""

    says: tuple[Statement, ...]
    sources: tuple[str, ...]
    how_sure: HowSure
    measured: bool
    by_technician: bool


@dataclass(frozen=True, kw_only=True)
class Evidenced:
    """All that a rule may look at: what was found at the points, what was heard, and the pitch against A4 in cents."""

    views: Mapping[str, PointView]
    heard: Mapping[str, HeardKeys]
    offset_cents: float | None
    scoring: Scoring


def alerts_from_stops(rules: Iterable[StopRule], found: Evidenced, *, kind: str) -> list[Alert]:
    """An alert for every rule that holds for a piano of this kind."""
    told = []
    for rule in rules:
        signs = _signs_of(rule, found) if not rule.kinds or kind in rule.kinds else None
        if signs is not None:
            told.append(_alert(rule, *signs))
    return told


def _signs_of(rule: StopRule, found: Evidenced) -> tuple[list[Sign], list[Sign]] | None:
    """The signs that must all be there, and the further ones, the surest first; None where a rule does not hold."""
    needed = [_sign_of(sign, found) for sign in rule.needs]
    further = [sign for sign in (_sign_of(s, found) for s in rule.of) if sign is not None]
    speaks_against = any(_sign_of(sign, found) is not None for sign in rule.unless)
    there = [sign for sign in needed if sign is not None]
    if speaks_against or len(there) < len(needed) or len(further) < rule.least:
        return None
    return there, sorted(further, key=lambda sign: SURENESS.index(sign.how_sure))


def _sign_of(rule: SignRule, found: Evidenced) -> Sign | None:
    """One sign from all the ways in which it was noticed."""
    ways = [sign for way in rule for sign in _noticed(way, found)]
    if not ways:
        return None
    return Sign(
        says=_each_fault_once(ways, found.scoring),
        sources=tuple(dict.fromkeys(source for way in ways for source in way.sources)),
        how_sure=min((way.how_sure for way in ways), key=SURENESS.index),
        measured=any(way.measured for way in ways),
        by_technician=any(way.by_technician for way in ways),
    )


def _each_fault_once(ways: Sequence[Sign], scoring: Scoring) -> tuple[Statement, ...]:
    """What was noticed, with the recording's word where it heard what somebody found too."""
    said: dict[str, Statement] = {}
    for told in (says for way in ways for says in way.says):
        said[scoring.alike.get(told.subject, told.subject)] = told
    return tuple(said.values())


def _noticed(way: Way, found: Evidenced) -> Iterator[Sign]:
    if way.point:
        yield from _at_point(way, found)
    elif way.heard:
        yield from _in_recording(way, found)
    elif way.pitch_under is not None and (found.offset_cents or 0.0) < way.pitch_under:
        says = statement("stop.flat", "pitch", cents=-(found.offset_cents or 0.0))
        yield Sign((says,), ("listening",), "likely", True, False)


def _at_point(way: Way, found: Evidenced) -> Iterator[Sign]:
    view = found.views.get(way.point)
    if view is None or not view.checked or not any(holds(way, f, view.point) for f in view.findings):
        return
    sure: HowSure = "possible" if view.disputed else "seen"
    measured = view.point.record in MEASURED
    yield Sign((found_at(view, found.scoring),), (way.point,), sure, measured, view.by_technician)


def _in_recording(way: Way, found: Evidenced) -> Iterator[Sign]:
    heard = found.heard.get(way.heard)
    if heard is not None and len(heard.faulty) >= way.from_keys:
        says = counted("heard.faulty", heard.item, keys=heard.faulty, total=heard.total)
        yield Sign((says,), ("listening",), "likely", True, False)


def _alert(rule: StopRule, needed: Sequence[Sign], further: Sequence[Sign]) -> Alert:
    """Measured signs are named first; one more sign never makes a stop less sure or less settled."""
    named = sorted([*needed, *further], key=lambda sign: not sign.measured)
    sources = tuple(dict.fromkeys(source for sign in named for source in sign.sources))
    enough = [*needed, *further[: rule.least]]
    says = statement(
        "stop.signs",
        rule.id,
        evidence=sources,
        reason=rule.reason,
        signs=tuple(dict.fromkeys(says for sign in named for says in sign.says)),
    )
    return Alert(
        kind=rule.result,
        says=says,
        how_sure=max((sign.how_sure for sign in enough), key=SURENESS.index),
        confirm_by=rule.confirm_by,
        source=sources[0],
        sources=sources,
        severity=rule.severity,
        final=rule.final or (rule.confirm_by == TECHNICIAN and _settled(rule, needed, further)),
    )


def _settled(rule: StopRule, needed: Sequence[Sign], further: Sequence[Sign]) -> bool:
    """Whether what a technician found is enough by itself."""
    by_them = sum(sign.by_technician for sign in further)
    return all(sign.by_technician for sign in needed) and by_them >= rule.least
