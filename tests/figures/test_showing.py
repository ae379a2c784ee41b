"""Figures in a notebook: no bar of buttons, nothing that could be uploaded, in whatever way they are shown."""

from __future__ import annotations

from typing import Any

import plotly.graph_objects as go
import plotly.io as pio
import pytest

from pianolab import figures
from pianolab.figures.sheet import Sheet
from pianolab.figures.showing import CONFIG, ShownFigure

PLOTLY = "application/vnd.plotly.v1+json"


def config_shown(figure: Any) -> dict[str, Any]:
    found: dict[str, Any] = figure._repr_mimebundle_()[PLOTLY]["config"]
    return found


@pytest.fixture
def in_a_notebook(monkeypatch: pytest.MonkeyPatch) -> list[dict[str, Any]]:
    """Shows into a list what a notebook would get."""
    shown: list[dict[str, Any]] = []
    monkeypatch.setattr(pio.renderers, "default", "plotly_mimetype")
    import plotly.io._renderers as renderers

    monkeypatch.setattr(renderers.ipython_display, "display", lambda bundle, **_: shown.append(bundle))
    return shown


def test_a_figure_has_no_bar_however_it_is_shown(in_a_notebook: list[dict[str, Any]]) -> None:
    chart = Sheet(data=[{"type": "scatter", "x": [1], "y": [2]}]).figure()
    chart._ipython_display_()
    chart.show()
    configs = [config_shown(chart), *(bundle[PLOTLY]["config"] for bundle in in_a_notebook)]
    assert len(configs) == 3
    for config in configs:
        assert config["displayModeBar"] is False
        assert config["showSendToCloud"] is False
        assert not config.get("plotlyServerURL")


@pytest.mark.usefixtures("in_a_notebook")
def test_plotlys_own_figure_would_have_one() -> None:
    """The twin: nothing takes plotly's bar away where a figure is not of our class."""
    plain = go.Figure()._repr_mimebundle_()[PLOTLY].get("config", {})
    assert plain.get("displayModeBar") is not False


def test_every_drawing_comes_from_that_one_place() -> None:
    drawings = [getattr(figures, name) for name in figures.__all__ if name.startswith("draw_")]
    assert len(drawings) >= 12
    for drawing in drawings:
        assert drawing.sheet is not None
    assert isinstance(Sheet().figure(), ShownFigure)
    assert CONFIG["displayModeBar"] is False
