"""Drawings that stand in for photos in the demonstration: nobody's piano, drawn here with a few strokes.

Each is drawn at twice its size and scaled down, which smooths the edges. The same call draws the same picture.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from math import cos, pi, sin
from pathlib import Path
from random import Random

from PIL import Image, ImageDraw

from pianolab.errors import BadInput
from pianolab.shipped import shipped

WIDTH_PX, HEIGHT_PX, FINE = 900, 640, 2
WOOD, DARK, FELT, STEEL, BRASS, WALL, FLOOR = (
    "#d9b888",
    "#3a2a1e",
    "#efe9dd",
    "#8d9298",
    "#b08d3e",
    "#e9e4d8",
    "#b99a74",
)
MARK = "#c8102e"
"""Of the ring around what a picture is about."""

Draw = ImageDraw.ImageDraw


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """One picture of the demonstration: what is drawn, what it says, and the point it belongs to."""

    condition: str
    subject: str
    point: str
    caption: str


def load_pictures() -> tuple[Drawn, ...]:
    """The pictures of points, by the condition that they belong to.

    Examples
    --------
    >>> sorted(p.point for p in load_pictures())
    ['board-cracks', 'bridge-treble', 'case-finish', 'hammers-grooves']
    """
    data = tomllib.loads(shipped("datasets/scenario/pictures.toml").read_text(encoding="utf-8"))
    return tuple(Drawn(**entry) for entry in data["picture"])


def draw_picture(subject: str, path: Path) -> Path:
    """Draws one subject into a PNG file of 900 by 640 pixels.

    Parameters
    ----------
    subject : what to draw, by name
    path : the PNG file to write

    Returns
    -------
    Path, that of the file

    Raises
    ------
    BadInput : a subject that nobody can draw

    Examples
    --------
    >>> draw_picture("a harp", Path("harp.png"))
    Traceback (most recent call last):
    ...
    pianolab.errors.BadInput: subject: got 'a harp', need one of upright, grand, split bridge, ...
    """
    if subject not in SUBJECTS:
        raise BadInput("subject", repr(subject), "one of " + ", ".join(SUBJECTS))
    image = Image.new("RGB", (FINE * WIDTH_PX, FINE * HEIGHT_PX), WALL)
    SUBJECTS[subject](ImageDraw.Draw(image))
    image.resize((WIDTH_PX, HEIGHT_PX), Image.Resampling.LANCZOS).save(path, "PNG")
    return path


def _at(*values: float) -> list[float]:
    """Places on the finished picture, as places on the larger one that is drawn."""
    return [FINE * v for v in values]


def _room(d: Draw) -> None:
    d.rectangle(_at(0, 520, WIDTH_PX, HEIGHT_PX), fill=FLOOR)
    d.line(_at(0, 520, WIDTH_PX, 520), fill=DARK, width=4)


def _keys(d: Draw, left: float, right: float, top: float, deep: float) -> None:
    d.rectangle(_at(left, top, right, top + deep), fill="#f6f3ea", outline=DARK, width=3)
    white = (right - left) / 52
    for n in range(1, 52):
        x = left + n * white
        d.line(_at(x, top, x, top + deep), fill="#9a9488", width=2)
        if (n + 5) % 7 not in (0, 3):
            d.rectangle(_at(x - 0.3 * white, top, x + 0.3 * white, top + 0.6 * deep), fill="#15120f")


def _upright(d: Draw) -> None:
    _room(d)
    d.rectangle(_at(170, 120, 730, 545), fill="#6b4429", outline=DARK, width=6)
    d.rectangle(_at(155, 100, 745, 126), fill="#5a3822", outline=DARK, width=5)
    for left, right in ((200, 435), (465, 700)):
        d.rectangle(_at(left, 150, right, 285), outline="#855a39", width=8)
    d.rectangle(_at(150, 318, 750, 372), fill="#5a3822", outline=DARK, width=5)
    _keys(d, 178, 722, 322, 30)
    d.rectangle(_at(215, 400, 685, 515), outline="#855a39", width=8)
    for x in (152, 716):
        d.rectangle(_at(x, 372, x + 32, 548), fill="#5a3822", outline=DARK, width=5)
    for x in (410, 450, 490):
        d.ellipse(_at(x - 16, 530, x + 16, 546), fill=BRASS, outline=DARK, width=3)


def _grand(d: Draw) -> None:
    _room(d)
    d.polygon(_at(150, 318, 250, 60, 700, 112, 800, 318), fill="#26221f", outline=DARK)
    d.polygon(_at(270, 300, 330, 110, 655, 150, 740, 300), fill="#3b342f")
    d.line(_at(470, 320, 560, 135), fill=DARK, width=14)
    d.polygon(_at(120, 316, 840, 316, 800, 400, 150, 400), fill="#191614", outline=DARK)
    d.polygon(_at(90, 372, 560, 372, 560, 412, 90, 412), fill="#26221f", outline=DARK)
    _keys(d, 104, 546, 378, 26)
    for x in (150, 500, 770):
        d.polygon(_at(x - 22, 400, x + 22, 400, x + 11, 556, x - 11, 556), fill="#191614")
        d.ellipse(_at(x - 14, 550, x + 14, 574), fill=BRASS, outline=DARK, width=3)
    d.line(_at(322, 412, 322, 545), fill="#191614", width=26)
    for x in (296, 322, 348):
        d.ellipse(_at(x - 12, 540, x + 12, 556), fill=BRASS, outline=DARK, width=3)


def _grain(d: Draw, *, seed: int, colour: str = WOOD, line: str = "#c6a170") -> None:
    """Straight-grained wood over the whole picture."""
    chance = Random(seed)
    d.rectangle(_at(0, 0, WIDTH_PX, HEIGHT_PX), fill=colour)
    x = 0.0
    while x < WIDTH_PX + 120:
        d.line(_at(x, 0, x - 90, HEIGHT_PX), fill=line, width=chance.choice((1, 2, 2, 3)))
        x += chance.uniform(5, 15)


def _ring(d: Draw, x: float, y: float, wide: float, high: float) -> None:
    """What the picture is about, ringed."""
    d.ellipse(_at(x - wide, y - high, x + wide, y + high), outline=MARK, width=9)


def _bridge_line(share: float) -> tuple[float, float]:
    """The middle of the bridge from the left edge of the picture to the right."""
    return -40 + 980 * share, 420 - 190 * sin(0.5 * pi * share)


def _split_bridge(d: Draw) -> None:
    _grain(d, seed=4)
    middle = [_bridge_line(n / 40) for n in range(41)]
    upper, lower = [(x, y - 52) for x, y in middle], [(x, y + 52) for x, y in reversed(middle)]
    d.polygon([FINE * v for point in (*upper, *lower) for v in point], fill="#a97a4a", outline=DARK)
    pins = [_bridge_line(0.06 + 0.03 * n) for n in range(31)]
    for n, (x, y) in enumerate(pins):
        slant = 10 if n % 3 else 6
        d.line(_at(x - 25, 0, x - 8, y - 26), fill=STEEL, width=4)
        d.line(_at(x - 8, y - 26, x + slant, y + 26), fill=STEEL, width=4)
        d.line(_at(x + slant, y + 26, x + 25, HEIGHT_PX), fill=STEEL, width=4)
    crack = [(x - 8, y - 26 + (5 if n % 2 else -4)) for n, (x, y) in enumerate(pins[9:23])]
    d.line([FINE * v for point in crack for v in point], fill="#140c06", width=11, joint="curve")
    for x, y in pins:
        for dx, dy in ((-8, -26), (10, 26)):
            d.ellipse(_at(x + dx - 5, y + dy - 5, x + dx + 5, y + dy + 5), fill="#54585d", outline="#1c1c1c")
    x, y = pins[16]
    _ring(d, x - 8, y - 24, 225, 92)


def _grooved_hammers(d: Draw) -> None:
    d.rectangle(_at(0, 0, WIDTH_PX, HEIGHT_PX), fill="#2c2723")
    for n in range(9):
        x = 60 + 98 * n
        d.rectangle(_at(x - 9, 330, x + 9, HEIGHT_PX), fill="#c69c67", outline=DARK, width=3)
        d.polygon(_at(x - 34, 400, x - 20, 250, x + 20, 250, x + 34, 400), fill="#b98c58", outline=DARK)
        d.pieslice(_at(x - 43, 120, x + 43, 400), 180, 360, fill=FELT, outline="#a39a88", width=3)
        d.polygon(_at(x - 43, 258, x + 43, 258, x + 32, 372, x - 32, 372), fill=FELT)
        deep = 34 if 2 <= n <= 6 else 12
        for off in (-17, 0, 17):
            d.line(
                _at(x + off, 122 + abs(off) * 0.6, x + off, 122 + abs(off) * 0.6 + deep),
                fill="#6f6757",
                width=11,
            )
    _ring(d, 452, 150, 268, 66)


def _sound_board(d: Draw) -> None:
    _grain(d, seed=7, colour="#e0bf8e", line="#cfa974")
    d.polygon(_at(0, 520, 900, 300, 900, 372, 0, 596), fill="#a97a4a", outline=DARK)
    for n in range(24):
        x = 20 + 38 * n
        y = 556 - 0.245 * x
        d.line(_at(x - 60, 0, x, y), fill=STEEL, width=4)
        d.line(_at(x, y, x + 8, HEIGHT_PX), fill=STEEL, width=4)
        d.ellipse(_at(x - 5, y - 5, x + 5, y + 5), fill="#54585d")


def _ring_on_the_lid(d: Draw) -> None:
    _grain(d, seed=9, colour="#6b4429", line="#5d3a22")
    chance = Random(2)
    for n in range(220):
        a = 2 * pi * n / 220
        r = 1.0 + chance.uniform(-0.02, 0.02)
        x, y = 450 + 190 * r * cos(a), 330 + 118 * r * sin(a)
        size = chance.uniform(4, 9)
        d.ellipse(
            _at(x - size, y - size, x + size, y + size), fill=chance.choice(("#b59a80", "#a5886c", "#c3ab93"))
        )
    d.line(_at(0, 560, WIDTH_PX, 560), fill=DARK, width=10)
    d.rectangle(_at(0, 566, WIDTH_PX, HEIGHT_PX), fill="#4c2f1b")


SUBJECTS: Mapping[str, Callable[[Draw], None]] = {
    "upright": _upright,
    "grand": _grand,
    "split bridge": _split_bridge,
    "grooved hammers": _grooved_hammers,
    "sound board": _sound_board,
    "ring on the lid": _ring_on_the_lid,
}
"""What can be drawn; a whole piano by its kind."""
