"""A `Sheet` as a still SVG picture, for pages that hold everything they show and need no script to show it.

Only what pianolab's own drawings use of plotly's terms is known here; anything else is an error, never left out.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any
from xml.etree.ElementTree import Element, tostring

from pianolab.figures.look import LIGHT
from pianolab.figures.sheet import Sheet
from pianolab.figures.svg_axes import Axis, Box, draw_axis
from pianolab.figures.svg_marks import (
    LINE_HEIGHT,
    At,
    dashes,
    draw_signs,
    draw_words,
    each,
    figure,
    line_path,
    put,
    spoken,
    stretches,
    words_width,
)

HATCH_PX = 6
KINDS = ("scatter", "bar")


@dataclass
class Palette:
    """The colours of a page's drawings: those that differ in dark stand under a name, the same on the whole page.

    Examples
    --------
    >>> palette = Palette()
    >>> palette.named("#111111", "#EEEEEE"), palette.named("#111111", "#EEEEEE")
    ('var(--d0)', 'var(--d0)')
    >>> palette.rules("light"), palette.rules("dark")
    ('--d0:#111111', '--d0:#EEEEEE')
    """

    pairs: dict[tuple[str, str], str] = field(default_factory=dict)

    def named(self, light: str, dark: str) -> str:
        """How a style says: this colour in light, that one in dark."""
        return f"var({self.pairs.setdefault((light, dark), f'--d{len(self.pairs)}')})"

    def rules(self, theme: str) -> str:
        """The colours of one theme as a style sheet writes them down."""
        return ";".join(f"{name}:{pair[theme == 'dark']}" for pair, name in self.pairs.items())


def in_both(light: Any, dark: Any, palette: Palette) -> Any:
    """One drawing of the two: alike but for colours, which become names.

    Examples
    --------
    >>> in_both({"a": ["#111111", 2]}, {"a": ["#EEEEEE", 2]}, Palette())
    {'a': ['var(--d0)', 2]}

    Raises
    ------
    ValueError : they differ in more than a colour
    """
    if isinstance(light, Mapping) and isinstance(dark, Mapping) and list(light) == list(dark):
        return {k: in_both(light[k], dark[k], palette) for k in light}
    if isinstance(light, (list, tuple)) and isinstance(dark, (list, tuple)) and len(light) == len(dark):
        return [in_both(a, b, palette) for a, b in zip(light, dark, strict=True)]
    if light == dark:
        return light
    if isinstance(light, str) and isinstance(dark, str):
        return palette.named(light, dark)
    raise ValueError(f"drawn {light!r} in light and {dark!r} in dark")


def svg_of(light: Sheet, dark: Sheet, palette: Palette, *, width: int, name: str, told: bool = True) -> str:
    """The picture as the text of an ``svg`` element, as wide as it was drawn for; a page may stretch it.

    Parameters
    ----------
    light, dark : the same drawing in both themes
    palette : of the page; it grows by the colours that are new
    width : int, pixels
    name : begins the ids inside the picture
    told : whether signs and bars tell their words where a pointer rests

    Returns
    -------
    str; it has no name of its own for those who hear the page: that stands around it

    Examples
    --------
    >>> sheet = Sheet(layout={"height": 40, "margin": {"l": 0, "r": 0, "t": 0, "b": 0}, "xaxis": {"range": [0, 1]}, "yaxis": {"range": [0, 1]}})
    >>> sheet.add("scatter", x=[0, 1], y=[0, 1], mode="lines", line={"color": "#000000"})
    >>> 'd="M0 40L80 0"' in svg_of(sheet, sheet, Palette(), width=80, name="a")
    True
    """
    both = in_both({"d": light.data, "l": light.layout}, {"d": dark.data, "l": dark.layout}, palette)
    return _Picture(both["d"], both["l"], width=width, name=name, told=told).text()


class _Picture:
    def __init__(
        self, data: list[dict[str, Any]], layout: dict[str, Any], *, width: int, name: str, told: bool
    ) -> None:
        self.data, self.layout, self.name, self.told = data, layout, name, told
        self.width, self.height = width, layout["height"]
        m = layout["margin"]
        self.box = Box(left=m["l"], right=width - m["r"], top=m["t"], bottom=self.height - m["b"])
        self.axes = {k.replace("axis", ""): self._axis(k) for k in layout if k[1:].startswith("axis")}
        self._same_scale()
        self.stacked: dict[float, float] = {}
        self.font = {"size": 13, "color": LIGHT.ink} | layout.get("font", {})
        self.font.pop("family", None)

    def _axis(self, name: str) -> Axis:
        layout = self.layout[name]
        low, high = layout.get("domain", (0, 1))
        wide, tall = self.box.wide, self.box.tall
        if name[0] == "x":
            return Axis(layout=layout, start=self.box.left + low * wide, length=(high - low) * wide)
        return Axis(layout=layout, start=self.box.bottom - low * tall, length=-(high - low) * tall)

    def _same_scale(self) -> None:
        """Where one axis shall have the scale of another, both shrink about their middles to what both have room for."""
        for name, axis in [*self.axes.items()]:
            if partner := axis.layout.get("scaleanchor"):
                unit = min(axis.unit, self.axes[partner].unit)
                self.axes |= {n: self.axes[n].shrunk(unit) for n in (name, partner)}

    def text(self) -> str:
        root = Element("svg", {"viewBox": f"0 0 {self.width} {figure(self.height)}", "font-size": "13"})
        for shape in self._shapes("below"):
            self._shape(root, shape)
        for name, axis in self.axes.items():
            draw_axis(root, axis, self.box, font=self.font, flat=name[0] == "x")
        for i, trace in enumerate(self.data):
            if trace["type"] not in KINDS:
                raise ValueError(f"a trace of type {trace['type']!r}")
            if trace["type"] == "bar":
                self._bars(root, trace)
            else:
                self._line(root, trace, i)
        for shape in self._shapes(None):
            self._shape(root, shape)
        for words in self.layout.get("annotations", []):
            self._words(root, words)
        return tostring(root, encoding="unicode")

    def _shapes(self, layer: str | None) -> Iterator[dict[str, Any]]:
        yield from (s for s in self.layout.get("shapes", []) if s.get("layer") == layer)

    def _place(self, ref: str, *, inside: bool = False) -> At:
        if ref == "paper":
            return lambda v: self.box.bottom - v * self.box.tall
        name, _, domain = ref.partition(" ")
        axis = self.axes[name]
        return axis.share if domain else axis.inside if inside else axis.at

    def _across(self, ref: str, *, inside: bool = False) -> At:
        if ref == "paper":
            return lambda v: self.box.left + v * self.box.wide
        return self._place(ref, inside=inside)

    def _shape(self, root: Element, s: Mapping[str, Any]) -> None:
        x, y = self._across(s["xref"], inside=True), self._place(s["yref"], inside=True)
        (x0, x1), (y0, y1) = (x(s["x0"]), x(s["x1"])), (y(s["y0"]), y(s["y1"]))
        line = s.get("line", {})
        style = {
            "fill": s.get("fillcolor", "none"),
            "stroke": line.get("color") if line.get("width") else None,
            "stroke_width": line.get("width") or None,
            "stroke_dasharray": dashes(line.get("dash")),
        }
        if s["type"] == "line":
            put(root, "path", d=line_path([[(x0, y0), (x1, y1)]]), **style)
        elif s["type"] == "circle":
            put(
                root,
                "ellipse",
                cx=(x0 + x1) / 2,
                cy=(y0 + y1) / 2,
                rx=abs(x1 - x0) / 2,
                ry=abs(y1 - y0) / 2,
                **style,
            )
        else:
            put(root, "rect", x=min(x0, x1), y=min(y0, y1), width=abs(x1 - x0), height=abs(y1 - y0), **style)

    def _line(self, root: Element, trace: Mapping[str, Any], i: int) -> None:
        x, y, mode = (
            self.axes[trace.get("xaxis", "x")].at,
            self.axes[trace.get("yaxis", "y")].at,
            trace["mode"],
        )
        g = put(root, "g")
        if "lines" in mode:
            self._draw_line(g, trace, i, x, y)
        if "markers" in mode:
            draw_signs(g, trace, x, y, told=self.told)
        if "text" in mode:
            side = trace["textposition"].split()[-1]
            for n, text in enumerate(trace["text"]):
                anchor = {"left": "right", "right": "left", "center": "center"}[side]
                draw_words(
                    g,
                    text,
                    x(trace["x"][n]),
                    y(trace["y"][n]),
                    font=self.font | trace["textfont"],
                    anchor=anchor,
                )
        if not len(g):
            root.remove(g)

    def _draw_line(self, g: Element, trace: Mapping[str, Any], i: int, x: At, y: At) -> None:
        line, fill = trace["line"], trace.get("fill")
        smooth = line.get("shape") == "spline"
        path = line_path([*stretches(trace["x"], trace["y"], x, y)], smooth=smooth)
        if fill == "tonext":
            before = self.data[i - 1]
            hole = line_path([*stretches(before["x"], before["y"], x, y)])
            put(g, "path", d=path + hole, fill=trace["fillcolor"], fill_rule="evenodd")
        if path:
            drawn = put(
                g,
                "path",
                d=path,
                fill=trace["fillcolor"] if fill == "toself" else "none",
                stroke=line.get("color") if line.get("width", 2) else None,
                stroke_width=line.get("width", 2) or None,
                stroke_dasharray=dashes(line.get("dash")),
                stroke_linejoin="round" if fill != "toself" else None,
            )
            if self.told and trace.get("hoveron") == "fills":
                put(drawn, "title", spoken(trace["text"]))

    def _bars(self, root: Element, trace: Mapping[str, Any]) -> None:
        x, y, marker = self.axes["x"].at, self.axes["y"], trace["marker"]
        stack = self.layout.get("barmode") == "stack"
        g = put(root, "g", fill=self._filling(root, marker), stroke=marker["line"].get("color"))
        g.set("stroke-width", figure(marker["line"].get("width", 0)))
        for n, (at, length) in enumerate(zip(trace["y"], trace["x"], strict=True)):
            if at is None or not length:
                continue
            base = self.stacked.get(at, 0.0) if stack else each(trace.get("base", 0.0), n)
            self.stacked[at] = base + length
            half = trace.get("width", 1 - self.layout.get("bargap", 0.2)) / 2
            top, below = sorted((y.at(at - half), y.at(at + half)))
            bar = put(g, "rect", x=x(base), y=top, width=x(base + length) - x(base), height=below - top)
            if self.told:
                put(bar, "title", spoken(each(trace["hovertext"], n)))
            text = each(trace.get("text", ""), n)
            if text and trace.get("textposition") != "none":
                draw_words(
                    root,
                    text,
                    x(base + length / 2),
                    (top + below) / 2,
                    font=self.font | trace["textfont"],
                    anchor="center",
                )

    def _filling(self, root: Element, marker: Mapping[str, Any]) -> str:
        pattern = marker.get("pattern")
        if not pattern:
            return str(marker["color"])
        name = f"{self.name}-hatch"
        made = put(root, "pattern", id=name, width=HATCH_PX, height=HATCH_PX, patternUnits="userSpaceOnUse")
        made.set("patternTransform", "rotate(45)")
        put(made, "rect", width=HATCH_PX, height=HATCH_PX, fill=marker["color"])
        put(made, "path", d=f"M0 0V{HATCH_PX}", stroke=pattern["fgcolor"], stroke_width=1.5)
        return f"url(#{name})"

    def _words(self, root: Element, a: Mapping[str, Any]) -> None:
        x = self._across(a.get("xref", "x"))(a["x"])
        y = self._place(a.get("yref", "y"))(a["y"])
        font = self.font | a.get("font", {})
        anchor, rise, pad = a.get("xanchor", "center"), a.get("yanchor", "middle"), a.get("borderpad", 1)
        x += {"left": pad, "right": -pad, "center": 0}[anchor]
        y += {"top": pad, "bottom": -pad, "middle": 0}[rise]
        if a.get("bgcolor"):
            wide, high = (
                words_width(a["text"], font["size"]),
                LINE_HEIGHT * font["size"] * (a["text"].count("<br>") + 1),
            )
            left = x - {"left": 0.0, "center": wide / 2, "right": wide}[anchor]
            top = y - {"top": 0.0, "middle": high / 2, "bottom": high}[rise]
            put(
                root,
                "rect",
                x=left - pad,
                y=top - pad,
                width=wide + 2 * pad,
                height=high + 2 * pad,
                fill=a["bgcolor"],
            )
        draw_words(root, a["text"], x, y, font=font, anchor=anchor, rise=rise)
