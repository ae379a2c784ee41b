"""A button that writes the page, with what to leave out; it knows nothing of casebooks and calls what it is given."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from html import escape
from pathlib import Path
from typing import Any

import ipywidgets

from pianolab.errors import PianolabError

Tell = Callable[[str, float], None]
Writer = Callable[[Sequence[str], Tell], Path]

CHOICES = {
    "names": "leave out names (sellers, examiners, the pianos' own, photos)",
    "addresses": "leave out addresses",
    "prices": "leave out prices",
}
WIDE = ipywidgets.Layout(width="auto")


class ExportButton(ipywidgets.VBox):
    """Three choices and two buttons; a line below says what happened and what to do next.

    Parameters
    ----------
    page, tables : functions of what to leave out and a progress function, that write and return the path
    target : where the page will go, in words
    """

    def __init__(self, *, page: Writer, tables: Writer | None = None, target: str = "", **more: Any) -> None:
        self.choices = {
            name: ipywidgets.Checkbox(value=False, description=text, indent=False, layout=WIDE)
            for name, text in CHOICES.items()
        }
        self.page_button = ipywidgets.Button(description="Write the page", tooltip=target, layout=WIDE)
        self.tables_button = ipywidgets.Button(description="Write the tables", layout=WIDE)
        self.bar = ipywidgets.FloatProgress(min=0.0, max=1.0, layout=ipywidgets.Layout(visibility="hidden"))
        self.said = ipywidgets.HTML(f"The page goes to <b>{escape(target)}</b>." if target else "")
        self.page_button.on_click(lambda _: self._write(page, "Open it in a browser; it needs no network."))
        buttons = [self.page_button]
        if tables is not None:
            self.tables_button.on_click(
                lambda _: self._write(tables, "Any spreadsheet opens the tables in it.")
            )
            buttons.append(self.tables_button)
        super().__init__([*self.choices.values(), ipywidgets.HBox([*buttons, self.bar]), self.said], **more)

    @property
    def leave_out(self) -> tuple[str, ...]:
        """What is ticked."""
        return tuple(name for name, box in self.choices.items() if box.value)

    def _write(self, writer: Writer, next_step: str) -> None:
        buttons = (self.page_button, self.tables_button)
        for button in buttons:
            button.disabled = True
        self.bar.layout.visibility = "visible"
        try:
            path = writer(self.leave_out, self._tell)
            self.said.value = f"Written: <b>{escape(str(path))}</b>. {next_step}"
        except PianolabError as error:
            self.said.value = f"Not written. {escape(str(error))}"
        except KeyboardInterrupt:
            self.said.value = "Stopped; nothing was written."
        finally:
            self.bar.layout.visibility = "hidden"
            for button in buttons:
                button.disabled = False

    def _tell(self, what: str, share: float) -> None:
        self.bar.value = share
        self.said.value = escape(what)

    def to_html(self) -> str:
        """The still twin: what is ticked, and what was said last; everything escaped."""
        ticked = ", ".join(self.leave_out) or "nothing"
        return f"<p>Export; left out: {escape(ticked)}. {self.said.value}</p>"
