"""The table of what rooms are made of: surfaces, pieces of furniture, people, and where pianos stand."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from importlib.resources import files
from typing import Any, Literal, get_args

import numpy as np

from pianolab.errors import BadInput
from pianolab.units import FloatArray

Part = Literal["floor", "walls", "ceiling", "on floor", "on walls"]
NOMINAL_HZ: tuple[int, ...] = (125, 250, 500, 1000, 2000, 4000, 8000)
"""Names of the octave bands that everything in this folder is given in."""

BANDS_HZ: FloatArray = np.power(10.0, 3.0 + 0.3 * np.arange(-3.0, 4.0))
"""Exact midbands of the octaves from 125 Hz to 8 kHz, Hz."""

Range = tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class Surface:
    """One kind of surface: absorption coefficient in the seven octave bands, and where it lies.

    ``share`` is the part of floor or walls that something laid or hung there covers where it is named,
    ``unnamed`` where it isn't; ``spread`` is the standard deviation of the logarithm of the coefficient.
    """

    name: str
    part: Part
    alpha: tuple[float, ...]
    spread: float
    source: str
    words: tuple[str, ...] = ()
    share: Range = (1.0, 1.0)
    unnamed: Range | None = None
    usual: bool = False
    note: str = ""


@dataclass(frozen=True, kw_only=True)
class Piece:
    """A person or a piece of furniture: equivalent absorption area in m², in the seven octave bands."""

    name: str
    area_m2: tuple[float, ...]
    spread: float
    source: str
    words: tuple[str, ...] = ()
    note: str = ""


@dataclass(frozen=True, kw_only=True)
class Placing:
    """Where one kind of piano stands and how far the player's ear is, all in m, low and high."""

    ear_m: Range
    height_m: Range
    behind_back_m: Range
    unknown_wall_m: Range
    corner_m: Range
    free_m: Range


@dataclass(frozen=True, kw_only=True)
class SurfaceTable:
    """All surfaces and pieces by name, and the ranges for what nobody says."""

    surfaces: Mapping[str, Surface]
    pieces: Mapping[str, Piece]
    placing: Mapping[str, Placing]
    listener_m: Range
    unknown_upholstery: Range
    most_upholstery_m2: float
    lid_closed_db: Mapping[str, tuple[Range, ...]]

    def surface(self, word: str) -> Surface | None:
        """The surface a word means, or None where the table doesn't know the word."""
        return _named(word, self.surfaces)

    def piece(self, word: str) -> Piece:
        """The piece of furniture a word means."""
        found = _named(word, self.pieces)
        if found is None:
            close = get_close_matches(word, list(self.pieces), n=1)
            hint = f"Did you mean {close[0]}?" if close else ""
            raise BadInput("furniture", repr(word), "one of " + ", ".join(self.pieces), hint)
        return found


def _named(word: str, things: Mapping[str, Any]) -> Any:
    plain = " ".join(word.lower().replace("_", " ").split())
    return next((t for name, t in things.items() if plain == name or plain in t.words), None)


@cache
def load_surfaces() -> SurfaceTable:
    """The table that comes with pianolab, each row with its source.

    Examples
    --------
    >>> table = load_surfaces()
    >>> table.surfaces["carpet"].alpha[3], table.surface("wood floor").name
    (0.6, 'floor boards')
    """
    data = tomllib.loads((files("pianolab.rooms") / "data" / "surfaces.toml").read_text(encoding="utf-8"))
    return SurfaceTable(
        surfaces={name: _surface(name, raw) for name, raw in data["surface"].items()},
        pieces={name: _piece(name, raw) for name, raw in data["piece"].items()},
        placing={
            kind: Placing(**{k: _range(v) for k, v in raw.items()}) for kind, raw in data["placing"].items()
        },
        listener_m=_range(data["listener"]["distance_m"]),
        unknown_upholstery=_range(data["unknown_furniture"]["upholstery_share"]),
        most_upholstery_m2=float(data["unknown_furniture"]["most_m2"]),
        lid_closed_db={
            kind.removesuffix("_closed_db"): tuple(_range(v) for v in bands)
            for kind, bands in data["lid"].items()
        },
    )


def _surface(name: str, raw: Mapping[str, Any]) -> Surface:
    values: dict[str, Any] = dict(raw)
    if values["part"] not in get_args(Part):
        raise BadInput(f"surface {name}", repr(values["part"]), "one of " + ", ".join(get_args(Part)))
    for field in ("share", "unnamed"):
        if field in values:
            values[field] = _range(values[field])
    alpha = _bands(f"surface {name}", values.pop("alpha"), most=1.0)
    return Surface(name=name, alpha=alpha, words=tuple(values.pop("words", ())), **values)


def _piece(name: str, raw: Mapping[str, Any]) -> Piece:
    values: dict[str, Any] = dict(raw)
    area = _bands(f"piece {name}", values.pop("area_m2"), most=20.0)
    return Piece(name=name, area_m2=area, words=tuple(values.pop("words", ())), **values)


def _bands(name: str, values: list[float], *, most: float) -> tuple[float, ...]:
    if len(values) not in (6, 7) or not all(0.0 < v <= most for v in values):
        raise BadInput(name, values, f"six or seven values over 0, up to {most:g}")
    return tuple(float(v) for v in (*values, values[-1])[:7])


def _range(values: list[float]) -> Range:
    low, high = values
    return float(low), float(high)
