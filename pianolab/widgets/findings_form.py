"""The findings form of the notebook: one point at a time, every change in the casebook as it happens."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import TYPE_CHECKING, Any

import anywidget
import traitlets

from pianolab.checklist.points import Checklist
from pianolab.errors import PianolabError
from pianolab.model import Finding, Visit
from pianolab.report.twins import findings_twin
from pianolab.widgets.form_parts import StillTwin, Wrote
from pianolab.widgets.form_parts import browser_code as browser_code
from pianolab.widgets.pictures import small_pictures
from pianolab.widgets.walk import Walk
from pianolab.widgets.walk_view import keyboard_view, walk_view

if TYPE_CHECKING:
    from pianolab.casebook import Casebook


class FindingsForm(Wrote, StillTwin, anywidget.AnyWidget):
    """The guided walk through one visit, in a notebook.

    It shows one point at a time: why it matters, how to look, what to be careful about, and what to
    record. There is no save button: each change is in the casebook before the form says "Saved". Made
    again (after a restart, on another day) it opens where the walk was left.

    Parameters
    ----------
    casebook : an open casebook (`pianolab.casebook.open_casebook`)
    visit_id : Visit or str; the visit to record, or its id
    checklist : Checklist or None; None takes the casebook's own (`Casebook.checklist`)
    examiner : str; who records; empty takes the examiner named in the visit
    minutes : how long there is, such as 20, 40 or 60 min, or None for the whole walk; it can be chosen on the form too

    Raises
    ------
    BadInput
        Where the casebook has no such visit, something else is given as one, or the checklist no point for this piano.

    Notes
    -----
    A value that can't be used gives one line in the form and changes nothing. Points nobody looked at
    stay open and are never counted as good. *Next* leads to the point that is worth most of the time that is left
    (`pianolab.checklist.hour.order_walk`). A note or a seller's promise without a value is kept, and the
    point counts as not judged yet.

    Examples
    --------
    In a notebook::

        import pianolab as pl
        casebook = pl.open_casebook("my-casebook")
        pl.forms.FindingsForm(casebook, casebook.visits()[0], examiner="Ana")
    """

    _esm = browser_code("page.js", "keyboard.js", "photo.js", "card.js", "hour.js", "walk.js")
    _css = browser_code("page.css", "keyboard.css", "walk.css")
    view = traitlets.Dict().tag(sync=True)
    keyboard = traitlets.Dict().tag(sync=True)
    pictures = traitlets.Dict().tag(sync=True)
    answer = traitlets.Dict().tag(sync=True)
    inside = traitlets.Bool(False).tag(sync=True)

    def __init__(
        self,
        casebook: Casebook,
        visit_id: Visit | str,
        *,
        checklist: Checklist | None = None,
        examiner: str = "",
        minutes: float | None = None,
    ) -> None:
        self._walk = Walk(casebook, visit_id, checklist=checklist, examiner=examiner, minutes=minutes)
        piano = self._walk.piano
        super().__init__(
            view=walk_view(self._walk),
            pictures=self._pictures(),
            keyboard=keyboard_view(piano.first_key, piano.last_key),
        )
        self._walk.has_shown()
        self.on_msg(self._on_message)

    def __repr__(self) -> str:
        view = self.view
        return f"<FindingsForm {view['title']}, {view['subtitle']}: {view['progress']}>"

    @property
    def findings(self) -> tuple[Finding, ...]:
        """The visit's findings as the casebook holds them now."""
        self._walk.read()
        return self._walk.findings

    @property
    def minutes(self) -> float | None:
        """How long the walk may take, as it was chosen last; None for as long as it takes."""
        return self._walk.clock.minutes

    def weigh(self, worth: Mapping[str, float]) -> None:
        """What a look at each open point is worth from now on; the next turn follows it, the point on the screen stays."""
        self._walk.clock.weigh(worth)
        self.view = walk_view(self._walk)

    def refresh(self) -> None:
        """Show what has been entered elsewhere; what is being typed stays."""
        self._walk.read()
        self._show()

    def _on_message(self, _widget: Any, content: Any, buffers: Any) -> None:
        self.receive(content, buffers)

    def receive(self, event: Any, buffers: Sequence[object] = ()) -> None:
        """Take one event of the screen; answer it with the new view and one line.

        What goes wrong is said in the form; only what nobody foresaw is raised as well, so that the
        notebook's log has its trace.
        """
        sender = {k: event.get(k) for k in ("from", "n")} if isinstance(event, dict) else {}
        try:
            saved = self._walk.handle(event, buffers)
        except PianolabError as error:
            self._reply(sender, ok=False, line=f"Not saved. {error}")
        except Exception as error:
            self._reply(sender, ok=False, line=f"Not saved. {type(error).__name__}: {error}"[:300])
            raise
        else:
            at = f"{saved} at {datetime.now():%H:%M:%S}" if saved else ""
            self._reply(sender, ok=True, line=at)
            if saved:
                self.wrote()

    def _reply(self, sender: dict[str, Any], *, ok: bool, line: str) -> None:
        with self.hold_sync():
            self._show()
            self.answer = {**sender, "ok": ok, "line": line}

    def _show(self) -> None:
        with self.hold_sync():
            self.view = walk_view(self._walk)
            self.pictures = self._pictures()
        self._walk.has_shown()

    def _pictures(self) -> dict[str, str]:
        """Small pictures of the points on the screen."""
        walk = self._walk
        shown = {p.id for p in walk.checklist if p.area == walk.point.area}
        return small_pictures(walk.casebook, [p for p in walk.photos if p.point in shown])

    def to_html(self) -> str:
        """The whole visit as a still, escaped page part: for export, print, or a notebook without a kernel."""
        walk, findings = self._walk, self.findings
        return findings_twin(
            piano=walk.piano,
            visit=walk.visit,
            checklist=walk.checklist,
            findings=findings,
            photos=walk.photos,
            pictures=small_pictures(walk.casebook, walk.photos),
        )
