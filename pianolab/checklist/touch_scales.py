"""The described scales on which players give their opinion of a touch: taste apart from fault."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from pianolab.checklist.points import Spot
from pianolab.files import toml_of
from pianolab.show import Row, Showable

FILE = "touch_scales.toml"
TASTE_FIELDS = ("id", "name", "question", "low", "high")
FAULT_FIELDS = ("id", "name", "question", "anchors")
LIKING_FIELDS = ("question", "low", "high")


@dataclass(frozen=True, kw_only=True)
class TasteScale:
    """A scale with two ends and no good one: 1 is ``low``, 5 is ``high``."""

    id: str
    name: str
    question: str
    low: str
    high: str


@dataclass(frozen=True, kw_only=True)
class FaultScale:
    """A scale of what is right or wrong for anybody; five ``anchors`` from 5 (sound) down to 1 (failed)."""

    id: str
    name: str
    question: str
    anchors: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Liking:
    """How gladly a player would play it daily: 1 is ``low``, 5 is ``high``; nobody else need agree."""

    question: str
    low: str
    high: str


@dataclass(frozen=True, kw_only=True, repr=False)
class TouchScales(Showable):
    """All scales of an opinion of touch, in the order in which they are asked."""

    taste: tuple[TasteScale, ...]
    faults: tuple[FaultScale, ...]
    liking: Liking
    header = ("scale", "kind", "one end", "the other end")

    def headline(self) -> str:
        return f"{len(self.taste)} scales of taste, {len(self.faults)} of faults"

    def rows(self) -> list[Row]:
        tastes: list[Row] = [(s.name, "taste", s.low, s.high) for s in self.taste]
        faults: list[Row] = [(s.name, "fault", s.anchors[-1], s.anchors[0]) for s in self.faults]
        return [*tastes, *faults, ("Liking", "taste", self.liking.low, self.liking.high)]


def short_end(end: str) -> str:
    """The name of a scale's end: what stands before the colon of its sentence, which a scale's file is free to use.

    Examples
    --------
    >>> short_end("Light: a breath is enough."), short_end("Heavy.")
    ('light', 'heavy')
    """
    return end.partition(":")[0].strip().rstrip(".").lower()


@cache
def load_touch_scales() -> TouchScales:
    """The scales that come with pianolab; answers on others are refused where they are entered.

    Returns
    -------
    TouchScales

    Examples
    --------
    >>> scales = load_touch_scales()
    >>> scales.taste[0].id, len(scales.faults[0].anchors)
    ('weight', 5)
    """
    text = (files("pianolab.checklist") / "data" / FILE).read_text(encoding="utf-8")
    return touch_scales_of(text, name=FILE)


def touch_scales_of(text: str, *, name: str) -> TouchScales:
    """The scales that a file of that name describes, checked whole.

    Raises
    ------
    BadInput
        With file, scale and field, where it is no TOML or a scale is not complete.
    """
    data = toml_of(text, name=name)
    spot = Spot(name)
    if set(data) != {"taste", "fault", "liking"}:
        raise spot.bad("", ", ".join(sorted(data)) or "nothing", "[[taste]], [[fault]] and [liking] tables")
    taste = tuple(TasteScale(**_texts(raw, TASTE_FIELDS, name)) for raw in _tables(data, "taste", spot))
    faults = tuple(_fault(raw, name) for raw in _tables(data, "fault", spot))
    _check_ids([*taste, *faults], spot)
    liking = Liking(**_texts(data["liking"], LIKING_FIELDS, name, scale="liking"))
    return TouchScales(taste=taste, faults=faults, liking=liking)


def _tables(data: Mapping[str, Any], kind: str, spot: Spot) -> list[Mapping[str, Any]]:
    tables = data[kind]
    if not isinstance(tables, list) or not tables or not all(isinstance(t, dict) for t in tables):
        raise spot.bad(kind, "no table", f"at least one [[{kind}]] table", "Two square brackets?")
    return tables


def _fault(raw: Mapping[str, Any], file: str) -> FaultScale:
    texts = _texts({k: v for k, v in raw.items() if k != "anchors"}, FAULT_FIELDS[:-1], file)
    anchors, spot = raw.get("anchors"), Spot(file, texts["id"])
    whole = isinstance(anchors, list) and all(isinstance(a, str) and a.strip() for a in anchors)
    if not whole or len(set(anchors or ())) != 5:
        raise spot.bad("anchors", anchors, "five different sentences, from 5 (sound) down to 1 (failed)")
    return FaultScale(**texts, anchors=tuple(anchors or ()))


def _texts(raw: object, names: tuple[str, ...], file: str, *, scale: str = "") -> dict[str, str]:
    if not isinstance(raw, Mapping):
        raise Spot(file, scale).bad("", repr(raw), "a table with " + ", ".join(names))
    spot = Spot(file, scale or str(raw.get("id", "a scale without id")))
    if unknown := sorted(set(raw) - set(names)):
        raise spot.bad(unknown[0], "an unknown field", "one of " + ", ".join(names))
    for name in names:
        if not isinstance(raw.get(name), str) or not raw[name].strip():
            raise spot.bad(name, repr(raw.get(name)), "a text in quotation marks")
    return {name: " ".join(raw[name].split()) for name in names}


def _check_ids(scales: list[TasteScale | FaultScale], spot: Spot) -> None:
    ids = [s.id for s in scales]
    if twice := sorted({i for i in ids if ids.count(i) > 1}):
        raise spot.bad(twice[0], "the same id twice", "an id of its own for every scale")
