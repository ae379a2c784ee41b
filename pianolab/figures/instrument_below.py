"""Own simple drawings of the other side: a grand from below, an upright from behind with its bottom board."""

from __future__ import annotations

from itertools import pairwise

from pianolab.figures.instrument_drawing import Drawing, Points, Stroke, box

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


def grand_below() -> Drawing:
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
    return Drawing(view="seen from below", strokes=tuple(strokes), where=where, points=points)


def upright_behind() -> Drawing:
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
    return Drawing(
        view="seen from behind, the bottom board under it", strokes=tuple(strokes), where=where, points=points
    )


def other_side_of(kind: str) -> Drawing:
    """The drawing of the other side of an ``upright`` or a ``grand``.

    Examples
    --------
    >>> other_side_of("grand").view
    'seen from below'
    """
    return grand_below() if kind == "grand" else upright_behind()
