"""Drawings instead of photographs: parts of an invented instrument, as worn as the exercise wants them.

Each drawing is SVG text made from numbers only; it says in words what it shows, without the grade.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pianolab.figures.instrument_drawing import drawing_of
from pianolab.html import templates

INK, SOFT, FELT, WOOD, RUST, PAPER = "#211e1a", "#857d70", "#e9e3d3", "#e6cfa3", "#9c4a1a", "#fffdf8"
FITS = "max-width:100%;height:auto;"
Rng = np.random.Generator


@dataclass(frozen=True, kw_only=True)
class Shape:
    """One element of a drawing: its attributes by name, the words it shows, and the shapes within it."""

    tag: str
    said: Mapping[str, str]
    words: str = ""
    within: Sequence[Shape] = ()


def _shape(tag: str, *, words: str = "", within: Sequence[Shape] = (), **said: object) -> Shape:
    named = {name.replace("_", "-"): str(value) for name, value in said.items()}
    return Shape(tag=tag, said=named, words=words, within=within)


def _svg(
    body: Sequence[Shape], *, width: int, height: int, alt: str, view: str = "", fits: str = FITS
) -> str:
    root = {
        "xmlns": "http://www.w3.org/2000/svg",
        "viewBox": view or f"0 0 {width} {height}",
        "width": f"{width}",
        "height": f"{height}",
        "role": "img",
        "aria-label": alt,
        "style": f"{fits}background:{PAPER}",
    }
    template = templates("pianolab.classroom").get_template("drawing.svg.j2")
    return template.render(root=Shape(tag="svg", said=root, within=body))


def _px(value: float) -> str:
    return f"{value:.1f}"


def _line(x0: float, y0: float, x1: float, y1: float, *, colour: str = INK, width: float = 1.2) -> Shape:
    return _shape("line", x1=_px(x0), y1=_px(y0), x2=_px(x1), y2=_px(y1), stroke=colour, stroke_width=width)


def _rect(x: float, y: float, w: float, h: float, *, fill: str, width: float = 1.0) -> Shape:
    return _shape(
        "rect", x=_px(x), y=_px(y), width=_px(w), height=_px(h), fill=fill, stroke=INK, stroke_width=width
    )


def _text(x: float, y: float, text: str) -> Shape:
    return _shape(
        "text", x=f"{x:.0f}", y=f"{y:.0f}", font_size=13, font_family="sans-serif", fill=INK, words=text
    )


def _path(d: str, *, colour: str = INK, width: float = 1.4, fill: str = "none") -> Shape:
    return _shape("path", d=d, fill=fill, stroke=colour, stroke_width=width, stroke_linecap="round")


def _circle(x: str, y: float, r: float, *, fill: str) -> Shape:
    return _shape("circle", cx=x, cy=_px(y), r=_px(r), fill=fill)


def _polyline(points: Iterable[tuple[object, float]], width: float) -> Shape:
    joined = " ".join(f"{x},{y:.1f}" for x, y in points)
    return _shape("polyline", points=joined, fill="none", stroke=SOFT, stroke_width=width)


def _ruler(x: float, y: float, *, mm: int, step: float) -> list[Shape]:
    return [
        _line(x, y, x + mm * step, y),
        *(
            _line(x + i * step, y, x + i * step, y - (9 if i % 5 == 0 else 5), width=0.8)
            for i in range(mm + 1)
        ),
        *(_text(x + i * step - 4, y + 15, str(i)) for i in range(0, mm + 1, 5)),
        _text(x + mm * step + 16, y + 15, "mm"),
    ]


GROOVE_MM = {5: (0.2, 0.8), 4: (1.2, 2.7), 3: (3.4, 5.6), 2: (6.5, 9.5), 1: (10.8, 13.5)}


def hammer_grooves(grade: int, rng: Rng) -> tuple[str, str]:
    """A hammer's nose from above with the marks of three strings, and a ruler."""
    longest, step = float(rng.uniform(*GROOVE_MM[grade])), 14.0
    body = [_rect(60, 22, 300, 96, fill=FELT), _text(60, 16, "the hammer's nose, seen from the strings")]
    for i in range(3):
        length = longest * (1.0 if i == 1 else float(rng.uniform(0.7, 0.95))) * step
        deep = 1.5 + 0.9 * (5 - grade)
        body.append(
            _line(210 - length / 2, 44 + 26 * i, 210 + length / 2, 44 + 26 * i, colour=SOFT, width=deep)
        )
    svg = _svg(
        body + _ruler(60, 142, mm=20, step=step),
        width=430,
        height=170,
        alt="Hammer with the marks of three strings and a ruler",
    )
    return svg, ""


LAG_MM = {5: 0.0, 4: 0.35, 3: 0.9, 2: 1.7, 1: 2.6}
STUCK = {5: 0, 4: 0, 3: 0, 2: 2, 1: 6}


def damper_row(grade: int, rng: Rng) -> tuple[str, str]:
    """A row of dampers with the pedal half down."""
    body = [
        _line(20, 130, 470, 130, colour=SOFT),
        _text(20, 18, "dampers with the right pedal half down; below them the strings"),
    ]
    late = set(rng.choice(24, STUCK[grade], replace=False).tolist())
    few = set(rng.choice(24, 2, replace=False).tolist())
    for i in range(24):
        lag = LAG_MM[grade] * abs(float(rng.normal())) if grade != 4 or i in few else 0.0
        rise = 0.0 if i in late else max(0.0, 20.0 - 7.0 * lag)
        x = 24 + 18.6 * i
        body += [_rect(x, 100 - rise, 12, 30, fill=FELT), _rect(x + 2, 70 - rise, 8, 30, fill=INK)]
    return _svg(
        body, width=490, height=150, alt="A row of twenty-four dampers, some perhaps higher than others"
    ), ""


WAVE_MM = {5: 0.0, 4: 0.6, 3: 1.0, 2: 1.3, 1: 2.6}


def key_level(grade: int, rng: Rng) -> tuple[str, str]:
    """Fronts of the white keys under a straight edge, heights drawn ten times too large."""
    body = [_text(20, 16, "white keys under a straight edge; heights ten times too large")]
    shape = (
        -np.sin(np.linspace(0, np.pi, 26))
        if grade >= 4
        else np.sin(np.linspace(0, 4 * np.pi, 26) + rng.uniform(0, 3))
    )
    rough = {5: 0.03, 4: 0.05, 3: 0.12, 2: 0.6, 1: 1.0}[grade]
    heights = WAVE_MM[grade] * shape + rough * rng.normal(size=26)
    for i, mm in enumerate(heights):
        top = max(36.0, 72 - 10 * float(mm))
        body.append(_rect(20 + 17 * i, top, 16, 126 - top, fill="#ffffff"))
    return _svg(
        [*body, _line(16, 34, 470, 34, width=2.5)],
        width=490,
        height=136,
        alt="Fronts of twenty-six white keys under a straight edge",
    ), ""


GRAIN = np.array([190.0, 80.0]) / np.hypot(190.0, 80.0)
ACROSS = np.array([-GRAIN[1], GRAIN[0]])
"""Ways along and across the grain of the drawn soundboard; its ribs run across."""

LIGHT = "#ffe680"


def board_cracks(grade: int, rng: Rng) -> tuple[str, str]:
    """The soundboard from behind with a lamp on the other side, and a section across its widest crack, pressed and not."""
    board = [_rect(10, 26, 470, 190, fill=WOOD)]
    for n in range(-20, 40):
        at = np.array([10.0, 26.0]) + 9.0 * n * ACROSS + np.array([0.0, 20.0])
        (x0, y0), (x1, y1) = at - 300 * GRAIN, at + 700 * GRAIN
        board.append(_line(x0, y0, x1, y1, colour="#d9be8c", width=0.8))
    board += [_line(10 + 60 * i, 216, 90 + 60 * i, 26, colour=SOFT, width=5) for i in range(-1, 8)]
    count = {5: 0, 4: 1, 3: int(rng.integers(1, 3)), 2: int(rng.integers(3, 6)), 1: int(rng.integers(3, 6))}[
        grade
    ]
    for place in rng.permutation(6)[:count]:
        board.append(_crack(np.array([50.0 + 62 * place, 60.0 + 14 * float(rng.uniform(0, 5))]), grade, rng))
    edge = _shape("clipPath", id="board", within=[_shape("rect", x=10, y=26, width=470, height=190)])
    return _svg(
        [
            _text(10, 18, "the soundboard from behind, a torch on the other side"),
            edge,
            _shape("g", clip_path="url(#board)", within=board),
            *_sections(grade, count),
        ],
        width=490,
        height=314,
        alt="A soundboard with its ribs, seen from behind, and a section across a crack",
    ), ""


def _crack(start: NDArray[np.float64], grade: int, rng: Rng) -> Shape:
    """A crack along the grain: widest in the middle, its sides a little rough, gone at either end."""
    length, widest = float(rng.uniform(90, 150)), {4: 1.1, 3: 2.6, 2: 3.2, 1: 7.0}[grade]
    along = np.linspace(0.0, 1.0, 24)
    half = 0.5 * widest * np.sin(np.pi * along) ** 0.6 * (1.0 + 0.15 * rng.normal(size=along.size))
    middle = (
        start
        + np.outer(along * length, GRAIN)
        + np.outer(np.cumsum(rng.normal(size=along.size)) * 0.15, ACROSS)
    )
    edge = np.concatenate([middle + half[:, None] * ACROSS, (middle - half[:, None] * ACROSS)[::-1]])
    points = " ".join(f"{x:.1f},{y:.1f}" for x, y in edge)
    fill = LIGHT if grade < 4 else INK
    return _shape("polygon", points=points, fill=fill, stroke=INK, stroke_width="0.8")


def _sections(grade: int, count: int) -> list[Shape]:
    """The board cut across its widest crack, as it lies and with a thumb beside the crack; four times as large."""
    title = "cut across the widest line, four times as large:" if count else "cut across the board:"
    out = [_text(10, 236, title)]
    gap, step = {5: 0.0, 4: 1.0, 3: 6.0, 2: 7.0, 1: 14.0}[grade], 9.0 if grade == 1 else 0.0
    for n, words in enumerate(("as it lies", "pressed beside it")):
        x, moved = 20.0 + 240 * n, 7.0 if grade <= 2 and n else 0.0
        out.append(_rect(x, 256, 90.0 if count else 180.0, 16, fill=WOOD))
        if count:
            out.append(_rect(x + 90 + gap, 256 + step + moved, 90, 16, fill=WOOD))
        if grade == 4:
            out.append(_rect(x + 89, 256, 2 + gap, 7, fill=WOOD))
        out.append(_text(x, 304, words))
        if n:
            out.append(_path(f"M{x + 120 + gap:.0f} 240 v 8 l -3 -4 m 3 4 l 3 -4", width=1.4))
    return out


SPECKS = {5: 0, 4: 9, 3: 110, 2: 420, 1: 420}


def string_rust(grade: int, rng: Rng) -> tuple[str, str]:
    """A section of strings close to."""
    body = [_text(10, 16, "a section of strings, close to")]
    for i in range(12):
        rough = {2: 1.2, 1: 2.4}.get(grade, 0.0)
        points = [(x, 36 + 14 * i + rng.normal() * rough) for x in range(10, 481, 8)]
        body.append(_polyline(points, 3.0 + rough))
    for _ in range(SPECKS[grade]):
        x, i, size = rng.uniform(10, 480), int(rng.integers(12)), rng.uniform(0.8, 1.6 + (5 - grade) * 0.5)
        if x > 240 or grade != 3:
            body.append(_circle(f"{x:.0f}", 36 + 14 * i + rng.normal(), size, fill=RUST))
    if grade == 1:
        for _ in range(14):
            x, y = rng.uniform(20, 460), rng.uniform(34, 190)
            body.append(_path(f"M{x:.0f} {y:.0f} l 9 -6 l 4 8 z", colour=RUST, fill=RUST))
    return _svg(body, width=490, height=210, alt="Twelve strings close to"), ""


def bridge_cracks(grade: int, rng: Rng) -> tuple[str, str]:
    """The top of the treble bridge with its pins."""
    body = [_rect(10, 30, 470, 110, fill=WOOD), _text(10, 18, "the top of the treble bridge with its pins")]
    pins = [(28 + 24 * i, 62.0 if i % 2 else 72.0, 108.0 if i % 2 else 98.0) for i in range(19)]
    start = int(rng.integers(2, 6))
    joined = {
        5: (),
        4: (),
        3: ((start, start + 2), (start + 8, start + 10)),
        2: ((start, start + 9),),
        1: ((0, 18),),
    }[grade]
    for a, b in joined:
        width = 5.0 if grade == 1 else 1.6 + 0.8 * (grade == 2)
        for row in (1, 2) if grade <= 2 else (1,):
            d = "M" + " L".join(f"{pins[i][0]} {pins[i][row] + rng.normal():.1f}" for i in range(a, b + 1))
            body.append(_path(d, width=width))
    if grade == 4:
        for i in rng.choice(19, 4, replace=False):
            body.append(_path(f"M{pins[i][0] - 11} {pins[i][1] - 1} l 22 2", width=1.0))
    for x, y1, y2 in pins:
        lean = float(rng.normal()) * (5.0 if grade == 1 else 0.0)
        body += [_circle(_px(x + lean), y, 3.4, fill=INK) for y in (y1, y2)]
    return _svg(body, width=490, height=150, alt="A bridge with two rows of pins"), ""


DRAWN: dict[str, Callable[[int, Rng], tuple[str, str]]] = {
    "hammers-grooves": hammer_grooves,
    "dampers-lift": damper_row,
    "keys-level": key_level,
    "board-cracks": board_cracks,
    "strings-rust": string_rust,
    "bridge-treble": bridge_cracks,
}


def where_it_is(kind: str, area: str) -> str:
    """The whole instrument, small, with a ring at the part; empty where the part isn't drawn."""
    whole = drawing_of(kind)
    if area not in whole.where:
        return ""
    x, y = whole.where[area]
    strokes = (stroke for stroke in whole.strokes if stroke.weight != "thin")
    lines = [_polyline(((f"{x:.1f}", 74 - y) for x, y in stroke.points), 0.5) for stroke in strokes]
    ring = _shape("circle", cx=_px(x), cy=_px(74 - y), r=5, fill="none", stroke=INK, stroke_width=1.4)
    alt = f"{area} on the instrument"
    return _svg([*lines, ring], width=120, height=134, alt=alt, view="0 -1 70 78", fits="")
