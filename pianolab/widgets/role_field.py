"""Who looks: the examiner's role, asked where the examiner's name stands; whose word counts depends on it."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING, Any

import ipywidgets

from pianolab.errors import PianolabError
from pianolab.html import not_saved
from pianolab.model import Examiner

if TYPE_CHECKING:
    from pianolab.casebook import Casebook

ROLES = (
    ("not said", ""),
    ("a pianist", "pianist"),
    ("a piano technician", "piano technician"),
    ("a tuner", "tuner"),
    ("family or a friend", "family"),
)
"""Words of each choice, and the role in the casebook; a technician's and a tuner's word stands above a layman's."""


class RoleField(ipywidgets.VBox):
    """One choice: what the examiner is. It is in the casebook as soon as it is made.

    Parameters
    ----------
    casebook : an open casebook
    examiner : str; whose role it is
    """

    def __init__(self, casebook: Casebook, examiner: str) -> None:
        self._casebook, self._name, self._quiet = casebook, examiner, False
        self.choice = ipywidgets.Dropdown(
            description=f"Who looks: {examiner}, who is",
            style={"description_width": "initial"},
            layout={"width": "36em", "max_width": "100%"},
        )
        self.line = ipywidgets.HTML()
        super().__init__([self.choice, self.line])
        self.refresh()
        self.choice.observe(self._chosen, names="value")

    @property
    def examiner(self) -> Examiner | None:
        """The examiner as the casebook holds them; None where nobody has said anything."""
        return next((e for e in reversed(self._casebook.examiners()) if e.name == self._name), None)

    def refresh(self) -> None:
        """Show the role that the casebook holds; one in other words stands beside the usual ones."""
        known = self.examiner
        role = known.role if known is not None else ""
        self._quiet = True
        try:
            others = [] if role in dict(ROLES).values() else [(role, role)]
            self.choice.options = (*ROLES, *others)
            self.choice.value = role
        finally:
            self._quiet = False

    def _chosen(self, change: Any) -> None:
        if self._quiet:
            return
        known = self.examiner
        try:
            with self._casebook.editing(by=self._name) as edit:
                if known is None:
                    edit.add(Examiner(name=self._name, role=change["new"]))
                else:
                    edit.change(replace(known, role=change["new"]), was=known)
        except PianolabError as error:
            self.line.value = not_saved(error)
            self.refresh()
            return
        self.line.value = f"Saved at {datetime.now():%H:%M:%S}."
