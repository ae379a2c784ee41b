"""The marks of a drawing as SVG elements: lines, areas, bars, signs and words, placed by functions from values to pixels."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from html import unescape
from math import cos, pi, sin
from typing import Any
from xml.etree.ElementTree import Element, SubElement

At = Callable[[Any], float]
"""From a value on an axis to pixels."""
LINE_HEIGHT, CHAR_EM = 1.22, 0.56
"""Height of a line and usual width of a letter, by the size of the type."""
SIDES = {"square": 4, "diamond": 4, "pentagon": 5, "hexagon": 6}
DOT_PX = 1.4


def figure(value: float) -> str:
    """A length in the shortest way that a screen can show.

    Examples
    --------
    >>> figure(12.0), figure(0.25), figure(-0.01)
    ('12', '0.2', '0')
    """
    text = f"{value:.1f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def put(parent: Element, tag: str, /, text: str | None = None, **attributes: Any) -> Element:
    """One more element in a drawing; numbers are written short, what is None is left out, ``_`` stands for a hyphen."""
    written = {
        name.rstrip("_").replace("_", "-"): figure(v) if isinstance(v, (int, float)) else str(v)
        for name, v in attributes.items()
        if v is not None
    }
    made = SubElement(parent, tag, written)
    made.text = text
    return made


def corners(symbol: str, r: float) -> list[tuple[float, float]]:
    """Corners of a sign of that radius about the origin, y downwards; empty for a circle.

    Examples
    --------
    >>> [(round(x), round(y)) for x, y in corners("diamond", 10)]
    [(0, -11), (11, 0), (0, 11), (-11, 0)]
    """
    if symbol == "square":
        return [(-0.9 * r, -0.9 * r), (0.9 * r, -0.9 * r), (0.9 * r, 0.9 * r), (-0.9 * r, 0.9 * r)]
    if symbol in ("cross", "x"):
        return _cross(r, turn=pi / 4 if symbol == "x" else 0.0)
    if symbol == "star":
        radii = [r * (1.08 if i % 2 == 0 else 0.62) for i in range(10)]
    elif symbol in ("triangle-up", "triangle-down", "arrow-up", "arrow-down"):
        radii = [r * 1.22] * 3
    elif symbol in SIDES:
        radii = [r * 1.06] * SIDES[symbol]
    else:
        return []
    start = pi / 2 if symbol.endswith("-down") else -pi / 2
    down = {"up": r * 0.28, "down": -r * 0.28}.get(symbol.rpartition("-")[2], 0.0)
    angles = [start + 2 * pi * i / len(radii) for i in range(len(radii))]
    return [(q * cos(a), down + q * sin(a)) for q, a in zip(radii, angles, strict=True)]


def _cross(r: float, *, turn: float) -> list[tuple[float, float]]:
    long, half = 1.1 * r, 0.36 * r
    arm = [(half, -long), (half, -half), (long, -half)]
    plus = [(x * c - y * s, x * s + y * c) for c, s in ((1, 0), (0, 1), (-1, 0), (0, -1)) for x, y in arm]
    return [(x * cos(turn) - y * sin(turn), x * sin(turn) + y * cos(turn)) for x, y in plus]


def sign_path(symbol: str, x: float, y: float, r: float) -> str:
    """A sign at a place, as the data of an SVG path."""
    base = symbol.removesuffix("-dot").removesuffix("-open")
    dot = f"M{figure(x - DOT_PX)} {figure(y)}h{figure(2 * DOT_PX)}" if symbol.endswith("-dot") else ""
    if base == "line-ns":
        return f"M{figure(x)} {figure(y - r)}v{figure(2 * r)}"
    if base == "x-thin":
        d = figure(2 * r)
        return f"M{figure(x - r)} {figure(y - r)}l{d} {d}m-{d} 0l{d} -{d}"
    if points := corners(base, r):
        return "M" + "L".join(f"{figure(x + a)} {figure(y + b)}" for a, b in points) + "Z" + dot
    half = f"a{figure(r)} {figure(r)} 0 1 0"
    return f"M{figure(x - r)} {figure(y)}{half} {figure(2 * r)} 0{half} -{figure(2 * r)} 0Z{dot}"


def each(value: Any, i: int) -> Any:
    """What holds for the i-th of several: a list has one for each, anything else holds for all."""
    return value[i] if isinstance(value, (list, tuple)) else value


def spoken(words: str) -> str:
    """The words of a hover as plain text.

    Examples
    --------
    >>> spoken("A4<br>1 &lt; 2")
    'A4\\n1 < 2'
    """
    return unescape(words.replace("<br>", "\n"))


def draw_signs(parent: Element, trace: Mapping[str, Any], x: At, y: At, *, told: bool) -> None:
    """The signs of a trace; those that look alike share a group, and each tells its words where ``told``."""
    marker = trace.get("marker", {})
    line = marker.get("line", {})
    groups: dict[tuple[Any, ...], list[tuple[str, str]]] = {}
    for i, (px, py) in enumerate(zip(trace["x"], trace["y"], strict=True)):
        if px is None or py is None:
            continue
        symbol = str(each(marker.get("symbol", "circle"), i))
        colour, width = each(marker.get("color"), i), each(line.get("width", 0), i)
        edge = colour if "-open" in symbol and "thin" not in symbol else each(line.get("color", colour), i)
        alike = ("none" if "-open" in symbol else colour, edge if width else None, width or None)
        words = spoken(each(trace.get("hovertext", ""), i))
        shape = sign_path(symbol, x(px), y(py), each(marker.get("size", 6), i) / 2)
        groups.setdefault(alike, []).append((shape, words if told else ""))
    for (fill, edge, width), drawn in groups.items():
        g = put(parent, "g", fill=fill, stroke=edge, stroke_width=width, opacity=marker.get("opacity"))
        quiet = "".join(shape for shape, words in drawn if not words)
        if quiet:
            put(g, "path", d=quiet)
        for shape, words in drawn:
            if words:
                put(put(g, "path", d=shape), "title", words)


def dashes(dash: str | None) -> str | None:
    """A line's dashes as SVG wants them; None where it is solid.

    Examples
    --------
    >>> dashes("6px 3px"), dashes("dot"), dashes("solid")
    ('6 3', '1.5 2.5', None)
    """
    return None if dash in (None, "solid") else "1.5 2.5" if dash == "dot" else dash.replace("px", "")


def stretches(xs: Sequence[Any], ys: Sequence[Any], x: At, y: At) -> Iterator[list[tuple[float, float]]]:
    """A line in pixels, cut where a value is missing."""
    run: list[tuple[float, float]] = []
    for a, b in zip(xs, ys, strict=True):
        if a is None or b is None:
            if run:
                yield run
            run = []
        else:
            run.append((x(a), y(b)))
    if run:
        yield run


def line_path(runs: Sequence[Sequence[tuple[float, float]]], *, smooth: bool = False) -> str:
    """Stretches of a line as the data of an SVG path; smooth ones go through their points in curves."""
    return "".join(_bent(run) if smooth and len(run) > 2 else _straight(run) for run in runs)


def _straight(run: Sequence[tuple[float, float]]) -> str:
    return "M" + "L".join(f"{figure(a)} {figure(b)}" for a, b in run)


def _bent(run: Sequence[tuple[float, float]]) -> str:
    """Cubic curves whose slope in each point is that between its neighbours (Catmull and Rom)."""
    out = f"M{figure(run[0][0])} {figure(run[0][1])}"
    for i in range(len(run) - 1):
        before, (x0, y0), (x1, y1), after = (
            run[max(0, i - 1)],
            run[i],
            run[i + 1],
            run[min(len(run) - 1, i + 2)],
        )
        pulls = (
            x0 + (x1 - before[0]) / 6,
            y0 + (y1 - before[1]) / 6,
            x1 - (after[0] - x0) / 6,
            y1 - (after[1] - y0) / 6,
        )
        out += "C" + " ".join(figure(v) for v in (*pulls, x1, y1))
    return out


def words_width(text: str, size: float) -> float:
    """About how wide a text is, in pixels; of several lines the longest."""
    bare = [unescape(re.sub(r"<[^>]*>", "", line)) for line in text.split("<br>")]
    return CHAR_EM * size * max(len(line) for line in bare)


def draw_words(
    parent: Element,
    text: str,
    x: float,
    y: float,
    *,
    font: Mapping[str, Any],
    anchor: str,
    rise: str = "middle",
) -> Element:
    """A text of one or more lines; ``anchor`` is left, center or right, ``rise`` says which height ``y`` is of the whole."""
    size, lines = font["size"], text.split("<br>")
    step = LINE_HEIGHT * size
    top = {"top": 0.0, "middle": -0.5 * step * len(lines), "bottom": -step * len(lines)}[rise]
    base = y + top + 0.92 * size
    made = put(
        parent,
        "text",
        x=x,
        y=base,
        font_size=size,
        fill=font.get("color"),
        font_family=font.get("family"),
        text_anchor={"left": None, "center": "middle", "right": "end"}[anchor],
    )
    for n, line in enumerate(lines):
        place = {"x": x, "y": base + n * step} if n else {}
        for i, part in enumerate(re.split(r"</?b>", line)):
            if not part:
                continue
            bold = "bold" if i % 2 else None
            if bold is None and not place and made.text is None and not len(made):
                made.text = unescape(part)
            else:
                put(made, "tspan", unescape(part), font_weight=bold, **place)
                place = {}
    return made
