"""A figure as plain data, from its plan to a drawing in plotly's terms.

A page writes the data straight into its file; building plotly's own objects for it first takes a hundred times longer. A
plotly figure is made only where one is asked for.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import update_wrapper
from typing import TYPE_CHECKING, Any, Generic, ParamSpec

from pianolab.show import Showable

if TYPE_CHECKING:
    from pianolab.figures.showing import ShownFigure

P = ParamSpec("P")


@dataclass
class Sheet:
    """Traces and layout under construction.

    Examples
    --------
    >>> sheet = Sheet()
    >>> sheet.add("scatter", x=[1], y=[2])
    >>> sheet.lay_out(xaxis={"title": "key"})
    >>> sheet.lay_out(xaxis={"range": [0, 2]})
    >>> sheet.data, sheet.layout
    ([{'type': 'scatter', 'x': [1], 'y': [2]}], {'xaxis': {'title': 'key', 'range': [0, 2]}})
    """

    data: list[dict[str, Any]] = field(default_factory=list)
    layout: dict[str, Any] = field(default_factory=dict)

    def add(self, kind: str, **trace: Any) -> None:
        """One more trace of that plotly type."""
        self.data.append({"type": kind, **trace})

    def add_shape(self, kind: str, **shape: Any) -> None:
        """One more rectangle or line."""
        self.layout.setdefault("shapes", []).append({"type": kind, **shape})

    def add_annotation(self, **annotation: Any) -> None:
        """One more text."""
        self.layout.setdefault("annotations", []).append({"showarrow": False, **annotation})

    def lay_out(self, **changes: Any) -> None:
        """Changes to the layout; what is not named stays."""
        _merge(self.layout, changes)

    def figure(self) -> ShownFigure:
        """The plotly figure; plotly checks every name and value."""
        from pianolab.figures.showing import (
            ShownFigure,  # plotly takes half a second, and a page needs none of it
        )

        return ShownFigure(data=self.data, layout=self.layout)


def _merge(old: dict[str, Any], changes: Mapping[str, Any]) -> None:
    for name, value in changes.items():
        if isinstance(value, Mapping) and isinstance(old.get(name), dict):
            _merge(old[name], value)
        else:
            old[name] = value


class Drawing(Generic[P]):
    """A drawing function: called, it gives a plotly figure; ``sheet(...)`` gives the plain data of the same."""

    def __init__(self, make: Callable[P, Sheet]) -> None:
        self.sheet = make
        update_wrapper(self, make)

    def __call__(self, *args: P.args, **kwargs: P.kwargs) -> ShownFigure:
        return self.sheet(*args, **kwargs).figure()


def drawing(make: Callable[P, Sheet]) -> Drawing[P]:
    """Decorator: from a function that fills a `Sheet` to a `Drawing`."""
    return Drawing(make)


@dataclass(frozen=True, kw_only=True, repr=False)
class Plan(Showable):
    """Plain data of one figure. ``alt`` says in a sentence or two what a reader shall see in it.

    ``rows()`` (and `to_frame`) give the same data as a table; ``takeaway`` is the first sentence of ``alt``.
    """

    title: str
    alt: str

    @property
    def takeaway(self) -> str:
        end = self.alt.find(". ")
        return self.alt if end < 0 else self.alt[: end + 1]

    def headline(self) -> str:
        return f"{self.title}: {self.alt}"
