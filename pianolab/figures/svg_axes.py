"""The axes of a still drawing: from values to pixels, rules at round values, numbers and titles."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import floor, log10
from typing import Any
from xml.etree.ElementTree import Element

from pianolab.figures.svg_marks import draw_words, figure, put, words_width

TICK_GAP_PX, TITLE_BELOW_PX = 5, 22


@dataclass(frozen=True, kw_only=True)
class Box:
    """The edges of the plot, in pixels from the left and from the top."""

    left: float
    right: float
    top: float
    bottom: float

    @property
    def wide(self) -> float:
        return self.right - self.left

    @property
    def tall(self) -> float:
        return self.bottom - self.top


@dataclass(frozen=True, kw_only=True)
class Axis:
    """One axis: where it begins, in pixels, how long it is (negative upwards), and what it shows."""

    layout: Mapping[str, Any]
    start: float
    length: float

    @property
    def log(self) -> bool:
        return self.layout.get("type") == "log"

    def at(self, value: Any) -> float:
        low, high = self.layout["range"]
        return self.start + self.length * ((log10(value) if self.log else value) - low) / (high - low)

    def inside(self, value: Any) -> float:
        """The same, but never beyond the ends of the axis."""
        a, b = sorted((self.start, self.start + self.length))
        return min(max(self.at(value), a), b)

    def share(self, value: float) -> float:
        return self.start + self.length * value

    @property
    def _span(self) -> float:
        low, high = self.layout["range"]
        return float(high - low)

    @property
    def unit(self) -> float:
        """Pixels of one step of the scale."""
        return abs(self.length / self._span)

    def shrunk(self, unit: float) -> Axis:
        share = unit / self.unit
        return replace(self, start=self.start + self.length * (1 - share) / 2, length=self.length * share)

    def ticks(self) -> list[tuple[float, str]]:
        if "tickvals" in self.layout:
            values = self.layout["tickvals"]
            return [*zip(values, self.layout.get("ticktext", [f"{v:g}" for v in values]), strict=True)]
        values = round_values(*self.layout["range"], most=self.layout.get("nticks", 6))
        if self.log:
            return [(10.0**v, f"{10.0**v:.2g}") for v in values]
        return [(v, f"{v:{self.layout.get('tickformat', 'g')}}".replace("-", "−")) for v in values]


def round_values(low: float, high: float, *, most: int) -> list[float]:
    """Round values within a range, at most so many.

    Examples
    --------
    >>> round_values(0, 9200, most=6)
    [0.0, 2000.0, 4000.0, 6000.0, 8000.0]
    """
    low, high = sorted((low, high))
    rough = (high - low) / max(1, most - 1)
    power = 10.0 ** floor(log10(rough))
    step = power * next(s for s in (1, 2, 5, 10) if s * power >= rough * 0.999)
    first = -floor(-low / step + 1e-9)
    count = floor((high - first * step) / step + 1e-9) + 1
    return [round((first + i) * step, 9) + 0.0 for i in range(count)]


def draw_axis(root: Element, axis: Axis, box: Box, *, font: Mapping[str, Any], flat: bool) -> None:
    """Rules, numbers and title of an axis; ``flat`` ones lie under the plot, the others stand at its left."""
    layout = axis.layout
    if layout.get("visible") is False:
        return
    own = {**font, **layout.get("tickfont", {})}
    ticks = [(axis.at(value), label) for value, label in axis.ticks()]
    if ticks and layout.get("showgrid", True):
        (a, b), way = ((box.bottom, box.top), "V") if flat else ((box.left, box.right), "H")
        begins = [f"{figure(at)} {figure(a)}" if flat else f"{figure(a)} {figure(at)}" for at, _ in ticks]
        put(root, "path", d="".join(f"M{m}{way}{figure(b)}" for m in begins), stroke=layout.get("gridcolor"))
    if layout.get("showticklabels", True):
        for at, label in ticks:
            x, y = (at, box.bottom + TICK_GAP_PX) if flat else (box.left - TICK_GAP_PX, at)
            anchor, rise = ("center", "top") if flat else ("right", "middle")
            draw_words(root, label, x, y, font=own, anchor=anchor, rise=rise)
    _axis_title(root, axis, box, font=font, flat=flat)


def _axis_title(root: Element, axis: Axis, box: Box, *, font: Mapping[str, Any], flat: bool) -> None:
    title = axis.layout.get("title")
    if not title:
        return
    own, text = (
        {**font, **title["font"]},
        _broken(title["text"], abs(axis.length), title["font"]["size"]),
    )
    middle = axis.start + axis.length / 2
    if flat:
        draw_words(root, text, middle, box.bottom + TITLE_BELOW_PX, font=own, anchor="center", rise="top")
    else:
        made = draw_words(root, text, 0, 0, font=own, anchor="center", rise="top")
        made.set("transform", f"translate(2 {figure(middle)}) rotate(-90)")


def _broken(text: str, room: float, size: float) -> str:
    """A text broken into as many lines as its room asks for; it is already taken literally."""
    lines: list[str] = []
    for word in text.split():
        if lines and words_width(f"{lines[-1]} {word}", size) <= room:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return "<br>".join(lines)
