"""The pianos of a casebook in the notebook: enter one, change what is known of it, begin a visit; saved as typed."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime
from html import escape
from typing import TYPE_CHECKING, Any

import ipywidgets

from pianolab.errors import PianolabError
from pianolab.html import not_saved
from pianolab.model import Examiner, Piano, Visit
from pianolab.show import html_table
from pianolab.widgets.asking import Asking
from pianolab.widgets.form_parts import StillTwin, big_enough
from pianolab.widgets.piano_fields import (
    CHOICES,
    FIRST,
    NAMES,
    OPTIONS,
    TITLES,
    WIDE,
    compasses,
    controls_for,
    folded,
    read_piano,
    span_in_words,
    values_of,
)

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


BUTTON = {"width": "auto", "min_height": "44px"}


class PianoForm(StillTwin, ipywidgets.VBox):
    """One piano of a casebook at a time, and the visit to it.

    An empty casebook gets its first piano, and a piano without a visit a visit of today, because nothing can be
    recorded without them. From then on each change that can be used is in the casebook before the form says
    "Saved"; one that can't is refused in one line, and the casebook keeps what it had.

    Parameters
    ----------
    casebook : an open casebook
    begin : Piano; entered where the casebook is empty, a nameless upright if not given
    examiner : str; who looks at the pianos
    visits : bool; False while visits are only planned: a visit of today begins then only where one is asked for

    Examples
    --------
    In a notebook::

        from pianolab.widgets import PianoForm
        pianos = PianoForm(casebook)
        pianos
    """

    def __init__(
        self, casebook: Casebook, *, begin: Piano | None = None, examiner: str = "me", visits: bool = True
    ) -> None:
        self._casebook, self._by, self._quiet, self._visits = casebook, examiner, False, visits
        if not casebook.pianos():
            self._enter(begin or Piano(name="my first piano"))
        been = casebook.visits()
        self._piano = casebook.piano(been[-1].piano_id) if been else casebook.pianos()[0]
        self._visit = self._visit_of(self._piano)
        self.choice = ipywidgets.Dropdown(description="Piano", style=NAMES, layout=WIDE)
        self.controls = controls_for(self._piano)
        self.more = folded(self.controls)
        self.another = ipywidgets.Button(description="Another piano", layout=BUTTON)
        self.again = ipywidgets.Button(description="A new visit today", layout=BUTTON)
        self.line = ipywidgets.HTML()
        buttons = ipywidgets.HBox([self.another, self.again])
        self.asking, self.role = Asking(self._save, TITLES), RoleField(casebook, examiner)
        always = [self.controls[name] for name in FIRST]
        super().__init__([self.choice, *always, self.more, buttons, self.line, self.asking, self.role])
        self.children: tuple[Any, ...] = (big_enough(self), *self.children)
        self._show()
        self._tell("Every change is saved as you make it.")
        self.choice.observe(self._chosen, names="value")
        for control in self.controls.values():
            control.observe(self._typed, names="value")
        self.another.on_click(lambda _: self._add_piano())
        self.again.on_click(lambda _: self._add_visit())

    def __repr__(self) -> str:
        return f"<PianoForm {self._piano.name}>"

    @property
    def piano(self) -> Piano:
        """The piano shown, as the casebook holds it."""
        return self._piano

    @property
    def visit(self) -> Visit:
        """The latest visit to it; one of today begins where there is none."""
        if self._visit is None:
            self._visit = self._begin_visit(self._piano)
        return self._visit

    def _enter(self, piano: Piano) -> Piano:
        with self._casebook.editing(by=self._by) as edit:
            return edit.add(piano)

    def _visit_of(self, piano: Piano) -> Visit | None:
        visits = self._casebook.visits(piano.id)
        if visits:
            return visits[-1]
        return self._begin_visit(piano) if self._visits else None

    def _begin_visit(self, piano: Piano) -> Visit:
        with self._casebook.editing(by=self._by) as edit:
            return edit.add(Visit(piano_id=piano.id, day=date.today(), examiner=self._by))

    def _add_piano(self) -> None:
        known = {p.name.casefold() for p in self._casebook.pianos()}
        name = next(n for n in (f"piano {i}" for i in range(2, len(known) + 3)) if n not in known)
        self._go(self._enter(Piano(name=name)))

    def _add_visit(self) -> None:
        if self._visit is not None and self._visit.day == date.today():
            self._tell("There is a visit of today already; it goes on.")
            return
        self._visit = self._begin_visit(self._piano)
        self._tell("A visit of today has begun. Run the cells below again.")

    def _chosen(self, change: Any) -> None:
        if not self._quiet and change["new"] is not None:
            self._go(self._casebook.piano(change["new"]))

    def _go(self, piano: Piano) -> None:
        self._piano = piano
        self._visit = self._visit_of(piano)
        self._show()
        self._tell("Run the cells below again: they are about this piano now.")

    def _show(self) -> None:
        self._quiet = True
        try:
            self.choice.options = [(p.name, p.id) for p in self._casebook.pianos()]
            self.choice.value = self._piano.id
            for name, value in values_of(self._piano).items():
                if name == "compass":
                    self.controls[name].options = compasses(value)
                elif name in CHOICES:
                    self.controls[name].options = tuple(dict.fromkeys((*CHOICES[name][1], value)))
                self.controls[name].value = value
        finally:
            self._quiet = False

    def _typed(self, _: Any) -> None:
        if self._quiet:
            return
        try:
            wanted = read_piano(self._piano, {name: c.value for name, c in self.controls.items()})
        except PianolabError as error:
            self._refused(error)
            return
        self._save(wanted, self._piano)

    def _save(self, wanted: Piano, was: Piano) -> None:
        """Keep a piano as it was typed, based on what the form had read; what another changed meanwhile is kept too."""
        try:
            kept = self.asking.keep(self._casebook, wanted, was=was, by=self._by)
        except PianolabError as error:
            self._refused(error)
            return
        if kept is None:
            self.line.value = ""
            return
        self._piano = kept
        self._show()
        others = [
            TITLES.get(name, name)
            for name, value in values_of(kept).items()
            if value != values_of(wanted)[name]
        ]
        more = f" Changed elsewhere meanwhile: {', '.join(others)}." if others else ""
        self._tell(f"Saved at {datetime.now():%H:%M:%S}.{more}")

    def _refused(self, error: PianolabError) -> None:
        self.line.value = not_saved(error)

    def _tell(self, words: str) -> None:
        day = None if self._visit is None else self._visit.day
        visit = "Not visited yet." if day is None else f"Visit of {day.day} {day:%B %Y}."
        self.line.value = f"{escape(words)} {visit}"

    def to_html(self) -> str:
        """The piano as a still, escaped table: for export, print, or a notebook without a kernel."""
        values = values_of(self._piano)
        first, last = values.pop("compass")
        values |= {name: _chosen(name, values[name]) for name in OPTIONS}
        rows = [(TITLES[name].lower(), value) for name, value in values.items() if value]
        return html_table(self._piano.name, ("what", "value"), [*rows, ("keys", span_in_words(first, last))])


def _chosen(name: str, value: object) -> str:
    """A choice by its words; empty where nobody knows."""
    return next((words for words, known in OPTIONS[name][1] if known == value and known != ""), "")
