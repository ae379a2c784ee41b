"""How a figure is shown in a notebook: nothing in its corner that uploads or distracts. This is the one place for it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import plotly.graph_objects as go
import plotly.io as pio

CONFIG: Mapping[str, Any] = {
    "displayModeBar": False,
    "displaylogo": False,
    "showSendToCloud": False,
    "plotlyServerURL": "",
    "responsive": True,
    "scrollZoom": False,
}
"""For every figure, wherever it is shown: no bar of buttons, no way to send the data anywhere."""


class ShownFigure(go.Figure):
    """A plotly figure that shows itself with `CONFIG`; what is given to ``show`` comes on top."""

    def show(self, *args: Any, config: Mapping[str, Any] | None = None, **more: Any) -> Any:
        """Show it, as plotly does."""
        return super().show(*args, config={**CONFIG, **(config or {})}, **more)

    def _ipython_display_(self) -> None:
        if pio.renderers.render_on_display and pio.renderers.default:
            self.show()
        else:
            print(repr(self))

    def _repr_mimebundle_(
        self, include: Any = None, exclude: Any = None, validate: bool = True, **more: Any
    ) -> Any:
        return super()._repr_mimebundle_(include, exclude, validate, config=dict(CONFIG), **more)
