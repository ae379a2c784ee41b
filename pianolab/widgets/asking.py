"""Two values of one field, this form's and another writer's: both are shown, and somebody chooses with a button."""

from __future__ import annotations

from collections.abc import Callable
from html import escape
from typing import TYPE_CHECKING, Any

import ipywidgets

from pianolab.errors import PianolabError
from pianolab.html import not_saved

if TYPE_CHECKING:
    from pianolab.casebook import Casebook, Clash

WIDE_ENOUGH = {"width": "auto"}


class Asking(ipywidgets.VBox):
    """The question which of two values counts; nothing is on the screen while there is none.

    Parameters
    ----------
    settle : a function of the record that was chosen and the one it is based on; it saves
    titles : dict; what a field is called on this form
    """

    def __init__(self, settle: Callable[[Any, Any], object], titles: dict[str, str]) -> None:
        self._settle, self._titles = settle, titles
        self._clash: Clash | None = None
        self.children: tuple[Any, ...]
        self.words = ipywidgets.HTML()
        self.mine = ipywidgets.Button(description="Put mine", layout=WIDE_ENOUGH)
        self.theirs = ipywidgets.Button(description="Keep what is saved", layout=WIDE_ENOUGH)
        super().__init__([])
        self.mine.on_click(lambda _: self._answer(mine=True))
        self.theirs.on_click(lambda _: self._answer(mine=False))

    @property
    def waits(self) -> bool:
        """Whether an answer is waited for."""
        return self._clash is not None

    def ask(self, clash: Clash) -> None:
        """Show both values of each field that both have changed."""
        self._clash = clash
        rows = "".join(self._row(name, mine, theirs, clash.by) for name, mine, theirs in _sides(clash))
        self.words.value = (
            f"<b>Not saved yet.</b> Meanwhile changed elsewhere; which shall count?<ul>{rows}</ul>"
        )
        buttons = [self.theirs, self.mine] if clash.theirs is not None else []
        if clash.theirs is None:
            self.words.value = not_saved(clash)
        self.children = (self.words, ipywidgets.HBox(buttons))

    def keep(self, casebook: Casebook, wanted: Any, *, was: Any, by: str) -> Any:
        """Save a record based on what was read before; returns it as it is kept, with what another changed meanwhile.

        Returns None where both have changed one field: nothing is saved then, and the question stands.
        """
        from pianolab.casebook import Clash  # loaded with the casebook that is open here

        self.put_away()
        try:
            with casebook.editing(by=by) as edit:
                return edit.change(wanted, was=was)
        except Clash as clash:
            self.ask(clash)
            return None

    def put_away(self) -> None:
        """Take the question off the screen."""
        self._clash, self.children = None, ()

    def _answer(self, *, mine: bool) -> None:
        clash = self._clash
        if clash is None:
            return
        self.put_away()
        try:
            self._settle(clash.settled(mine=mine), clash.theirs)
        except PianolabError as error:
            self.words.value = not_saved(error)
            self.children = (self.words,)

    def _row(self, name: str, mine: object, theirs: object, by: str) -> str:
        title = self._titles.get(name, name.rpartition(".")[2].replace("_", " "))
        return f"<li>{escape(title)}: {_in_words(mine)} from you, {_in_words(theirs)} from {escape(by)}</li>"


def _sides(clash: Clash) -> list[tuple[str, object, object]]:
    return [
        side for field in clash.fields for side in zip(field.names, field.yours, field.theirs, strict=True)
    ]


def _in_words(value: object) -> str:
    words = "nothing" if value is None or value == "" else _plain(value)
    return f"<b>{escape(words)}</b>"


def _plain(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, tuple):
        return (" to " if len(value) == 2 else ", ").join(str(item) for item in value)
    return str(value)
