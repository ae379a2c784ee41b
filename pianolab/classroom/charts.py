"""Small charts of a class: a mark with its interval on each line, drawn as SVG; the numbers stand beside."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

INK, SOFT, LINE, BLUE, VERMILLION = "#211e1a", "#5f584e", "#d9d2c5", "#0072b2", "#d55e00"
"""Blue and vermillion of the palette of Okabe and Ito, which colour-blind readers tell apart."""

WIDE, STEP = 380, 24
LETTER = 7.2
"""Widths; that of a letter is that of a usual one at the size the labels have."""

SHARE_TICKS = (0.0, 0.25, 0.5, 0.75, 1.0)


@dataclass(frozen=True, kw_only=True)
class Line:
    """One line: what it is, the value with its interval (None: unknown, with the reason), and whether it stands out."""

    label: str
    value: float | None
    low: float | None = None
    high: float | None = None
    words: str = ""
    stands_out: bool = False


def interval_chart(
    lines: Sequence[Line],
    *,
    low: float,
    high: float,
    ticks: Sequence[float],
    unit: str = "",
    mark_at: float | None = None,
) -> str:
    """SVG of marks with intervals, one line each; a square stands out, a circle does not.

    Examples
    --------
    >>> interval_chart([Line(label="7", value=0.5, low=0.4, high=0.6)], low=0, high=1, ticks=[0, 1])[:4]
    '<svg'
    """
    height = 30 + STEP * len(lines) + 26
    left = 24 + LETTER * max((len(line.label) for line in lines), default=0)
    wide = left + WIDE + max(40, 16 + LETTER * max((len(line.words) for line in lines), default=0))
    body = "".join(_tick(t, low=low, high=high, height=height, strong=t == mark_at, left=left) for t in ticks)
    for n, line in enumerate(lines):
        body += _line(line, y=30 + STEP * n + STEP / 2, low=low, high=high, left=left)
    foot = f'<text x="{left + WIDE:.0f}" y="{height - 6}" text-anchor="end" font-size="12" fill="{SOFT}">{escape(unit)}</text>'
    alt = "; ".join(f"{line.label}: {line.words}" for line in lines)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide:.0f} {height}" width="{wide:.0f}" height="{height}" '
        f'role="img" aria-label="{escape(alt, quote=True)}" font-family="sans-serif">{body}{foot}</svg>'
    )


def _at(value: float, *, low: float, high: float, left: float) -> float:
    return left + WIDE * min(1.0, max(0.0, (value - low) / (high - low)))


def _tick(value: float, *, low: float, high: float, height: float, strong: bool, left: float) -> str:
    x = _at(value, low=low, high=high, left=left)
    colour, width = (SOFT, 1.6) if strong else (LINE, 1.0)
    return (
        f'<line x1="{x:.1f}" y1="24" x2="{x:.1f}" y2="{height - 22}" stroke="{colour}" stroke-width="{width}"/>'
        f'<text x="{x:.1f}" y="16" text-anchor="middle" font-size="12" fill="{SOFT}">{value:g}</text>'
    )


def _line(line: Line, *, y: float, low: float, high: float, left: float) -> str:
    label = f'<text x="{left - 12:.0f}" y="{y + 4:.0f}" text-anchor="end" font-size="13" fill="{INK}">{escape(line.label)}</text>'
    words = f'<text x="{left + WIDE + 10:.0f}" y="{y + 4:.0f}" font-size="12" fill="{SOFT}">{escape(line.words)}</text>'
    if line.value is None or line.low is None or line.high is None:
        return label + words
    x, x0, x1 = (_at(v, low=low, high=high, left=left) for v in (line.value, line.low, line.high))
    colour = VERMILLION if line.stands_out else BLUE
    bar = f'<line x1="{x0:.1f}" y1="{y}" x2="{x1:.1f}" y2="{y}" stroke="{colour}" stroke-width="2.5"/>'
    dot = (
        f'<rect x="{x - 5:.1f}" y="{y - 5}" width="10" height="10" fill="{colour}"/>'
        if line.stands_out
        else (f'<circle cx="{x:.1f}" cy="{y}" r="5" fill="{colour}"/>')
    )
    return label + bar + dot + words
