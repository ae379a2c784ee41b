"""The head of the visit's screen in the browser: which piano and visit, which part, and what is known so far."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import anywidget
import traitlets

from pianolab.widgets.browser import browser_code

Take = Callable[[dict[str, Any]], None]


class DeskBar(anywidget.AnyWidget):
    """Names piano and visit, leads to the parts; ``take`` gets each event of the screen."""

    _esm = browser_code("page.js", "desk.js")
    _css = browser_code("page.css", "desk.css")
    view = traitlets.Dict().tag(sync=True)
    line = traitlets.Unicode().tag(sync=True)

    def __init__(self, take: Take) -> None:
        super().__init__()
        self.on_msg(lambda _widget, content, _buffers: take(content if isinstance(content, dict) else {}))


class KnownPanel(anywidget.AnyWidget):
    """What is known of the piano so far: six bands, reasons to stop, the verdict as it would be now."""

    _esm = browser_code("page.js", "known.js")
    _css = browser_code("page.css", "known.css")
    view = traitlets.Dict().tag(sync=True)
