"""A button that writes the page, with what to leave out; it knows nothing of casebooks and calls what it is given."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from html import escape
from pathlib import Path
from typing import Any

import ipywidgets

from pianolab.files import AlreadyThere
from pianolab.widgets.form_parts import big_enough, working

Tell = Callable[[str, float], None]


@dataclass(frozen=True)
class Outcome:
    """What was written, and what a reader of it should know."""

    path: Path
    notes: tuple[str, ...] = ()


Writer = Callable[[Sequence[str], bool, Tell], Outcome]
"""Of what to leave out, whether to replace what is there, and a progress function; gives what was written."""

CHOICES = {
    "names": "leave out names (sellers, examiners, the pianos' own, photos)",
    "addresses": "leave out addresses",
    "prices": "leave out prices",
}
REPLACE = "replace what is there already"
WIDE = ipywidgets.Layout(width="auto")


@dataclass(frozen=True)
class _Export:
    """One of the two buttons: what writes, where, and what to do with it then."""

    button: Any
    writer: Writer
    next_step: str


class ExportButton(ipywidgets.VBox):
    """Choices and two buttons; a line below says what happened and what to do next.

    What is there already is replaced only where the last choice is ticked. The tick goes when something was
    written, so that it stands for one time.

    Parameters
    ----------
    page, tables : functions of what to leave out, whether to replace, and a progress function, that write and
        return an `Outcome`
    target, tables_target : where they write
    """

    def __init__(
        self,
        *,
        page: Writer,
        tables: Writer | None = None,
        target: str | Path = "",
        tables_target: str | Path = "",
        **more: Any,
    ) -> None:
        self.choices = {name: _box(text) for name, text in CHOICES.items()}
        self.replace = _box(REPLACE)
        self.page_button = ipywidgets.Button(description="Write the page", tooltip=str(target), layout=WIDE)
        self.tables_button = ipywidgets.Button(
            description="Write the tables", tooltip=str(tables_target), layout=WIDE
        )
        self.bar = ipywidgets.FloatProgress(min=0.0, max=1.0, layout=ipywidgets.Layout(visibility="hidden"))
        next_step = "Open it in a browser (in the file list on the left: right button, Open in New Browser Tab); it needs no network."
        self._exports = [_Export(self.page_button, page, next_step)]
        if tables is not None:
            self._exports.append(
                _Export(self.tables_button, tables, "Any spreadsheet opens the tables in it.")
            )
        self.said = ipywidgets.HTML(_at_first(Path(target)) if str(target) else "")
        for export in self._exports:
            export.button.on_click(lambda _, export=export: self._press(export))
        buttons = [export.button for export in self._exports]
        super().__init__(
            [*self.choices.values(), self.replace, ipywidgets.HBox([*buttons, self.bar]), self.said], **more
        )
        self.children: tuple[Any, ...] = (big_enough(self), *self.children)

    @property
    def leave_out(self) -> tuple[str, ...]:
        """What is ticked."""
        return tuple(name for name, box in self.choices.items() if box.value)

    def _press(self, export: _Export) -> None:
        buttons = [each.button for each in self._exports]
        with working(buttons=buttons, bar=self.bar, said=self.said, done="written"):
            try:
                done = export.writer(self.leave_out, bool(self.replace.value), self._tell)
            except AlreadyThere as refused:
                self.said.value = f"Nothing written: {_is_there(refused.path)} {_HOW}"
            else:
                self.replace.value = False
                notes = "".join(f" {escape(note[:1].upper() + note[1:])}." for note in done.notes)
                self.said.value = f"Written: <b>{escape(str(done.path))}</b>. {export.next_step}{notes}"

    def _tell(self, what: str, share: float) -> None:
        self.bar.value = share
        self.said.value = escape(what)

    def to_html(self) -> str:
        """The still twin: what is ticked, and what was said last; everything escaped."""
        ticked = ", ".join(self.leave_out) or "nothing"
        return f"<p>Export; left out: {escape(ticked)}. {self.said.value}</p>"


_HOW = f"Tick <i>{REPLACE}</i> and press once more, if it may go."


def _box(text: str) -> Any:
    return ipywidgets.Checkbox(value=False, description=text, indent=False, layout=WIDE)


def _is_there(path: Path) -> str:
    when = f", of {datetime.fromtimestamp(path.stat().st_mtime):%d %B %Y, %H:%M}" if path.exists() else ""
    return f"<b>{escape(str(path))}</b> is there already{when}."


def _at_first(target: Path) -> str:
    if target.exists():
        return f"{_is_there(target)} It stays, unless <i>{REPLACE}</i> is ticked."
    return f"The page goes to <b>{escape(str(target))}</b>."
