"""Small charts of a class: a mark with its interval on each line, drawn as SVG; the numbers stand beside."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pianolab.html import templates

COLOURS = {
    "ink": "#211e1a",
    "soft": "#5f584e",
    "faint": "#d9d2c5",
    "usual": "#0072b2",
    "outstanding": "#d55e00",
}
"""The last two are blue and vermillion of the palette of Okabe and Ito, which colour-blind readers tell apart."""

WIDE, STEP, TOP, FOOT = 380, 24, 30, 26
LETTER = 7.2
"""Widths and heights; that of a letter is that of a usual one at the size the labels have."""

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

    @property
    def is_known(self) -> bool:
        """Whether there is a mark with its interval to draw."""
        return None not in (self.value, self.low, self.high)


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
    left = 24 + LETTER * max((len(line.label) for line in lines), default=0)
    beside = max(40, 16 + LETTER * max((len(line.words) for line in lines), default=0))
    made = templates("pianolab.classroom").get_template("intervals.svg.j2")
    return made.render(
        lines=lines,
        ticks=ticks,
        mark_at=mark_at,
        unit=unit,
        at=lambda value: left + WIDE * min(1.0, max(0.0, (value - low) / (high - low))),
        left=left,
        right=left + WIDE,
        wide=left + WIDE + beside,
        height=TOP + STEP * len(lines) + FOOT,
        top=TOP,
        step=STEP,
        alt="; ".join(f"{line.label}: {line.words}" for line in lines),
        **COLOURS,
    )
