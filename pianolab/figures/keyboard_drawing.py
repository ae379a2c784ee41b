"""A keyboard drawn from above, as outlines: the real number of keys, black ones between the white."""

from __future__ import annotations

from typing import Any, Protocol

from pianolab.figures import frame
from pianolab.figures.look import Theme
from pianolab.figures.sheet import Sheet
from pianolab.keyboard import REGISTERS, is_black, note_name

DRAWN_PX, SIDE_PX, LANE_SPACE_PX, WORDS_PX = 64, 12, 10, 52
"""Height of the keyboard under lanes, room at their sides and between, and under the keyboard where words stand there."""


class OverKeys(Protocol):
    """What a figure with lanes over a keyboard needs to know of its plan: what it is called, which keys there are."""

    @property
    def title(self) -> str: ...
    @property
    def first_key(self) -> int: ...
    @property
    def last_key(self) -> int: ...


def lanes_figure(
    plan: OverKeys, theme: Theme, *, lanes_px: int, lanes: dict[str, Any], bare: bool, below: str = ""
) -> Sheet:
    """A drawn keyboard, and over it room for lanes of marks on the second axis, which ``lanes`` describes.

    Parameters
    ----------
    plan, theme : title and keys of the drawing, and its colours
    lanes_px : int, pixels; height of all lanes
    lanes : range and ticks of the lanes' axis
    bare : leaves the title to the page around it
    below : words under the keyboard
    """
    height = DRAWN_PX + lanes_px + LANE_SPACE_PX
    bottom = WORDS_PX if below else frame.BOTTOM_PX
    fig = frame.base_figure(theme, title=plan.title, height=height, bare=bare, bottom=bottom)
    values, texts = key_ticks(plan.first_key, plan.last_key)
    share = DRAWN_PX / height
    fig.lay_out(
        margin={"l": SIDE_PX, "r": SIDE_PX},
        xaxis=frame.axis(
            theme,
            range=[plan.first_key - 0.7, plan.last_key + 0.7],
            tickvals=values,
            ticktext=texts,
            showgrid=False,
            anchor="y",
            title=below or None,
        ),
        yaxis=frame.axis(theme, range=[0, 1], domain=[0, share], showgrid=False, showticklabels=False),
        yaxis2=frame.axis(
            theme,
            domain=[min(0.99, share + LANE_SPACE_PX / height), 1],
            showticklabels=False,
            anchor="x",
            **lanes,
        ),
    )
    add_small_keyboard(fig, theme, first_key=plan.first_key, last_key=plan.last_key)
    return fig


def add_lane_words(fig: Sheet, text: str, *, y: float, colour: str, size: int = 12) -> None:
    """A line of words at the left of a lane, whose middle lies just under ``y``."""
    fig.add_annotation(
        xref="paper",
        x=0,
        xanchor="left",
        yref="y2",
        y=y,
        yanchor="bottom",
        borderpad=0,
        text=text,
        font={"size": size, "color": colour},
    )


def visible_registers(first_key: int, last_key: int) -> list[tuple[str, int, int]]:
    """Registers within a compass, cut to it: name, first key, last key.

    Examples
    --------
    >>> visible_registers(30, 45)
    [('tenor', 30, 39), ('middle', 40, 45)]
    """
    cut = ((r.name, max(r.first_key, first_key), min(r.last_key, last_key)) for r in REGISTERS)
    return [(name, first, last) for name, first, last in cut if first <= last]


def key_ticks(first_key: int, last_key: int) -> tuple[list[int], list[str]]:
    """Every C within the compass, the landmarks people find a key by.

    Examples
    --------
    >>> key_ticks(1, 20)
    ([4, 16], ['C1', 'C2'])
    """
    keys = [k for k in range(first_key, last_key + 1) if note_name(k)[:-1] == "C"]
    if not keys:
        keys = [first_key]
    return keys, [note_name(k) for k in keys]


def white_edges(first_key: int, last_key: int) -> dict[int, tuple[float, float]]:
    """Left and right edge of every white key on a scale where keys stand one unit apart.

    White keys meet in the middle of the black key between them, so that the drawing lines up with a chart
    whose unit is the key number.

    Examples
    --------
    >>> white_edges(1, 3)
    {1: (0.5, 2.0), 3: (2.0, 3.5)}
    """
    edges = {}
    for key in range(first_key, last_key + 1):
        if is_black(key):
            continue
        left = key - 1.0 if key > first_key and is_black(key - 1) else key - 0.5
        right = key + 1.0 if key < last_key and is_black(key + 1) else key + 0.5
        edges[key] = (left, right)
    return edges


def boxes(spans: list[tuple[float, float]], *, bottom: float, top: float) -> tuple[list, list]:
    """Outlines of rectangles as one line with breaks between them."""
    x: list[float | None] = []
    y: list[float | None] = []
    for left, right in spans:
        x += [left, right, right, left, left, None]
        y += [bottom, bottom, top, top, bottom, None]
    return x, y


def add_small_keyboard(
    fig: Sheet, theme: Theme, *, first_key: int, last_key: int, bottom: float = 0.0, top: float = 1.0
) -> None:
    """Draws the keyboard between two heights of the first y axis, white keys in paper, black in ink."""
    whites = list(white_edges(first_key, last_key).values())
    blacks = [(k - 0.42, k + 0.42) for k in range(first_key, last_key + 1) if is_black(k)]
    line = theme.faint
    middle = bottom + 0.38 * (top - bottom)
    x, y = boxes(whites, bottom=bottom, top=top)
    common = {"mode": "lines", "fill": "toself", "hoverinfo": "skip", "showlegend": False}
    white = "#FFFFFF" if theme.name == "light" else "#D9D6CE"
    black = "#1C2127" if theme.name == "light" else "#08090A"
    fig.add(
        "scatter", x=x, y=y, fillcolor=white, line={"color": line, "width": 0.8}, name="white keys", **common
    )
    x, y = boxes(blacks, bottom=middle, top=top)
    if x:
        fig.add(
            "scatter",
            x=x,
            y=y,
            fillcolor=black,
            line={"color": black, "width": 0.5},
            name="black keys",
            **common,
        )
