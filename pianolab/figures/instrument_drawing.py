"""Own simple drawings: an upright from the front with its panels off, a grand from above with its lid off, and each's other side.

Outlines are lists of points on a sheet 70 wide and 74 high; ``where`` says where each part is pointed at.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import pairwise
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
class InstrumentDrawing:
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


def upright() -> InstrumentDrawing:
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
    return InstrumentDrawing(view="seen from the front, panels off", strokes=tuple(strokes), where=where)


def grand() -> InstrumentDrawing:
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
    return InstrumentDrawing(view="seen from above, lid off", strokes=tuple(strokes), where=where)


def drawing_of(kind: str) -> InstrumentDrawing:
    """The drawing of an ``upright`` or a ``grand``.

    Examples
    --------
    >>> sorted(drawing_of("grand").where) == sorted(drawing_of("upright").where)
    True
    """
    return grand() if kind == "grand" else upright()


BOARD = (
    "board-cracks",
    "board-ribs",
    "board-crown",
    "board-buzz",
    "board-failed",
    "board-edges",
    "board-repairs",
)
PEDALS = ("pedal-right", "pedal-left", "pedal-middle", "pedal-lyre", "pedal-noise")
TAIL: Points = (
    (65, 58),
    (64.4, 64),
    (62, 69),
    (57, 71),
    (51, 68.5),
    (44.5, 61),
    (36, 52.5),
    (26, 46.5),
    (15, 42),
    (8, 36),
    (5, 27),
)
SIDES: Points = ((5, 27), (5, 3), (65, 3), (65, 58))
RIM: Points = (*SIDES, *TAIL[1:])
"""A grand's case from below: the long straight side is on the right."""
BELLY_Y = 21.0
STEP = 0.4


def inside(x: float, y: float, outline: Points) -> bool:
    """Whether a place lies within a closed outline.

    Examples
    --------
    >>> inside(1, 1, box(0, 0, 2, 2)), inside(3, 1, box(0, 0, 2, 2))
    (True, False)
    """
    crossed = False
    for (x0, y0), (x1, y1) in pairwise(outline):
        if (y0 > y) != (y1 > y) and x < x0 + (y - y0) / (y1 - y0) * (x1 - x0):
            crossed = not crossed
    return crossed


def within(start: tuple[float, float], slope: tuple[float, float], outline: Points) -> Points:
    """The part of a straight line that lies within an outline, from end to end; empty where none does."""
    line = [(start[0] + slope[0] * i * STEP, start[1] + slope[1] * i * STEP) for i in range(400)]
    kept = [p for p in line if inside(*p, outline)]
    return (kept[0], kept[-1]) if len(kept) > 1 else ()


def _ring(x: float, y: float, radius: float) -> Stroke:
    corners = ((1, 0), (0.7, 0.7), (0, 1), (-0.7, 0.7), (-1, 0), (-0.7, -0.7), (0, -1), (0.7, -0.7), (1, 0))
    return Stroke(points=tuple((x + radius * a, y + radius * b) for a, b in corners), weight="case")


def grand_below() -> InstrumentDrawing:
    """A grand from below, its keys towards the reader: board with its ribs, beams, keybed, lyre and legs."""
    field: Points = tuple((35 + 0.93 * (x - 35), max(BELLY_Y, 36 + 0.95 * (y - 36))) for x, y in RIM)
    ribs = [within((-60 + 7.5 * i, BELLY_Y), (0.94, 0.34), field) for i in range(22)]
    grain = [within((-20 + 9 * i, 74), (0.34, -0.94), field) for i in range(9)]
    beams: list[Points] = [
        ((35, BELLY_Y), (35, 51)),
        ((35, BELLY_Y), (52, 66)),
        ((35, BELLY_Y), (12, 39)),
        ((35, BELLY_Y), (63.5, 45)),
    ]
    strokes = [
        Stroke(points=TAIL, weight="case", smooth=True),
        Stroke(points=SIDES, weight="case"),
        Stroke(points=field),
        *(Stroke(points=g, weight="thin") for g in grain if g),
        *(Stroke(points=r) for r in ribs if r),
        *(Stroke(points=b, weight="case") for b in beams),
        Stroke(points=box(5, 3, 65, 15)),
        Stroke(points=box(7, 15, 63, BELLY_Y), weight="part"),
        _ring(10, 12, 2.6),
        _ring(60, 12, 2.6),
        _ring(55, 62, 2.6),
        Stroke(points=((31, 10), (32, 1), (38, 1), (39, 10), (31, 10)), weight="case"),
        *(Stroke(points=((x, 1), (x, -1.8)), weight="case") for x in (33, 35, 37)),
    ]
    where = {
        "Soundboard": (44, 40),
        "Rim and beams": (35, 33),
        "Pin block from below": (52, 18),
        "Keybed": (24, 8),
        "Legs": (60, 12),
        "Castors": (55, 62),
        "Lyre and pedals": (35, 5),
    }
    points = {
        "Soundboard": BOARD,
        "Rim and beams": ("frame-beams",),
        "Pin block from below": ("pinblock-cracks",),
        "Keybed": ("case-inside", "case-pests"),
        "Legs": ("case-legs",),
        "Castors": ("case-castors",),
        "Lyre and pedals": PEDALS,
    }
    return InstrumentDrawing(view="seen from below", strokes=tuple(strokes), where=where, points=points)


def upright_behind() -> InstrumentDrawing:
    """An upright from behind, away from the wall, and under it the bottom board as it lies behind the lower panel."""
    back, board = box(4, 22, 66, 71), box(9, 27, 61, 62)
    ribs = [within((-40 + 8 * i, 27), (0.7, 0.7), board) for i in range(16)]
    posts = [Stroke(points=box(x - 1.6, 22, x + 1.6, 66), weight="case") for x in (17, 35, 53)]
    strokes = [
        Stroke(points=back, weight="case"),
        Stroke(points=box(4, 66, 66, 71)),
        Stroke(points=board),
        *(Stroke(points=r) for r in ribs if r),
        *posts,
        *(_ring(x, 20.2, 1.4) for x in (9, 61)),
        Stroke(points=box(4, 1, 66, 14), weight="case"),
        Stroke(points=box(4, 1, 10, 17), weight="case"),
        Stroke(points=box(60, 1, 66, 17), weight="case"),
        *(
            Stroke(points=((x, -1.5), (x, 6), (x - d, 9), (x - d, 13)), weight="case")
            for x, d in ((31, 12), (35, 0), (39, -12))
        ),
    ]
    where = {
        "Pin block from behind": (26, 68.5),
        "Back posts": (35, 47),
        "Soundboard": (45, 40),
        "Back of the case": (64.5, 55),
        "Castors": (61, 20.2),
        "Legs and toe blocks": (63, 12),
        "Bottom board": (54, 6),
        "Pedals and their rods": (39, 3),
    }
    points = {
        "Pin block from behind": ("pinblock-cracks",),
        "Back posts": ("frame-posts",),
        "Soundboard": BOARD,
        "Back of the case": ("case-back",),
        "Castors": ("case-castors",),
        "Legs and toe blocks": ("case-legs",),
        "Bottom board": ("papers-flood", "case-inside", "case-pests"),
        "Pedals and their rods": PEDALS,
    }
    return InstrumentDrawing(
        view="seen from behind, the bottom board under it", strokes=tuple(strokes), where=where, points=points
    )


def other_side_of(kind: str) -> InstrumentDrawing:
    """The drawing of the other side of an ``upright`` or a ``grand``.

    Examples
    --------
    >>> other_side_of("grand").view
    'seen from below'
    """
    return grand_below() if kind == "grand" else upright_behind()
