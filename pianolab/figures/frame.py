"""The empty figure every drawing starts from: title on top, plot, legend below it, quiet axes."""

from __future__ import annotations

from typing import Any

from pianolab.figures import wording
from pianolab.figures.look import GAP_PX, SANS, SERIF, SMALL_PX, TEXT_PX, TITLE_PX, Theme
from pianolab.figures.sheet import Sheet

TITLE_CHARS, TITLE_LINE_PX, LEGEND_ROW_PX, BOTTOM_PX = 44, 22, 22, 32
PHONE_CHARS, NOTEBOOK_CHARS = 46, 104
"""How long a line of words inside a figure may be: on a page that phones open, and in a notebook."""
LEGEND_MOST_PX = 600
"""A legend that wraps on a narrow screen grows downwards; it is never cut or scrolled."""


def base_figure(
    theme: Theme, *, title: str, height: int, bare: bool, bottom: int = BOTTOM_PX, legend: int = 0
) -> Sheet:
    """An empty figure in this language.

    Parameters
    ----------
    theme : colours
    title : broken into lines where it is long
    height : int, pixels of the plot itself
    bare : leaves title and legend to the page around it
    bottom : int, pixels under the plot for ticks and the axis title
    legend : int, rows of the legend at notebook width, 0 for none
    """
    text = wording.wrapped(title, width=TITLE_CHARS)
    top = 2 * GAP_PX if bare else 2 * GAP_PX + TITLE_LINE_PX * (1 + text.count("<br>"))
    below = 0 if bare or not legend else LEGEND_ROW_PX * legend + GAP_PX
    total = top + height + bottom + below
    return Sheet(
        layout={
            "template": {},
            "height": total,
            "margin": {"l": 60, "r": 14, "t": top, "b": bottom + below},
            "paper_bgcolor": "rgba(0,0,0,0)" if bare else theme.paper,
            "plot_bgcolor": "rgba(0,0,0,0)",
            "font": {"family": SANS, "size": TEXT_PX, "color": theme.ink},
            "title": None if bare else heading(text, theme, height=total),
            "showlegend": bool(legend) and not bare,
            "legend": {
                "orientation": "h",
                "x": 0,
                "xanchor": "left",
                "y": -bottom / height,
                "yanchor": "top",
                "maxheight": LEGEND_MOST_PX,
                "traceorder": "normal",
                "font": {"size": SMALL_PX},
                "bgcolor": "rgba(0,0,0,0)",
                "itemclick": False,
                "itemdoubleclick": False,
            },
            "hoverlabel": {
                "bgcolor": theme.panel,
                "bordercolor": theme.rule,
                "align": "left",
                "font": {"family": SANS, "size": TEXT_PX, "color": theme.ink},
            },
            "dragmode": False,
            "barmode": "overlay",
        }
    )


def words_chars(*, bare: bool) -> int:
    """How long a line of words inside a figure may be."""
    return PHONE_CHARS if bare else NOTEBOOK_CHARS


def heading(text: str, theme: Theme, *, height: float) -> dict[str, Any]:
    """A figure's title (already taken literally), set in the serif of the page's headings."""
    from_top = 22 if "<br>" in text else 10  # plotly lifts a title of several lines by half a line
    return {
        "text": text,
        "x": 0.012,
        "xanchor": "left",
        "y": 1.0 - from_top / height,
        "yanchor": "top",
        "yref": "container",
        "font": {"family": SERIF, "size": TITLE_PX, "color": theme.ink},
    }


def axis(theme: Theme, **more: Any) -> dict[str, Any]:
    """A quiet axis: light rules, no frame, no zoom (so that a page on a phone can be scrolled)."""
    quiet = {
        "fixedrange": True,
        "showline": False,
        "zeroline": False,
        "gridcolor": theme.rule,
        "gridwidth": 1,
        "tickfont": {"size": SMALL_PX, "color": theme.muted},
        "ticks": "",
    }
    if isinstance(more.get("title"), str):
        more["title"] = {"text": wording.plain(more["title"]), "standoff": 6}
    if isinstance(more.get("title"), dict):
        more["title"] = {"font": {"size": SMALL_PX, "color": theme.muted}} | more["title"]
    return quiet | more
