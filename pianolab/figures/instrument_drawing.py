"""Own simple drawings: an upright from the front with its panels off, a grand from above with its lid off.

Outlines are lists of points on a sheet 70 wide and 74 high; ``where`` says where each part is pointed at.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

Weight = Literal["case", "part", "thin"]
Points = tuple[tuple[float, float], ...]


@dataclass(frozen=True, kw_only=True)
class Stroke:
    """One line of the drawing; ``smooth`` ones are bent, ``filled`` ones closed and filled."""

    points: Points
    weight: Weight = "part"
    smooth: bool = False
    filled: bool = False


@dataclass(frozen=True, kw_only=True)
class Drawing:
    """All strokes of one kind of piano, and a place for every part by its checklist area.

    Where a part is no area of its own, ``points`` names the checklist points that belong to it.
    """

    view: str
    strokes: tuple[Stroke, ...]
    where: Mapping[str, tuple[float, float]]
    points: Mapping[str, tuple[str, ...]] = field(default_factory=dict)


def box(left: float, bottom: float, right: float, top: float) -> Points:
    """Corners of a rectangle, closed."""
    return ((left, bottom), (right, bottom), (right, top), (left, top), (left, bottom))


def _keys(left: float, bottom: float, right: float, top: float) -> list[Stroke]:
    step = (right - left) / 21
    lines = [
        Stroke(points=((left + i * step, bottom), (left + i * step, top)), weight="thin")
        for i in range(1, 21)
    ]
    middle = bottom + 0.4 * (top - bottom)
    black = [
        Stroke(points=box(left + i * step - 0.75, middle, left + i * step + 0.75, top), filled=True)
        for i in range(1, 21)
        if i % 7 not in (0, 3)
    ]
    return [Stroke(points=box(left, bottom, right, top)), *lines, *black]


def _row(left: float, right: float, bottom: float, top: float, *, count: int) -> list[Stroke]:
    step = (right - left) / (count - 1)
    return [
        Stroke(points=((left + i * step, bottom), (left + i * step, top)), weight="part")
        for i in range(count)
        if i not in (count // 3, 2 * count // 3)
    ]


def _pins(left: float, right: float, bottom: float, top: float, *, count: int) -> list[Stroke]:
    step = (right - left) / (count - 1)
    rise = (top - bottom) / 2
    return [
        Stroke(
            points=(
                (left + i * step, bottom + (i % 3) * rise),
                (left + i * step, bottom + (i % 3) * rise + 0.7),
            )
        )
        for i in range(count)
    ]


def upright() -> Drawing:
    """An upright from the front, upper and lower panel taken off."""
    treble = [
        Stroke(points=((24 + 1.9 * i, 57), (13 + 2.3 * i, 14 + 1.6 * i)), weight="thin") for i in range(19)
    ]
    bass = [Stroke(points=((10 + 1.6 * i, 57), (42 + 1.5 * i, 10.5)), weight="thin") for i in range(9)]
    board = [Stroke(points=((10 + 8 * i, 7), (26 + 8 * i, 23)), weight="thin") for i in range(5)]
    strokes = [
        Stroke(points=box(4, 3, 66, 68), weight="case"),
        Stroke(points=((2.5, 68), (67.5, 68), (67.5, 70), (2.5, 70), (2.5, 68)), weight="case"),
        Stroke(points=box(8, 6, 62, 66)),
        Stroke(points=box(8, 57.5, 62, 65)),
        *_pins(11, 59, 59, 63, count=34),
        *bass,
        *treble,
        *board,
        Stroke(points=((58, 46), (46, 35), (32, 24.5), (14, 16)), smooth=True, weight="case"),
        Stroke(points=((41, 10), (56, 12)), weight="case"),
        *_row(11, 59, 46, 50, count=31),
        *_row(11, 59, 40.5, 43, count=31),
        Stroke(points=box(2, 26, 68, 29), weight="case"),
        *_keys(6, 29, 64, 34),
        *(Stroke(points=((x, 3), (x, 0.5), (x + 2.2, 0.5)), weight="case") for x in (30, 34, 38)),
    ]
    where = {
        "Case and finish": (64, 69),
        "Pin block and tuning pins": (52, 61.5),
        "Strings": (29, 54),
        "Hammers": (58, 48),
        "Dampers": (44, 41.5),
        "Action and touch": (36, 38),
        "Keys": (56, 31),
        "Plate and frame": (62, 22),
        "Soundboard": (20, 12),
        "Bridges": (47, 36),
        "Pedals": (36, 1.5),
    }
    return Drawing(view="seen from the front, panels off", strokes=tuple(strokes), where=where)


def grand() -> Drawing:
    """A grand from above, lid off."""
    tail: Points = (
        (5, 58),
        (5.6, 64),
        (8, 69),
        (13, 71),
        (19, 68.5),
        (25.5, 61),
        (34, 52.5),
        (44, 46.5),
        (55, 42),
        (62, 36),
        (65, 27),
    )
    sides: Points = ((65, 27), (65, 3), (5, 3), (5, 58))
    ends = (65, 68, 69, 65.5, 60.5, 56, 52.5, 49.5, 47, 45, 43, 41, 38.5, 36, 32)
    strings = [
        Stroke(points=((9 + 3.8 * i, 22), (8.4 + 3.75 * i, end - 2.5)), weight="thin")
        for i, end in enumerate(ends)
    ]
    strokes = [
        Stroke(points=tail, weight="case", smooth=True),
        Stroke(points=sides, weight="case"),
        *_keys(9, 4, 61, 10.5),
        Stroke(points=box(5, 3, 65, 12)),
        Stroke(points=box(7.5, 15, 62.5, 21.5)),
        *_pins(10, 60, 16.5, 19.5, count=34),
        *strings,
        *_row(10, 60, 22.5, 25, count=31),
        *_row(10, 52, 27.5, 30, count=26),
        Stroke(points=((58, 33.5), (46, 40.5), (34, 46), (25, 54), (18, 60)), weight="case", smooth=True),
        Stroke(points=((8.5, 58), (17, 63.5)), weight="case"),
        *(Stroke(points=((x, 3), (x, -1.5), (x + 2.2, -1.5)), weight="case") for x in (30.5, 34.5, 38.5)),
    ]
    where = {
        "Case and finish": (64.9, 20),
        "Pin block and tuning pins": (52, 18),
        "Strings": (13, 45),
        "Hammers": (60, 23.7),
        "Dampers": (46, 28.7),
        "Action and touch": (36, 13.5),
        "Keys": (56, 6.5),
        "Plate and frame": (53, 39.8),
        "Soundboard": (24, 47),
        "Bridges": (40, 43.5),
        "Pedals": (37, -0.6),
    }
    return Drawing(view="seen from above, lid off", strokes=tuple(strokes), where=where)


def drawing_of(kind: str) -> Drawing:
    """The drawing of an ``upright`` or a ``grand``.

    Examples
    --------
    >>> sorted(drawing_of("grand").where) == sorted(drawing_of("upright").where)
    True
    """
    return grand() if kind == "grand" else upright()
