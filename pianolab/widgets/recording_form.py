"""A form that hears a recording and keeps it; it knows nothing of casebooks and calls what it is given."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from html import escape
from pathlib import Path
from typing import Any

import ipywidgets

from pianolab.widgets.big_enough import big_enough
from pianolab.widgets.working import working
from pianolab.widgets.wrote import Wrote

Tell = Callable[[str, float], None]
Files = Callable[[], Sequence[Path]]
Keep = Callable[[Path, Tell], str]

WIDE = {"width": "36em", "max_width": "100%"}
NONE_THERE = "No sound file is here yet. Drag it from the phone or the recorder into the file list on the left, then press Look again."


class RecordingForm(Wrote, ipywidgets.VBox):
    """Choose a sound file, press *Listen and keep*; a line below says what was heard and what to do next.

    Parameters
    ----------
    about : str; whose recording it is, in words
    files : a function that gives the sound files there are
    keep : a function of one of them and a progress function, that hears and keeps it and says what was heard
    """

    def __init__(self, *, about: str, files: Files, keep: Keep, **more: Any) -> None:
        self._files, self._keep = files, keep
        self.choice = ipywidgets.Dropdown(description="Recording", layout=WIDE)
        self.look = ipywidgets.Button(description="Look again")
        self.listen = ipywidgets.Button(description="Listen and keep", button_style="primary")
        self.bar = ipywidgets.FloatProgress(min=0.0, max=1.0, layout={"visibility": "hidden"})
        self.said = ipywidgets.HTML()
        self.look.on_click(lambda _: self._look())
        self.listen.on_click(lambda _: self._listen())
        title = ipywidgets.HTML(f"<b>{escape(about)}</b>")
        buttons = ipywidgets.HBox([self.listen, self.look, self.bar])
        super().__init__([title, self.choice, buttons, self.said], **more)
        self.children = (big_enough(self), *self.children)
        self._look()

    def _look(self) -> None:
        files = list(self._files())
        self.choice.options = [(path.name, path) for path in files]
        self.choice.index = 0 if files else None
        self.listen.disabled = not files
        self.said.value = "" if files else NONE_THERE

    def _listen(self) -> None:
        path = self.choice.value
        if path is None:
            self.said.value = NONE_THERE
            return
        buttons = (self.listen, self.look)
        with working(buttons=buttons, bar=self.bar, said=self.said, done="kept"):
            heard = self._keep(path, self._tell)
            self.said.value = f"Kept: {escape(heard)}."
            self.wrote()

    def _tell(self, what: str, share: float) -> None:
        self.bar.value = share
        self.said.value = escape(what)

    def to_html(self) -> str:
        """The still twin: what was said last."""
        return f"<p>{self.said.value}</p>"
