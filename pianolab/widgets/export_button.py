"""A button that writes the page, with what to leave out; it knows nothing of casebooks and calls what it is given."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from html import escape
from pathlib import Path
from typing import Any

import ipywidgets

from pianolab.widgets.working import working

Tell = Callable[[str, float], None]
Writer = Callable[[Sequence[str], Tell], Path]

CHOICES = {
    "names": "leave out names (sellers, examiners, the pianos' own, photos)",
    "addresses": "leave out addresses",
    "prices": "leave out prices",
}
WIDE = ipywidgets.Layout(width="auto")


@dataclass(frozen=True)
class _Export:
    """One of the two buttons: what it writes, where, and what to do with it then."""

    button: Any
    what: str
    writer: Writer
    target: Path | None
    next_step: str

    @property
    def there(self) -> bool:
        return self.target is not None and self.target.exists()

    def label(self) -> None:
        self.button.description = f"{'Replace' if self.there else 'Write'} the {self.what}"

    def replaces(self) -> bool:
        """Whether the button says that it replaces what is there."""
        return str(self.button.description).startswith("Replace")


class ExportButton(ipywidgets.VBox):
    """Three choices and two buttons; a line below says what happened and what to do next.

    A button says *Replace* where its file is there already; one that said *Write* replaces nothing.

    Parameters
    ----------
    page, tables : functions of what to leave out and a progress function, that write and return the path
    target, tables_target : where they write
    """

    def __init__(
        self, *, page: Writer, tables: Writer | None = None, target: str | Path = "", tables_target: str | Path = "",
        **more: Any,
    ) -> None:  # fmt: skip
        self.choices = {
            name: ipywidgets.Checkbox(value=False, description=text, indent=False, layout=WIDE)
            for name, text in CHOICES.items()
        }
        self.page_button = ipywidgets.Button(tooltip=str(target), layout=WIDE)
        self.tables_button = ipywidgets.Button(tooltip=str(tables_target), layout=WIDE)
        self.bar = ipywidgets.FloatProgress(min=0.0, max=1.0, layout=ipywidgets.Layout(visibility="hidden"))
        next_step = "Open it in a browser (in the file list on the left: right button, Open in New Browser Tab); it needs no network."
        self._exports = [_Export(self.page_button, "page", page, _path(target), next_step)]
        if tables is not None:
            next_step = "Any spreadsheet opens the tables in it."
            self._exports.append(
                _Export(self.tables_button, "tables", tables, _path(tables_target), next_step)
            )
        self.said = ipywidgets.HTML(_at_first(self._exports[0]))
        for export in self._exports:
            export.label()
            export.button.on_click(lambda _, export=export: self._press(export))
        buttons = [export.button for export in self._exports]
        super().__init__([*self.choices.values(), ipywidgets.HBox([*buttons, self.bar]), self.said], **more)

    @property
    def leave_out(self) -> tuple[str, ...]:
        """What is ticked."""
        return tuple(name for name, box in self.choices.items() if box.value)

    def _press(self, export: _Export) -> None:
        if export.there and not export.replaces():
            self.said.value = f"Nothing written: {_is_there(export)} Press once more to replace it."
            export.label()
            return
        buttons = [each.button for each in self._exports]
        with working(buttons=buttons, bar=self.bar, said=self.said, done="written"):
            try:
                path = export.writer(self.leave_out, self._tell)
                self.said.value = f"Written: <b>{escape(str(path))}</b>. {export.next_step}"
            finally:
                for each in self._exports:
                    each.label()

    def _tell(self, what: str, share: float) -> None:
        self.bar.value = share
        self.said.value = escape(what)

    def to_html(self) -> str:
        """The still twin: what is ticked, and what was said last; everything escaped."""
        ticked = ", ".join(self.leave_out) or "nothing"
        return f"<p>Export; left out: {escape(ticked)}. {self.said.value}</p>"


def _path(target: str | Path) -> Path | None:
    return Path(target) if str(target) else None


def _is_there(export: _Export) -> str:
    assert export.target is not None
    written = datetime.fromtimestamp(export.target.stat().st_mtime)
    return f"<b>{escape(str(export.target))}</b> is there already, of {written:%d %B %Y, %H:%M}."


def _at_first(export: _Export) -> str:
    if export.target is None:
        return ""
    if export.there:
        return f"{_is_there(export)} The button replaces it."
    return f"The page goes to <b>{escape(str(export.target))}</b>."
